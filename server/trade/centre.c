/* SPDX-License-Identifier: GPL-3.0-or-later
 * See centre.h. What is kept changes only where a setting or an end of a range meets an end of the dial: those shifts are all that need trying. */
#include "centre.h"

#include <math.h>

#define HAIR 1e-9 /* dB: on the end is inside */

struct score {
    int inside, whole;
    double spare;
};

static struct score score_of(double low, double high, const struct centre_need *n, int count, double shift)
{
    struct score s = {.spare = INFINITY};
    for (int i = 0; i < count; i++) {
        double at = n[i].need - shift;
        if (at < low - HAIR || at > high + HAIR)
            continue;
        s.inside++;
        s.whole += n[i].low - shift >= low - HAIR && n[i].high - shift <= high + HAIR;
        s.spare = fmin(s.spare, fmin(at - low, high - at));
    }
    return s;
}

static bool better(const struct score *a, const struct score *b)
{
    return a->inside != b->inside ? a->inside > b->inside : a->whole > b->whole;
}

/* The stretch of shifts round `shift` that keeps the same settings and ranges inside. */
static void stretch_of(double low, double high, const struct centre_need *n, int count, double shift, double *from, double *to)
{
    *from = -INFINITY;
    *to = INFINITY;
    for (int i = 0; i < count; i++) {
        double at = n[i].need - shift;
        if (at < low - HAIR || at > high + HAIR)
            continue;
        bool whole = n[i].low - shift >= low - HAIR && n[i].high - shift <= high + HAIR;
        *from = fmax(*from, (whole ? n[i].high : n[i].need) - high);
        *to = fmin(*to, (whole ? n[i].low : n[i].need) - low);
    }
}

static double shift_at(double low, double high, const struct centre_need *n, int i)
{
    const struct centre_need *k = &n[i / 6];
    switch (i % 6) {
    case 0: return k->need - high;
    case 1: return k->need - low;
    case 2: return k->low - high;
    case 3: return k->low - low;
    case 4: return k->high - high;
    default: return k->high - low;
    }
}

void centre_find(double low, double high, struct centre_need *needs, int count, double enough_db, struct centre *out)
{
    struct score stay = score_of(low, high, needs, count, 0), best = stay;
    double at = 0;
    *out = (struct centre){0};
    for (int i = 0; i < 6 * count; i++) {
        double shift = shift_at(low, high, needs, i);
        struct score s = score_of(low, high, needs, count, shift);
        bool nearer = !better(&best, &s) && at != 0 && fabs(shift) < fabs(at);
        if (better(&s, &best) || nearer) {
            best = s;
            at = shift;
        }
    }
    if (count && best.inside) {
        stretch_of(low, high, needs, count, at, &out->from_db, &out->to_db);
        double middle = 0.5 * (out->from_db + out->to_db);
        bool enough = !better(&best, &stay) && stay.spare >= enough_db;
        out->shift_db = enough ? 0 : middle;
    }
    struct score now = score_of(low, high, needs, count, out->shift_db);
    out->inside = now.inside;
    out->whole_inside = now.whole;
    out->spare_db = isfinite(now.spare) ? now.spare : 0;
    for (int i = 0; i < count; i++) {
        double setting = needs[i].need - out->shift_db;
        needs[i].inside = setting >= low - HAIR && setting <= high + HAIR;
        needs[i].whole_inside =
            needs[i].inside && needs[i].low - out->shift_db >= low - HAIR && needs[i].high - out->shift_db <= high + HAIR;
        needs[i].short_db = setting > high + HAIR ? setting - high : setting < low - HAIR ? setting - low : 0;
    }
}
