/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What factor.c (symbolic, numeric, inverse) and factor_solve.c share; nobody else includes it.
 */
#ifndef BIASBOOK_MODEL_FACTOR_PARTS_H
#define BIASBOOK_MODEL_FACTOR_PARTS_H

#include "factor.h"
#include "supernodal_factor.h"

#include <cholmod.h>

enum factor_state { EMPTY, FACTORED, INVERTED };

struct factor {
    const struct pattern *pattern;
    int n;
    bool borrowed; /* what the pattern alone decides belongs to a twin */
    enum factor_state state;
    double log_determinant;
    double *dense; /* n × n: matrix, then factor, then inverse */
    double *work;  /* dense: one right-hand side */
    /* sparse, by the pattern alone */
    cholmod_common common;
    bool started;
    cholmod_factor *l;
    int *turn;    /* n: an index in the factor's order */
    int *node_of; /* n: supernode of a column, in the factor's order */
    int *place;   /* where element e of the pattern lies in x, and in z */
    /* sparse */
    struct supernodes nodes;
    struct supernodal_factor *worker;
    struct selected_inverse *inverter;
    double *x; /* the matrix, then its factor */
    double *z; /* the inverse */
    /* solving */
    double *sides; /* n × FACTOR_TOGETHER; sparse: in the factor's order, the sides of one index together; all 0 between solves */
    double *below; /* sparse: work */
    unsigned char *up, *down; /* sparse, a supernode: on the way */
    int together;             /* right-hand sides under way */
};
#endif
