/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "dense.h"

#include <math.h>
#include <stdlib.h>

static uint64_t next(struct lot *l)
{
    uint64_t z = (l->state += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

double lot_uniform(struct lot *l)
{
    return (double)(next(l) >> 11) * 0x1p-53;
}

double lot_normal(struct lot *l)
{
    double u = lot_uniform(l), v = lot_uniform(l);
    return sqrt(-2 * log(1 - u)) * cos(6.283185307179586 * v);
}

int lot_below(struct lot *l, int n)
{
    return (int)(lot_uniform(l) * n);
}

double *dense_equations(const struct design *d, const double *w, const double *scale, const double *add)
{
    size_t n = (size_t)d->columns;
    double *a = calloc(n * n + 1, sizeof *a);
    for (int i = 0; i < d->rows; i++)
        for (int e = d->start[i]; e < d->start[i + 1]; e++)
            for (int g = d->start[i]; g < d->start[i + 1]; g++)
                a[(size_t)d->column[e] * n + (size_t)d->column[g]] +=
                    w[i] * d->value[e] * d->value[g] * scale[d->column[e]] * scale[d->column[g]];
    for (size_t j = 0; j < n; j++)
        a[j * n + j] += add[j];
    return a;
}

double dense_invert(double *a, int n)
{
    size_t s = (size_t)n;
    double log_determinant = 0;
    for (size_t k = 0; k < s; k++) {
        double p = a[k * s + k];
        log_determinant += log(p);
        for (size_t j = 0; j < s; j++)
            if (j != k)
                a[k * s + j] /= p;
        for (size_t i = 0; i < s; i++) {
            double m = a[i * s + k];
            if (i == k || m == 0)
                continue;
            for (size_t j = 0; j < s; j++)
                if (j != k)
                    a[i * s + j] -= m * a[k * s + j];
            a[i * s + k] = -m / p;
        }
        a[k * s + k] = 1 / p;
    }
    return log_determinant;
}

void dense_times(const double *a, const double *x, int n, double *out)
{
    for (int i = 0; i < n; i++) {
        out[i] = 0;
        for (int j = 0; j < n; j++)
            out[i] += a[(size_t)i * (size_t)n + (size_t)j] * x[j];
    }
}
