/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A symmetric positive definite matrix, its Cholesky factor and its inverse: dense through LAPACK, or sparse by the supernodes that
 * CHOLMOD finds (supernodal_factor.h), with the inverse on the factor's pattern (Takahashi, Fagan & Chin 1973, by supernodes: selected_inverse.h).
 *
 * The order of calls: fill factor_values, factor_numeric, then any number of factor_solve, then perhaps factor_invert; after it
 * factor_solve still works. Symbolic work is done once, in factor_new.
 */
#ifndef BIASBOOK_MODEL_FACTOR_H
#define BIASBOOK_MODEL_FACTOR_H

#include "../ground/fault.h"

#include <stddef.h>

/* Lower triangle by columns, rows ascending, the diagonal first in each column and always there. start NULL = dense. */
struct pattern {
    int n;
    int *start, *row;
};

enum factor_result { FACTOR_DONE, FACTOR_NOT_DEFINITE, FACTOR_MEMORY };

struct factor; /* private */
/* `p` is borrowed until factor_free. NULL and a fault: out of memory or too large. */
struct factor *factor_new(const struct pattern *p, struct fault *f) __attribute__((warn_unused_result));
/* Another matrix of the same pattern, without ordering again. `of` may have been used meanwhile. */
struct factor *factor_twin(const struct factor *of, struct fault *f) __attribute__((warn_unused_result));
void factor_free(struct factor *k); /* NULL allowed */

/* Where the matrix goes: parallel to p->row, or n×n column-major of which the lower triangle counts. Its content is
 * lost by factor_numeric when dense. */
double *factor_values(struct factor *k);
enum factor_result factor_numeric(struct factor *k);
double factor_log_determinant(const struct factor *k);
/* Solves in place for `columns` right-hand sides of n each, one after the other. Needs no memory. */
void factor_solve(struct factor *k, double *b, int columns);
/* The same where only the elements with `wanted` set are asked for (n; NULL = all); the others have no meaning afterwards. */
void factor_solve_wanted(struct factor *k, double *b, int columns, const unsigned char *wanted);
bool factor_invert(struct factor *k);
/* After factor_invert: the inverse, laid out as factor_values. */
const double *factor_inverse(const struct factor *k);
size_t factor_elements(const struct factor *k); /* elements of the factor */

#endif
