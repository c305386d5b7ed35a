/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What normal.c (building), normal_pattern.c (symbolic) and normal_inverse.c (inverse) share; nobody else includes it.
 *
 * A clique is the set of left-over columns that one absorbed column's rows touch together; a row without an absorbed column is a
 * clique of its own. Every product of the normal equations lies inside a clique.
 */
#ifndef BIASBOOK_MODEL_NORMAL_PARTS_H
#define BIASBOOK_MODEL_NORMAL_PARTS_H

#include "normal.h"

#include <stdint.h>

struct normal {
    const struct design *d;
    int absorbed, rest, cliques; /* cliques 0 … absorbed − 1 are those of the absorbed columns */
    int *rest_of;                /* column -> index among the rest, or −1 − clique when absorbed */
    int *column_of;              /* rest index -> column */
    int *absorbed_column;        /* clique -> column */
    int *clique_row;             /* cliques + 1, into `row` */
    int *row;                    /* rows, clique by clique */
    int *clique_start;           /* cliques + 1, into `member` */
    int *member;                 /* rest indices, ascending within a clique */
    int *local;                  /* per design entry: position in its clique, −1 for the absorbed one */
    int64_t *pair_start;         /* sparse: cliques + 1, into `pair_at` */
    int *pair_at;                /* sparse: where the product of members i >= j lies in the pattern, at i(i+1)/2 + j */
    struct pattern pattern;
    bool borrowed; /* all of the above belongs to a twin */
    struct factor *factor;
    /* of the last normal_factor */
    double *diagonal; /* absorbed: M_aa */
    double *beside;   /* per member: M_ac of absorbed cliques */
    double *scale;    /* copy */
    double log_determinant;
    /* of the last normal_invert */
    double *inverse_diagonal; /* absorbed: M⁻¹_aa */
    double *inverse_beside;   /* per member: M⁻¹_ac */
    double *work;             /* rest, times WORK_VECTORS */
    unsigned char *asked;     /* rest: wanted of a solve */
};
#define WORK_VECTORS 32

/* Cliques, members, pattern; false: out of memory or too many products (fault set). */
bool normal_pattern(struct normal *m, const unsigned char *absorb, struct fault *f);

/* Address of the product of members i >= j of clique c in a lower triangle laid out like the factor's values. */
static inline size_t normal_place(const struct normal *m, int c, int i, int j)
{
    if (m->pattern.start)
        return (size_t)m->pair_at[m->pair_start[c] + (int64_t)i * (i + 1) / 2 + j];
    const int *member = m->member + m->clique_start[c];
    return (size_t)member[j] * (size_t)m->rest + (size_t)member[i];
}
#endif
