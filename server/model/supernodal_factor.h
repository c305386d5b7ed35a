/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The numeric part of a supernodal Cholesky factor on a pattern that stays: left-looking by supernodes (Ng & Peyton, SIAM J. Sci. Comput. 14(5), 1993).
 * Most supernodes of a club's equations are one or two columns with some ten rows: those go by plain loops, the dense core by BLAS.
 */
#ifndef BIASBOOK_MODEL_SUPERNODAL_FACTOR_H
#define BIASBOOK_MODEL_SUPERNODAL_FACTOR_H

#include "selected_inverse.h"

struct supernodal_factor; /* private: work space for one pattern */
/* `node_of`: supernode of each column, borrowed. NULL: out of memory. */
struct supernodal_factor *supernodal_factor_new(const struct supernodes *s, const int *node_of) __attribute__((warn_unused_result));
void supernodal_factor_free(struct supernodal_factor *w); /* NULL allowed */
/* x: the matrix on the factor's pattern in the layout of s->x, lower triangle (what stands above a diagonal block's diagonal is ignored); becomes the factor.
 * False: not positive definite. Needs no memory. */
bool supernodal_factor(struct supernodal_factor *w, const struct supernodes *s, double *x);

#endif
