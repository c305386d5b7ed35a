/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tape.h"

/* How far below its peak a hump is, `u` dB of bias above the peak, with slope 1 at u = d. */
static double fall(enum hump h, double u, double d)
{
    const double erase = 0.25, wide = 4.0; /* per dB; dB */
    switch (h) {
    case HUMP_PARABOLA: return u * u / (2.0 * d);
    case HUMP_SELF_ERASURE: /* steep below the peak, towards a straight line above it */
        return (u + (exp(-erase * u) - 1.0) / erase) / (1.0 - exp(-erase * d));
    case HUMP_HYPERBOLA:
    case HUMPS: break;
    }
    return wide * wide * (sqrt(1.0 + u * u / (wide * wide)) - 1.0) * sqrt(1.0 + d * d / (wide * wide)) / d;
}

struct tape tape_make(struct dice *dice)
{
    struct tape t = {{0.0, 0.0},
                     0.15 + 0.12 * dice_normal(dice),
                     0.005 + 0.035 * dice_uniform(dice),
                     1.6 + 0.4 * dice_normal(dice),
                     3.5 + 3.5 * dice_uniform(dice),
                     (enum hump)(dice_bits(dice) % HUMPS)};
    t.b = fmin(fmax(t.b, 0.8), 2.6);
    return t;
}

void tape_levels(const struct tape *t, double bias, double level, double *low, double *high)
{
    double d = bias - t->need[0], l = level - t->need[1], under = fmin(d + 4.0, 0.0);
    *low = l + t->a * d - t->r * d * d - 0.1 * under * under;
    *high = l - t->b * (fall(t->hump, d + t->peak, t->peak) - fall(t->hump, t->peak, t->peak));
}

void meter_read(const struct meter *m, struct dice *dice, double *low, double *high)
{
    double *y[2] = {low, high};
    for (int t = 0; t < 2; t++) {
        *y[t] += m->noise[t] * dice_normal(dice);
        double grain = m->step_db > 0.0 ? m->step_db : 0.01;
        *y[t] = grain * round(*y[t] / grain);
    }
}
