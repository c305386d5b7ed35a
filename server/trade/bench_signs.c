/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the readings say about themselves before they are believed: below the peak, wandering, surprising.
 */
#include "bench_parts.h"

#define RISE_MIN_DB       0.3 /* treble rising less than this with bias may be the meter */
#define RISE_MOVE_DB      0.4 /* and over less bias than this it says nothing */
#define RISE_MOST         6.0 /* dB per dB: steeper is no tape, it is wander */
#define SMALL_MOVE_DB     0.6 /* a move after which the tones should read nearly the same */
#define SURPRISE_SE       3.0 /* the contract's: 3 se or 1.5 dB */
#define SURPRISE_DB       1.5
#define SURPRISE_LEAST_DB 0.75 /* 3 se of a very fine meter is nothing to stop for */
#define SURPRISE_LEAST_SE 2.0  /* 1.5 dB where nobody knew better is nothing either */

/* Treble with the record level's own part taken out, so that only bias moves it. */
static double treble_of(const struct bench_point *p)
{
    return p->high - p->x[1];
}

void bench_find_peak(struct bench *b)
{
    double least = fmax(RISE_MIN_DB, 2.5 * sqrt(2.0) * b->noise[1]);
    b->below_peak = false;
    for (int i = 0; i < b->count; i++) {
        for (int j = 0; j < b->count; j++) {
            double move = b->point[j].x[0] - b->point[i].x[0], rise = treble_of(&b->point[j]) - treble_of(&b->point[i]);
            if (move >= RISE_MOVE_DB && rise > least && rise < RISE_MOST * move) {
                b->point[i].used = false;
                b->below_peak = true;
            }
        }
    }
    if (!b->below_peak) {
        return;
    }
    /* Of the rest, those at and above the brightest are past the peak only if the treble was seen to fall again. */
    int brightest = -1;
    bool falls = false;
    for (int i = 0; i < b->count; i++) {
        if (b->point[i].used && (brightest < 0 || treble_of(&b->point[i]) > treble_of(&b->point[brightest]))) {
            brightest = i;
        }
    }
    if (brightest < 0) {
        return;
    }
    for (int i = 0; i < b->count; i++) {
        falls |= b->point[i].used && b->point[i].x[0] > b->point[brightest].x[0] + 0.2 &&
                 treble_of(&b->point[i]) < treble_of(&b->point[brightest]) - 0.5 * least;
    }
    b->peak_top = b->point[brightest].x[0];
    for (int i = 0; i < b->count; i++) {
        if (!falls) {
            b->point[i].used = false;
            b->peak_top = fmax(b->peak_top, b->point[i].x[0]);
        } else if (b->point[i].x[0] < b->point[brightest].x[0]) {
            b->point[i].used = false;
        }
    }
}

bool bench_wanders(const struct bench *b)
{
    const struct slopes *s = &b->q->slopes;
    const struct bench_point *last = &b->point[b->count - 1];
    for (int i = 0; i < b->count - 1; i++) {
        const struct bench_point *p = &b->point[i];
        double db = last->x[0] - p->x[0], dl = last->x[1] - p->x[1];
        if (fabs(db) > SMALL_MOVE_DB || fabs(dl) > SMALL_MOVE_DB) {
            continue;
        }
        double expected[2] = {dl + s->a * db, dl - s->b * db}, seen[2] = {last->low - p->low, last->high - p->high};
        double doubt[2] = {s->a_se * db, s->b_se * db};
        for (int t = 0; t < 2; t++) {
            double odd = fabs(seen[t] - expected[t]), least = 4.0 * sqrt(2.0 * b->noise[t] * b->noise[t] + doubt[t] * doubt[t]);
            if (odd > fmax(least, 0.4) && odd > fabs(expected[t])) {
                return true;
            }
        }
    }
    return false;
}

static bool far_off(double residual, double var, bool first)
{
    double size = fabs(residual), se = sqrt(var);
    if (first) { /* the club's word alone is often 1.5 dB off; only what no tape of this label does is worth a stop */
        return size > SURPRISE_SE * se && size > SURPRISE_DB;
    }
    return (size > SURPRISE_SE * se && size > SURPRISE_LEAST_DB) || (size > SURPRISE_DB && size > SURPRISE_LEAST_SE * se);
}

bool bench_surprised(const struct bench *b, bool *first_reading)
{
    const struct bench_point *last = &b->point[b->count - 1];
    struct posterior before;
    struct pair_normal n;
    posterior_find(b, b->count - 1, &before);
    *first_reading = b->count == 1;
    /* the first reading is held against the label, later ones against all that was known */
    n = *first_reading ? bench_predict(&before.fit[0], last->x) : posterior_predict(&before, last->x);
    return far_off(last->low - n.low, n.var_low + b->noise[0] * b->noise[0], *first_reading) ||
           far_off(last->high - n.high, n.var_high + b->noise[1] * b->noise[1], *first_reading);
}
