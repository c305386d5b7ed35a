/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The arithmetic of flat equivalents; called once a calibration and whenever slopes or dials were learned anew.
 */
#include "flat.h"

#include "check.h"

#define UNIFORM 12.0 /* variance of a rounding is step²/12 */

static double square(double x)
{
    return x * x;
}

void flat_equivalent(const struct flat_row *row, struct flat_result *out)
{
    bool read = given(row->low_db) && given(row->high_db);
    bool correct = row->method == METHOD_FLAT;
    double treble = given(row->treble_db) ? row->treble_db : 0.0;
    double low = read ? row->low_db : 0.0, high = read ? row->high_db : treble;
    double sum_var, sum = slopes_sum(&row->slopes, &sum_var), a = row->slopes.a;
    double lift = correct ? high - low : 0.0, part = a / sum; /* part: of a lift, what the low tone takes */
    out->read = read && correct;
    out->correction[0] = lift / sum;
    out->correction[1] = correct ? -low - part * lift : 0.0;

    /* d(lift/c)/da = d/db = −lift/c²;  d(a·lift/c)/da = lift·(c − a)/c², d/db = −lift·a/c², c = a + b */
    double by_a = lift * (sum - a) / square(sum), by_b = lift * a / square(sum);
    double slopes[2] = {square(lift) / square(square(sum)) * sum_var,
                        square(by_a * row->slopes.a_se) + square(by_b * row->slopes.b_se) - 2.0 * by_a * by_b * row->slopes.ab_cov};
    /* the straight line misses bend·d² of the lift */
    double missed = row->slopes.bend * square(out->correction[0]) / sum;
    double meter = out->read && given(row->meter_step_db) ? square(row->meter_step_db) / UNIFORM : 0.0;
    double readings[2] = {2.0 * meter / square(sum), meter * (square(1.0 - part) + square(part))};
    double bend[2] = {square(missed), square(a * missed)};
    for (int r = 0; r < 2; r++) {
        out->value[r] = row->setting[r] + out->correction[r];
        out->meter[r] = readings[r];
        out->variance[r] = fmax(slopes[r], 0.0) + (correct ? bend[r] : 0.0) + readings[r] + square(row->dial_step_db[r]) / UNIFORM +
                           square(out->value[r] * row->worth_rel_se[r]);
    }
}

struct flat_row flat_row_of(const struct calibration *c, const struct deck *d, const struct slopes_at *at)
{
    struct flat_row row = {.low_db = c->low_db,
                           .high_db = c->high_db,
                           .treble_db = c->treble_db,
                           .method = c->bias_method,
                           .meter_step_db = d->meter_step_db,
                           .slopes = at->seen};
    const struct dial *dials[2] = {&d->bias_dial, &d->level_dial};
    double readings[2] = {c->bias, c->level};
    for (int r = 0; r < 2; r++) {
        if (!dials[r]->present || !given(readings[r])) {
            continue;
        }
        row.setting[r] = dial_to_db(dials[r], at->worth[r].db_per_unit, readings[r]);
        row.dial_step_db[r] = fabs(dial_step(dials[r]) * dial_db_per_unit(dials[r], at->worth[r].db_per_unit, readings[r]));
        if (dials[r]->scale == SCALE_LEARN && at->worth[r].db_per_unit > 0.0) {
            row.worth_rel_se[r] = at->worth[r].se / at->worth[r].db_per_unit;
        }
    }
    return row;
}

void flat_to_setting(const struct slopes *s, const double flat[2], double treble_db, double setting[2])
{
    double sum = slopes_sum(s, NULL), treble = given(treble_db) ? treble_db : 0.0;
    setting[0] = flat[0] - treble / sum;
    setting[1] = flat[1] + s->a * treble / sum;
}

void flat_expect(const struct slopes *s, double bias_off, double level_off, double *low_db, double *high_db)
{
    double sum = slopes_sum(s, NULL);
    *low_db = level_off + s->a * bias_off;
    *high_db = *low_db - sum * bias_off; /* = level_off − b·bias_off, unless a + b was too small to be believed */
}
