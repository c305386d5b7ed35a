/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Plain dense algebra for tests: slow, obvious, and sharing nothing with the code under test.
 */
#ifndef TESTS_MODEL_DENSE_H
#define TESTS_MODEL_DENSE_H

#include "../../server/model/design.h"

#include <stdint.h>

/* Repeatable numbers: splitmix64. */
struct lot {
    uint64_t state;
};
double lot_uniform(struct lot *l); /* [0, 1) */
double lot_normal(struct lot *l);
int lot_below(struct lot *l, int n);

/* S·XᵀWX·S + D as n×n, row-major. Caller frees with free(). */
double *dense_equations(const struct design *d, const double *w, const double *scale, const double *add);
/* In place: a becomes its inverse; returns the log of the determinant (Gauss-Jordan, symmetric positive definite). */
double dense_invert(double *a, int n);
void dense_times(const double *a, const double *x, int n, double *out);

#endif
