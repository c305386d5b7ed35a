/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One calibration's responses: the flat equivalents with their known variance, and what they can tell.
 */
#ifndef BIASBOOK_MODEL_FLAT_ROWS_H
#define BIASBOOK_MODEL_FLAT_ROWS_H

#include "equation.h"

struct row_response {
    double y[RESPONSES], s2[RESPONSES], v;
    double correction[RESPONSES], fixed[RESPONSES]; /* fixed: what is known beforehand, taken off in y */
    unsigned char kind[RESPONSES];
    signed char stop[RESPONSES];
};
/* Remembers the last question to the slopes: rows of one deck and class mostly ask the same. */
struct flat_memo {
    int deck, tape_class;
    double speed, low_hz, high_hz;
    struct slopes_at at;
};
/* Variance of the flat equivalent by the readings' own wander, the meter's step aside, dB². */
double flat_noise(const struct slopes_at *at, double meter_step_db, enum response r);
void flat_memo_init(struct flat_memo *m);
void row_respond(const struct facts *x, const struct fact_row *row, const struct equation_options *o, struct flat_memo *memo,
                 struct row_response *out);

#endif
