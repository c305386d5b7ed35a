/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Results that came after the last full solve, worked into its tables one at a time, exactly for variances held: with C the covariance of all
 * effects, x the row, R its own variance,
 *
 *   k = C·x,  s = x'k + R,  effects += k·(y − x·effects)/s,  cov(f, g) −= (f·k)(g·k)/s
 *
 * k takes one solve with the full solve's factor; a result that is taken out again enters with −R. New levels start at their prior. What cannot be worked in
 * (no room, a new era) asks for a full solve. Robust weights of earlier results follow (tail_weights.c), so that what is served is what a full solve would
 * serve, but for about 0.01 dB.
 */
#ifndef BIASBOOK_MODEL_TAIL_H
#define BIASBOOK_MODEL_TAIL_H

#include "tables.h"

struct tail; /* private */
/* Everything is borrowed and, the tables aside, only read. NULL: out of memory. */
struct tail *tail_new(struct club_fit *fit, struct tables *t, const struct facts *x) __attribute__((warn_unused_result));
void tail_free(struct tail *w);
int tail_room(const struct tail *w);  /* rows that can still be worked in */
bool tail_worn(const struct tail *w); /* time for another full solve: less than half of the room is left */

enum tail_result { TAIL_DONE, TAIL_FULL_SOLVE, TAIL_MEMORY };
/* Row `fact` of the facts is new or has changed: what it said before is taken out, what it says now is put in, with its weight left in the row.
 * After anything but TAIL_DONE the tables are not to be used. */
enum tail_result tail_change(struct tail *w, struct facts *x, int fact, const struct equation_options *o);

/* After the changes that came together: results that were doubted are weighed anew where what others say of them has moved. */
enum tail_result tail_settle(struct tail *w, struct facts *x);

#endif
