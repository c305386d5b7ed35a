/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a dial reading means in dB and back. Every scale is one strictly monotone function of the reading that is 0 at the dial's
 * zero; `plus` gives its sign.
 */
#include "dial.h"

#include <float.h>
#include <string.h>
#include <strings.h>

#define DB_PER_NEPER  (20 / M_LN10) /* 20·log10(e) = 8.686 */
#define LEARN_SPAN_DB 8.0           /* a whole dial is about ±4 dB: memory, low confidence */
#define SAME          1e-9          /* readings nearer than this are one */

static double sense(const struct dial *d)
{
    return d->plus == PLUS_LESS ? -1 : 1;
}

static bool unit_is(const char *unit, const char *singular)
{
    size_t n = strlen(singular);
    return !strncasecmp(unit, singular, n) && (!unit[n] || !strcasecmp(unit + n, "s"));
}

const char *dial_unit(const struct dial *d)
{
    if (d->unit[0])
        return d->unit;
    return d->scale == SCALE_PERCENT ? "%" : "mark";
}

static bool inside(const struct dial *d, double reading)
{
    return reading >= d->low && reading <= d->high;
}

double dial_zero(const struct dial *d)
{
    if (given(d->zero))
        return d->zero;
    if (inside(d, 0) && d->scale != SCALE_RATIO)
        return 0;
    if (d->scale == SCALE_PERCENT && inside(d, 100))
        return 100;
    if (d->scale == SCALE_RATIO)
        return 1;
    if (unit_is(dial_unit(d), "o'clock") && inside(d, 12))
        return 12;
    return 0;
}

/* The largest of 1, 2, 5 times a power of ten that is not above x. */
static double one_two_five(double x)
{
    double power = pow(10, floor(log10(x) + SAME));
    double first = x / power;
    return power * (first >= 5 - SAME ? 5 : first >= 2 - SAME ? 2 : 1);
}

double dial_step(const struct dial *d)
{
    static const struct {
        const char *unit;
        double step;
    } suggested[] = {{"mark", 0.5}, {"o'clock", 0.25}, {"step", 1}, {"click", 1}, {"%", 1}};
    if (given(d->step) && d->step > 0)
        return d->step;
    double range = d->high - d->low;
    if (!(range > 0))
        range = 1;
    for (size_t i = 0; i < sizeof suggested / sizeof *suggested; i++)
        if (unit_is(dial_unit(d), suggested[i].unit) && suggested[i].step <= range / 4) /* a dial of 0 to 1 "mark" has no half marks */
            return suggested[i].step;
    return one_two_five(range / 100);
}

/* ---- points ---- */

/* The piece that holds x in column `by` (0 reading, 1 dB), end pieces reaching on for ever. */
static int piece(const struct dial *d, int by, double x)
{
    bool rising = d->points[d->point_count - 1][by] > d->points[0][by];
    int i = 0;
    while (i < d->point_count - 2 && (rising ? x > d->points[i + 1][by] : x < d->points[i + 1][by]))
        i++;
    return i;
}

static double slope_of(const struct dial *d, int i)
{
    return (d->points[i + 1][1] - d->points[i][1]) / (d->points[i + 1][0] - d->points[i][0]);
}

static double along(const struct dial *d, double reading)
{
    int i = piece(d, 0, reading);
    return d->points[i][1] + slope_of(d, i) * (reading - d->points[i][0]);
}

/* -1 where the table was written falling: then it carries the sense itself. */
static double written(const struct dial *d)
{
    return d->points[d->point_count - 1][1] < d->points[0][1] ? -1 : 1;
}

/* ---- both ways ---- */

static double per_unit(const struct dial *d, double learned)
{
    if (d->scale == SCALE_LEARN)
        return learned;
    return given(d->db_per_unit) ? d->db_per_unit : 1; /* scale db without a figure: the dial is marked in dB */
}

double dial_to_db(const struct dial *d, double learned, double reading)
{
    double zero = dial_zero(d), x;
    switch (d->scale) {
    case SCALE_PERCENT: x = 1 + (reading - zero) / 100; return x > 0 ? sense(d) * 20 * log10(x) : ABSENT;
    case SCALE_RATIO: x = reading / zero; return x > 0 ? sense(d) * 20 * log10(x) : ABSENT;
    case SCALE_POINTS: return d->point_count < 2 ? ABSENT : sense(d) * written(d) * (along(d, reading) - along(d, zero));
    case SCALE_DB:
    case SCALE_LEARN: return sense(d) * per_unit(d, learned) * (reading - zero);
    case SCALE_NONE: break;
    }
    return ABSENT;
}

double dial_from_db(const struct dial *d, double learned, double db)
{
    double zero = dial_zero(d), up = sense(d) * db;
    switch (d->scale) {
    case SCALE_PERCENT: return zero + 100 * (pow(10, up / 20) - 1);
    case SCALE_RATIO: return zero * pow(10, up / 20);
    case SCALE_POINTS: {
        if (d->point_count < 2)
            return ABSENT;
        double target = written(d) * up + along(d, zero);
        int i = piece(d, 1, target);
        return d->points[i][0] + (target - d->points[i][1]) / slope_of(d, i);
    }
    case SCALE_DB:
    case SCALE_LEARN: {
        double worth = per_unit(d, learned);
        return worth > 0 ? zero + up / worth : ABSENT;
    }
    case SCALE_NONE: break;
    }
    return ABSENT;
}

double dial_db_per_unit(const struct dial *d, double learned, double reading)
{
    double x;
    switch (d->scale) {
    case SCALE_PERCENT: x = 100 + reading - dial_zero(d); return x > 0 ? sense(d) * DB_PER_NEPER / x : ABSENT;
    case SCALE_RATIO: return reading * dial_zero(d) > 0 ? sense(d) * DB_PER_NEPER / reading : ABSENT;
    case SCALE_POINTS: return d->point_count < 2 ? ABSENT : sense(d) * written(d) * slope_of(d, piece(d, 0, reading));
    case SCALE_DB:
    case SCALE_LEARN: return sense(d) * per_unit(d, learned);
    case SCALE_NONE: break;
    }
    return ABSENT;
}

struct dial_worth dial_worth_prior(const struct dial *d)
{
    if (d->scale != SCALE_LEARN)
        return (struct dial_worth){.db_per_unit = fabs(dial_db_per_unit(d, 0, dial_zero(d)))};
    double range = d->high - d->low;
    double worth = range > 0 && isfinite(range) ? LEARN_SPAN_DB / range : DIAL_LEARN_DB_PER_UNIT;
    return (struct dial_worth){.db_per_unit = worth, .se = worth / 2};
}

double dial_set(const struct dial *d, double learned, double db, bool *beyond)
{
    double step = dial_step(d), zero = dial_zero(d), wanted = dial_from_db(d, learned, db);
    bool known = isfinite(wanted);
    if (!known)
        wanted = isnan(wanted) ? zero : wanted > 0 ? DBL_MAX : -DBL_MAX;
    if (beyond)
        *beyond = !known || wanted < d->low - step / 2 - SAME || wanted > d->high + step / 2 + SAME;
    if (wanted <= d->low)
        return d->low;
    if (wanted >= d->high)
        return d->high;
    double reading = zero + nearbyint((wanted - zero) / step) * step;
    reading = nearbyint(reading * 1e9) / 1e9; /* 3 × 0.1 is 0.3 on a dial */
    return fmin(fmax(reading, d->low), d->high);
}
