/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Weights of rows; once a row and evaluation.
 */
#include "robust.h"

#include <math.h>

/* Odds that the row is a misentry. */
static double odds(const struct robust *k, double x)
{
    return k->share / ((1 - k->share) * k->wide) * exp(0.5 * x * (1 - 1 / (k->wide * k->wide)));
}

static double misentry(const struct robust *k, double x)
{
    double o = odds(k, x);
    return isfinite(o) ? o / (1 + o) : 1;
}

double robust_weight(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return (k->nu + 1) / (k->nu + x);
    case ROBUST_MIXTURE: return 1 - misentry(k, x) * (1 - 1 / (k->wide * k->wide));
    case ROBUST_NONE: break;
    }
    return 1;
}

double robust_loss(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return (k->nu + 1) * log1p(x / k->nu);
    case ROBUST_MIXTURE: {
        double o = odds(k, x), none = odds(k, 0);
        return isfinite(o) ? x - 2 * log1p(o) + 2 * log1p(none) : x / (k->wide * k->wide) - 2 * log(none) + 2 * log1p(none);
    }
    case ROBUST_NONE: break;
    }
    return x;
}

double robust_left(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return k->nu / (k->nu + x);
    case ROBUST_MIXTURE: {
        double p = misentry(k, x), gap = 1 - 1 / (k->wide * k->wide);
        return 1 - 0.5 * x * p * (1 - p) * gap * gap / (1 - p * gap);
    }
    case ROBUST_NONE: break;
    }
    return 1;
}
