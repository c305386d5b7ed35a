/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Weights of rows; once a row and evaluation.
 */
#include "robust.h"

#include <math.h>

struct robust robust_usual(void)
{
    return (struct robust){.kind = ROBUST_MIXTURE, .share = {0.04, 0.02}, .wide = {4, 16}};
}

struct moments { /* of 1/wide² given x */
    double mean, square;
    double log_sum; /* log of the mixture's density, up to a constant */
};

static struct moments mixture(const struct robust *k, double x)
{
    double rate[ROBUST_PARTS + 1] = {1}, weight[ROBUST_PARTS + 1] = {1}, most = -0.5 * x, exponent[ROBUST_PARTS + 1] = {-0.5 * x};
    for (int p = 0; p < ROBUST_PARTS; p++) {
        rate[p + 1] = 1 / (k->wide[p] * k->wide[p]);
        weight[p + 1] = k->share[p] / k->wide[p];
        weight[0] -= k->share[p];
        exponent[p + 1] = -0.5 * x * rate[p + 1];
        most = fmax(most, exponent[p + 1]);
    }
    struct moments m = {0};
    double sum = 0;
    for (int p = 0; p <= ROBUST_PARTS; p++) {
        double own = weight[p] * exp(exponent[p] - most);
        sum += own;
        m.mean += own * rate[p];
        m.square += own * rate[p] * rate[p];
    }
    m.mean /= sum;
    m.square /= sum;
    m.log_sum = most + log(sum);
    return m;
}

double robust_weight(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return (k->nu + 1) / (k->nu + x);
    case ROBUST_MIXTURE: return mixture(k, x).mean;
    case ROBUST_NONE: break;
    }
    return 1;
}

double robust_weight_foretold(const struct robust *k, double x, double h)
{
    if (k->kind != ROBUST_MIXTURE)
        return 1;
    double share = 1, best = -INFINITY, rate = 1;
    for (int p = 0; p < ROBUST_PARTS; p++)
        share -= k->share[p];
    for (int p = -1; p < ROBUST_PARTS; p++) {
        double wide2 = p < 0 ? 1 : k->wide[p] * k->wide[p], variance = wide2 + h;
        double likely = log(p < 0 ? share : k->share[p]) - 0.5 * log(variance) - 0.5 * x / variance;
        if (likely > best) {
            best = likely;
            rate = 1 / wide2;
        }
    }
    return rate;
}

double robust_loss(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return (k->nu + 1) * log1p(x / k->nu);
    case ROBUST_MIXTURE: return 2 * (mixture(k, 0).log_sum - mixture(k, x).log_sum);
    case ROBUST_NONE: break;
    }
    return x;
}

double robust_left(const struct robust *k, double x)
{
    switch (k->kind) {
    case ROBUST_T: return k->nu / (k->nu + x);
    case ROBUST_MIXTURE: {
        struct moments m = mixture(k, x);
        return 1 - 0.5 * x * (m.square - m.mean * m.mean) / m.mean;
    }
    case ROBUST_NONE: break;
    }
    return 1;
}
