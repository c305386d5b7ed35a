/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The normal equations of a mixed model in scaled effects:
 *
 *   M = S·XᵀWX·S + D,   M·u = S·XᵀWy,   effect = S·u
 *
 * with X the design, W the row weights, S a scale per column (a random effect's standard deviation, 1 for a fixed effect) and D its
 * prior precision in the scaled effect (1 for a random effect, 0 for a fixed one with a flat prior). A scale of 0 is allowed.
 *
 * Columns that are alike in every row may be worked as one (normal_merge.c). Columns that no row shares (the levels of one grouping factor, say) are absorbed
 * by hand: each is a diagonal element, and what is left is factored dense or sparse, whichever is cheaper. Symbolic work is done once in normal_new.
 */
#ifndef BIASBOOK_MODEL_NORMAL_H
#define BIASBOOK_MODEL_NORMAL_H

#include "design.h"
#include "factor.h"

struct normal; /* private */
struct normal_layout {
    const unsigned char *absorb; /* columns: non-zero = absorb it; no row may have two of those */
    bool merge;                  /* work columns that are alike as one; each must then have a prior precision */
    const int
        *rank; /* columns: those of a lower rank, and among them those of fewer rows, are eliminated first; NULL = by minimum degree */
};
/* The design is borrowed until normal_free and must not change. */
struct normal *normal_new(const struct design *d, const unsigned char *absorb, struct fault *f) __attribute__((warn_unused_result));
struct normal *normal_lay_out(const struct design *d, const struct normal_layout *l, struct fault *f) __attribute__((warn_unused_result));
/* The same equations for other weights, sharing the symbolic part; `of` must outlive it. */
struct normal *normal_twin(const struct normal *of, struct fault *f) __attribute__((warn_unused_result));
void normal_free(struct normal *m); /* NULL allowed */

/* Builds M and its factor. All arrays are read only now. */
enum factor_result normal_factor(struct normal *m, const double *w, const double *scale, const double *add);
double normal_log_determinant(const struct normal *m);
/* x = M⁻¹·x in place, `count` vectors of `columns` each. False: out of memory. */
bool normal_solve(struct normal *m, double *x, int count);
/* A right-hand side of few entries of which few answers are asked for: nothing else is passed over. */
struct normal_few {
    int entries;
    const int *column;
    const double *value;
    const int *wanted; /* what it alone is asked for, beside what all are */
    int wanteds;
};
/* Element j of answer v goes to x[v·columns + j] where j is wanted of it or of all; the rest of x is left as it is. */
void normal_solve_few(struct normal *m, const struct normal_few *b, int count, const int *wanted, int wanteds, double *x);
/* The inverse on the pattern of the equations. False: out of memory. */
bool normal_invert(struct normal *m);
/* After normal_invert: diagonal of M⁻¹ (columns), and z'·S·M⁻¹·S·z for each row z of the design. */
void normal_inverse_diagonal(const struct normal *m, double *out);
void normal_leverage(const struct normal *m, double *out);
/* After normal_invert: element (i, j) of M⁻¹; NaN when it was not computed (the two columns share no row, and the factor is sparse). Dense: any. */
double normal_element(const struct normal *m, int i, int j);
/* After normal_invert, dense and nothing merged only: the same for any vector given by its entries. NaN otherwise. */
double normal_variance(const struct normal *m, const int *column, const double *value, int entries);

struct normal_figures {
    int absorbed, rest;
    bool dense;
    size_t elements;
};
void normal_figures(const struct normal *m, struct normal_figures *out);

#endif
