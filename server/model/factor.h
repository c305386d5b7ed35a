/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A symmetric positive definite matrix, its Cholesky factor and its inverse: dense through LAPACK, or sparse by the supernodes that
 * CHOLMOD finds (supernodal_factor.h), with the inverse on the factor's pattern (Takahashi, Fagan & Chin 1973, by supernodes: selected_inverse.h).
 *
 * The order of calls: fill what factor_clear gives, factor_numeric, then any number of solves, then perhaps factor_invert; after it
 * solving still works. Symbolic work is done once, in factor_new.
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
/* The same eliminated in the order given (n numbers, only read now; NULL = by minimum degree). */
struct factor *factor_new_ordered(const struct pattern *p, const int *order, struct fault *f) __attribute__((warn_unused_result));
/* Another matrix of the same pattern, without ordering again; `of` must outlive it and may have been used meanwhile. */
struct factor *factor_twin(const struct factor *of, struct fault *f) __attribute__((warn_unused_result));
void factor_free(struct factor *k); /* NULL allowed */

/* Where the matrix goes, all 0 now: element e of the pattern at factor_place(k)[e], or n×n column-major, of which the lower triangle counts, when dense
 * (factor_place is NULL then). Its content is lost by factor_numeric. */
double *factor_clear(struct factor *k);
const int *factor_place(const struct factor *k);
enum factor_result factor_numeric(struct factor *k);
double factor_log_determinant(const struct factor *k);
/* Solves in place for `columns` right-hand sides of n each, one after the other. Needs no memory. */
void factor_solve(struct factor *k, double *b, int columns);
/* Right-hand sides of few entries of which few answers are asked for, up to FACTOR_TOGETHER at once: begin, add, ask, solve, get, end. Costs the way from
 * those entries and answers to the root, and passes over nothing else. */
#define FACTOR_TOGETHER 32
void factor_few_begin(struct factor *k, int columns);
void factor_few_add(struct factor *k, int i, int column, double value);
void factor_few_ask(struct factor *k, int i);
void factor_few_solve(struct factor *k);
/* Where the answers of element i stand: that of column v at [v·*stride]. */
const double *factor_few_answers(const struct factor *k, int i, size_t *stride);
void factor_few_end(struct factor *k);
bool factor_invert(struct factor *k);
/* After factor_invert: the inverse, laid out as the matrix. */
const double *factor_inverse(const struct factor *k);
size_t factor_elements(const struct factor *k); /* elements of the factor */

#endif
