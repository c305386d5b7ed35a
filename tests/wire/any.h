/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Records made at random, with any subset of members, awkward texts and numbers of any size; for tests of properties.
 */
#ifndef BIASBOOK_TESTS_WIRE_ANY_H
#define BIASBOOK_TESTS_WIRE_ANY_H

#include "wire/wire.h"

void any_deck(struct deck *d, struct arena *a);
void any_stock(struct stock *s, struct arena *a);
void any_calibration(struct calibration *c, struct arena *a);
void any_service(struct service *s, struct arena *a);
void any_check(struct deck_check *c, struct arena *a);
void any_stamp(struct stamp *s);
/* One line of each kind in turn, without line end. */
void any_line(struct buffer *b, int which, struct arena *a);

/* Bit for bit the same but for where notes lie. */
bool same_deck(struct deck a, struct deck b);
bool same_stock(struct stock a, struct stock b);
bool same_calibration(struct calibration a, struct calibration b);
bool same_service(struct service a, struct service b);
bool same_check(struct deck_check a, struct deck_check b);

long below(long n);                                      /* 0 … n − 1 */
double any_number(void);                                 /* typed ones mostly; never -0 */
void any_bytes(char *out, size_t n, const char *likely); /* random bytes, half of them from `likely` */

#endif
