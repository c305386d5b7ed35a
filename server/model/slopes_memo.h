/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Slopes and worths of a deck at its own tones, a class each, kept from the first question on: a `learn` dial's take a small solve, and the next question of
 * this view asks the same. Any number of threads; whoever works one out first leaves it for the others.
 */
#ifndef BIASBOOK_MODEL_SLOPES_MEMO_H
#define BIASBOOK_MODEL_SLOPES_MEMO_H

#include "../trade/slopes.h"

#include <stddef.h>

struct slopes_memo;                              /* private */
struct slopes_memo *slopes_memo_new(int places); /* NULL: out of memory; then nothing is kept and all is worked out each time */
void slopes_memo_free(struct slopes_memo *m);    /* NULL allowed */

/* slope_table_ask, or what it said before at this place to the same question. `m` NULL or place outside: asks. */
void slopes_memo_ask(struct slopes_memo *m, int place, const struct slope_table *t, const struct deck *d, struct slope_kind kind,
                     const struct dial_worth shared[2], struct slopes_at *out);

#endif
