/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the normal equations share: normal.c (building), normal_merge.c (columns that are alike), normal_pattern.c (symbolic), normal_solve.c,
 * normal_inverse.c; nobody else includes it.
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
    /* columns that are alike: everything below knows their lead alone */
    int *lead;                   /* column -> first of those it is alike, itself when there is none other */
    unsigned char *together;     /* column: in a group of several */
    int *merged, merged_count;   /* the columns of such groups, ascending */
    int absorbed, rest, cliques; /* cliques 0 … absorbed − 1 are those of the absorbed columns */
    int *rest_of;                /* column -> index of its lead among the rest, or −1 − clique when absorbed */
    int *column_of;              /* rest index -> column */
    int *absorbed_column;        /* clique -> column */
    int *clique_row;             /* cliques + 1, into `row` */
    int *row;                    /* rows, clique by clique */
    int *clique_start;           /* cliques + 1, into `member` */
    int *member;                 /* rest indices, ascending within a clique */
    int most_members;
    int *entry_start; /* rows + 1, by the order of `row`: entries of leads */
    int *entry_at;    /* position in the clique, ascending; −1 for the absorbed one */
    double *entry_value;
    int64_t *pair_start; /* sparse: cliques + 1, into `pair_at` */
    int *pair_at;        /* sparse: where the product of members i >= j lies in the factor's values, at i(i+1)/2 + j */
    struct pattern pattern;
    bool borrowed; /* all of the above belongs to a twin */
    struct factor *factor;
    /* of the last normal_factor */
    double *diagonal;      /* absorbed: M_aa */
    double *beside;        /* per member: M_ac of absorbed cliques */
    double *scale, *add;   /* columns; of a group as it is worked at its lead */
    double *toward, *left; /* columns in groups: g and 1/D of normal_merge.c */
    double *rest_scale;    /* rest */
    double log_merged, log_determinant;
    /* of the last normal_invert */
    double *inverse_diagonal; /* absorbed: M⁻¹_aa */
    double *inverse_beside;   /* per member: M⁻¹_ac */
    double *leverage;         /* sparse: rows */
    /* scratch */
    double *x, *y, *triangle; /* members; members; products of the largest clique of several rows */
    double *work;             /* rest, times WORK_VECTORS */
    double *hat, *kept;       /* columns; merged, times WORK_VECTORS */
};
#define WORK_VECTORS 32

/* Fills lead, together, merged; false: out of memory. */
bool normal_find_alike(struct normal *m, bool merge);
/* Takes over scales and precisions, those of groups as one. False: a column of a group has no prior precision. */
bool normal_merge(struct normal *m, const double *scale, const double *add);
/* A right-hand side in place: that of each group to its lead, what does not depend on the solution to `kept`; and the solution back. */
void normal_merge_sides(const struct normal *m, double *x, double *kept);
void normal_part_sides(const struct normal *m, double *x, const double *kept);

/* Cliques, members, pattern; false: out of memory or too many products (fault set). */
bool normal_pattern(struct normal *m, const unsigned char *absorb, struct fault *f);

/* Entries of the row at place r (of clique c) in scaled columns: the absorbed one's into *own, the others' into m->x; returns how many. */
static inline int normal_scaled_row(const struct normal *m, int c, int r, double *own)
{
    const int *member = m->member + m->clique_start[c];
    int n = 0;
    *own = 0;
    for (int e = m->entry_start[r]; e < m->entry_start[r + 1]; e++)
        if (m->entry_at[e] < 0)
            *own = m->entry_value[e] * m->scale[m->absorbed_column[c]];
        else
            m->x[n++] = m->entry_value[e] * m->rest_scale[member[m->entry_at[e]]];
    return n;
}

/* Positions in the clique of those others. */
static inline const int *normal_row_at(const struct normal *m, int r)
{
    int e = m->entry_start[r];
    return m->entry_at + e + (e < m->entry_start[r + 1] && m->entry_at[e] < 0);
}

/* Dense: address of the product of members i >= j. */
static inline size_t normal_dense(const struct normal *m, const int *member, int i, int j)
{
    return (size_t)member[j] * (size_t)m->rest + (size_t)member[i];
}
#endif
