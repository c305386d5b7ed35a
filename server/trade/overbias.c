/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Decks set by overbias (open reel practice): start below, come up through the treble's peak, go on until it has dropped by so
 * many dB. Source of the order: handbook practice, "start from underbias and come up through the peak".
 */
#include "bench_parts.h"

#define START_BELOW_DB 3.5 /* from the expected working point, so that the peak is met on the way up */
#define UP_DB          1.0 /* a step of the climb: the peak is narrow */
#define FAR_DB         1.5 /* most that is gone beyond what was read */

struct climb {
    int peak;     /* index of the brightest point, -1 none */
    bool falls;   /* something above it is clearly duller */
    double top;   /* highest bias read */
    double least; /* what counts as clearly */
};

static double treble_of(const struct bench_point *p)
{
    return p->high - p->x[1];
}

static struct climb climb_of(const struct bench *b)
{
    struct climb c = {-1, false, -INFINITY, fmax(0.25, 2.0 * b->noise[1])};
    for (int i = 0; i < b->count; i++) {
        c.top = fmax(c.top, b->point[i].x[0]);
        if (c.peak < 0 || treble_of(&b->point[i]) > treble_of(&b->point[c.peak])) {
            c.peak = i;
        }
    }
    for (int i = 0; i < b->count; i++) {
        c.falls |= b->point[i].x[0] > b->point[c.peak].x[0] && treble_of(&b->point[i]) < treble_of(&b->point[c.peak]) - c.least;
    }
    return c;
}

/* Bias at which the treble has dropped to `wanted`, between the readings around it or beyond the last. */
static double where_dropped(const struct bench *b, const struct climb *c, double wanted)
{
    const struct bench_point *above = &b->point[c->peak], *below = NULL; /* last brighter, first duller than wanted, up the dial */
    for (int i = 0; i < b->count; i++) {
        const struct bench_point *p = &b->point[i];
        if (p->x[0] < b->point[c->peak].x[0]) {
            continue;
        }
        if (treble_of(p) >= wanted && p->x[0] > above->x[0]) {
            above = p;
        }
        if (treble_of(p) < wanted && (!below || p->x[0] < below->x[0])) {
            below = p;
        }
    }
    if (below && below->x[0] > above->x[0]) {
        double part = (treble_of(above) - wanted) / (treble_of(above) - treble_of(below));
        /* Rounded near the peak: the fall is square in the distance, so the root of the part is meant there. */
        part = above == &b->point[c->peak] ? sqrt(part) : part;
        return above->x[0] + part * (below->x[0] - above->x[0]);
    }
    double fallen = fmax(treble_of(&b->point[c->peak]) - treble_of(above), 0.1), gone = fmax(above->x[0] - b->point[c->peak].x[0], 0.3);
    double more = gone * (sqrt((treble_of(&b->point[c->peak]) - wanted) / fallen) - 1.0);
    return above->x[0] + fmin(fmax(more, 0.0), FAR_DB);
}

static double inside(double mean, double sd, double limit)
{
    return 0.5 * (erf((limit - mean) / (sd * sqrt(2.0))) - erf((-limit - mean) / (sd * sqrt(2.0))));
}

/* A reading past the peak that dropped as wanted, its low tone right too where that can be set. */
static bool there(const struct bench *b, const struct climb *c, const struct bench_point *p, double wanted, double *chance)
{
    double off = treble_of(p) - wanted, sd = sqrt(2.0) * b->noise[1];
    *chance = inside(off, sd, b->tolerance[1]) * (b->has[1] ? inside(p->low, b->noise[0], b->tolerance[0]) : 1.0);
    return p->x[0] > b->point[c->peak].x[0] && fabs(off) <= b->tolerance[1] && (!b->has[1] || fabs(p->low) <= b->tolerance[0]);
}

static void set_to(const struct bench *b, const double x[2], struct next_move *out)
{
    double step = dial_step(b->q->dial[0]), dial[2];
    for (int r = 0; r < 2; r++) {
        dial[r] = bench_reading(b, r, x[r], &out->beyond[r]);
    }
    double towards = bench_db(b, 0, dial[0] + step) > bench_db(b, 0, dial[0]) ? step : -step; /* more bias */
    for (int i = 0; bench_tried(b, dial) && i < 200; i++) {
        double up = dial[0] + towards;
        if (up < b->q->dial[0]->low - 1e-9 || up > b->q->dial[0]->high + 1e-9) {
            out->beyond[0] = true;
            break;
        }
        dial[0] = up;
    }
    for (int r = 0; r < 2; r++) {
        out->set.dial[r] = dial[r];
        out->set.db[r] = bench_db(b, r, dial[r]);
    }
}

void overbias_move(const struct bench *b, const struct posterior *p, struct next_move *out)
{
    double x[2] = {b->q->need[0] - START_BELOW_DB, b->q->need[1]}, drop = b->q->drop_db;
    out->reason = MOVE_UP_TO_PEAK;
    if (!b->count) {
        set_to(b, x, out);
        struct pair_normal n = posterior_predict(p, out->set.db);
        out->set.low_db = n.low;
        out->set.high_db = n.high;
        return;
    }
    struct climb c = climb_of(b);
    const struct bench_point *last = &b->point[b->count - 1];
    double level = b->has[1] ? last->x[1] : 0.0, wanted = treble_of(&b->point[c.peak]) - drop;
    for (int i = b->count - 1; c.falls && i >= 0; i--) {
        double chance;
        if (there(b, &c, &b->point[i], wanted, &chance)) {
            for (int r = 0; r < 2; r++) {
                out->set.dial[r] = b->has[r] ? b->point[i].dial[r] : ABSENT;
                out->set.db[r] = b->point[i].x[r];
            }
            out->set.low_db = b->point[i].low;
            out->set.high_db = b->point[i].high;
            out->set.chance = out->chance_right = chance;
            out->settled = true;
            out->reason = MOVE_SETTLED;
            return;
        }
    }
    if (c.falls) {
        out->reason = MOVE_PAST_PEAK;
        x[0] = where_dropped(b, &c, wanted);
        x[1] = level - (b->has[1] ? last->low : 0.0);
        set_to(b, x, out);
        out->set.low_db = last->low + out->set.db[1] - level;
        out->set.high_db = wanted + out->set.db[1];
    } else {
        x[0] = c.top + UP_DB;
        x[1] = level;
        set_to(b, x, out);
        out->set.low_db = last->low;
        out->set.high_db = last->high;
    }
    if (out->beyond[0] && bench_tried(b, out->set.dial)) {
        out->reason = MOVE_RUNS_OUT;
    }
}
