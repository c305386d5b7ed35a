/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Whether a decoded record makes sense. Pure: same input, same fault. Each check looks at everything and adds an item a field; true when nothing was added.
 * Codes are stable; tests list them.
 */
#ifndef BIASBOOK_TRADE_CHECK_H
#define BIASBOOK_TRADE_CHECK_H

#include "../ground/fault.h"
#include "records.h"

bool check_deck(const struct deck *d, struct fault *f);
bool check_stock(const struct stock *s, struct fault *f);
/* `deck`, `stock` are those named by the record; NULL: unknown, said as a fault (422 here: it is a body). `latest_us` = the larger of now and the last commit. */
bool check_calibration(const struct calibration *c, const struct deck *deck, const struct stock *stock, int64_t latest_us, struct fault *f);
/* What the bench asks with before a result is logged: setup, channel, moves, place, method, tones, wanted treble on this deck; same faults as above. */
bool check_bench(const struct calibration *c, const struct deck *deck, struct fault *f);
bool check_service(const struct service *s, const struct deck *deck, int64_t latest_us, struct fault *f);
bool check_deck_check(const struct deck_check *c, const struct deck *deck, int64_t latest_us, struct fault *f);

/* Service kinds: belts, pinch-roller, heads-cleaned, heads-replaced, azimuth, playback-aligned, record-trims, realigned, demagnetised, motor, speed, other. */
bool service_kind_known(const char *kind);
bool service_kind_resets(const char *kind); /* default of `resets` when not given */

/* The setup of this id ("" = main); a deck without setups has just `main`. Fills *out with defaults applied; false when unknown. */
bool deck_setup(const struct deck *d, const char *id, struct setup *out);
enum medium stock_medium(const struct stock *s); /* by class when not typed */
/* With the deck's defaults where not typed. */
#define DECK_LOW_HZ  315
#define DECK_HIGH_HZ 10000
#define DECK_TONE_DB (-20)
double deck_low_hz(const struct deck *d);
double deck_high_hz(const struct deck *d);
double deck_tone_db(const struct deck *d);

/* Digests over everything that was typed, for "same content" and ETags; derived members (position_s) excluded. */
void digest_deck(const struct deck *d, uint8_t out[32]);
void digest_stock(const struct stock *s, uint8_t out[32]);
void digest_calibration(const struct calibration *c, uint8_t out[32]);
void digest_service(const struct service *s, uint8_t out[32]);
void digest_check(const struct deck_check *c, uint8_t out[32]);
#endif
