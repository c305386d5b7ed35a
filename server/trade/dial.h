/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Dial readings <-> dB. Inside, bias + = more bias and level + = more record gain, whatever way the dial turns (`plus`).
 * percent: 20·log10(1 + (reading − zero)/100); ratio: 20·log10(reading/zero); points: interpolated, extrapolated along the end pieces
 * (in dB relative to the dB at zero); db: (reading − zero)·db_per_unit; learn: (reading − zero)·`learned`, what a unit is worth now.
 *
 * `plus` alone gives the sense. The dB of points may be written rising, as the knob counts, or (with plus = less) falling, as it was measured:
 * both mean the same dial.
 */
#ifndef BIASBOOK_TRADE_DIAL_H
#define BIASBOOK_TRADE_DIAL_H

#include "../ground/buffer.h"
#include "records.h"

#define DIAL_LEARN_DB_PER_UNIT 0.5 /* prior worth of one unit of a `learn` dial whose range is unknown; memory, low confidence */

/* What a dial's unit is worth where it has to be learned: mean and sd of log(dB per unit) enter the model; before any row the prior of dial_worth_prior. */
struct dial_worth {
    double db_per_unit, se; /* se in dB per unit */
};
struct dial_worth
dial_worth_prior(const struct dial
                     *d); /* `learn`: the whole dial is taken to span about ±4 dB, se half of it; other scales: local worth at zero, se 0 */

const char *dial_unit(const struct dial *d); /* as typed; when not typed "%" for a percent scale, else "mark" */
double dial_step(
    const struct dial *
        d); /* step, or what the unit suggests: 0.5 for marks, 0.25 for o'clock, 1 for steps, clicks and %, else a hundredth of the range rounded to 1-2-5 */
/* zero, or 0; where 0 lies outside the dial, what the dial suggests: 100 for percent, 1 for ratio, 12 for o'clock, if that lies inside. */
double dial_zero(const struct dial *d);
double dial_to_db(const struct dial *d, double learned,
                  double reading); /* `learned` ignored unless SCALE_LEARN; out-of-domain (percent ≤ −100) gives NaN */
double dial_from_db(const struct dial *d, double learned, double db); /* inverse, not clipped, not rounded; NaN when no reading gives it */
double dial_db_per_unit(const struct dial *d, double learned, double reading); /* local slope, signed by `plus` */
/* Rounded to the step (counted from zero), clipped to low…high; *beyond (may be NULL) tells whether the wanted value lay outside (by more than half a step). */
double dial_set(const struct dial *d, double learned, double db, bool *beyond);

/* "clockwise 1.5 marks from centre: more bias, duller" in words; for the level dial "…: more record gain, louder". At zero "at the centre: the preset bias". Never a bare
 * sign. Percent dials say "at 108 %: …", clock positions "at half past one: …". A higher reading is said "up", unless the unit is a rotary mark ("mark", "o'clock") where it is
 * "clockwise". Plain UTF-8 text is appended. */
/* The first half of dial_words: "clockwise 1.5 marks from centre", "at 108 %". */
void dial_place_words(struct buffer *b, const struct dial *d, double reading);
void dial_words(struct buffer *b, const struct dial *d, double reading, bool is_bias);
/* The move between two readings: "clockwise 1 mark: less bias, brighter"; "leave it" when the same. */
void dial_move_words(struct buffer *b, const struct dial *d, double from, double to, bool is_bias);
/* A reading as a person writes it: decimals by the step (one more when it lies off the step), trailing zeros dropped, no unit. */
void dial_reading_text(struct buffer *b, const struct dial *d, double reading);
#endif
