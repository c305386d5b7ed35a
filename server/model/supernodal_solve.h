/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Solving with a supernodal Cholesky factor, many right-hand sides at once. Allocates nothing, so it cannot fail.
 */
#ifndef BIASBOOK_MODEL_SUPERNODAL_SOLVE_H
#define BIASBOOK_MODEL_SUPERNODAL_SOLVE_H

#include "selected_inverse.h"

/* Most rows below any supernode: `work` needs that many numbers a right-hand side. */
int supernodal_most_below(const struct supernodes *s);
/* x = (L·Lᵀ)⁻¹·x in the factor's order; `count` right-hand sides of s->n each. */
void supernodal_solve(const struct supernodes *s, double *x, int count, double *work);

#endif
