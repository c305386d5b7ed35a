/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Solving with a supernodal Cholesky factor, many right-hand sides at once. Allocates nothing, so it cannot fail.
 */
#ifndef BIASBOOK_MODEL_SUPERNODAL_SOLVE_H
#define BIASBOOK_MODEL_SUPERNODAL_SOLVE_H

#include "selected_inverse.h"

/* Most rows below any supernode: `work` needs that many numbers a right-hand side. */
int supernodal_most_below(const struct supernodes *s);
/* Where a solve has to go: a supernode whose part of the right-hand sides is zero passes nothing up, one that nobody asks for needs no answer.
 * Arrays are borrowed. */
struct solve_path {
    const int *node_of; /* n: supernode of a column */
    unsigned char *up,
        *down; /* a supernode: set where right-hand sides have entries, and where answers are asked for; grow to the root while solving */
};
/* x = (L·Lᵀ)⁻¹·x in the factor's order; `count` right-hand sides of s->n each. Columns that lie outside the way down are left with no meaning. */
void supernodal_solve(const struct supernodes *s, const struct solve_path *path, double *x, int count, double *work);

#endif
