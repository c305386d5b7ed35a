/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The elements of A⁻¹ on the pattern of A's supernodal Cholesky factor, from the last supernode to the first:
 *
 *   Y = L_RJ·L_JJ⁻¹,   Z_RJ = −Z_RR·Y,   Z_JJ = (L_JJ·L_JJᵀ)⁻¹ − Yᵀ·Z_RJ
 *
 * with J the columns of a supernode and R its rows below; Z_RR lies in supernodes done before.
 * Formula: Takahashi, Fagan & Chin, PICA conference 1973; the block form is Jacquelin et al., ACM TOMS 43(3), 2017.
 */
#ifndef BIASBOOK_MODEL_SELECTED_INVERSE_H
#define BIASBOOK_MODEL_SELECTED_INVERSE_H

#include <stdbool.h>
#include <stddef.h>

/* A supernodal factor as CHOLMOD lays it out; arrays are borrowed. */
struct supernodes {
    int n, count;
    const int *first;    /* count + 1: columns of supernode s are first[s] … first[s+1] − 1 */
    const int *row_at;   /* count + 1: its rows are rows[row_at[s]] …, its own columns first, ascending */
    const int *value_at; /* count + 1: its block starts at x[value_at[s]], column-major, one column per own column */
    const int *rows;
    const double *x;
};

/* Index in x of element (i, j), i >= j, both in the factor's order; (size_t)-1 when outside the pattern. `node_of`: supernode of each column. */
size_t supernodal_place(const struct supernodes *s, const int *node_of, int i, int j);

struct selected_inverse; /* private: work space */
/* `node_of` is borrowed. */
struct selected_inverse *selected_inverse_new(const struct supernodes *s, const int *node_of) __attribute__((warn_unused_result));
void selected_inverse_free(struct selected_inverse *w);
/* Fills z (as long as x) with the inverse, laid out as x. False: a diagonal block is singular. */
bool selected_inverse_compute(struct selected_inverse *w, const struct supernodes *s, double *z);

#endif
