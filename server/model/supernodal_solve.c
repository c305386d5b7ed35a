/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Forward through the supernodes, then back. With J a supernode's own columns and R its rows below:
 *   forward  x_J = L_JJ⁻¹·x_J,  x_R −= L_RJ·x_J;   back  x_J = L_JJ⁻ᵀ·(x_J − L_RJᵀ·x_R)
 */
#include "supernodal_solve.h"

#include "blas.h"

int supernodal_most_below(const struct supernodes *s)
{
    int most = 0;
    for (int k = 0; k < s->count; k++) {
        int below = s->row_at[k + 1] - s->row_at[k] - (s->first[k + 1] - s->first[k]);
        most = below > most ? below : most;
    }
    return most;
}

static const double plus = 1, minus = -1, none = 0;
static const int one = 1;

/* A single column and right-hand side, the most frequent case by far: plain loops. */
static void forward_one(const double *l, const int *rows, int below, double *x, int own)
{
    double v = x[own] / l[0];
    x[own] = v;
    for (int i = 0; i < below; i++)
        x[rows[i]] -= l[1 + i] * v;
}

static void back_one(const double *l, const int *rows, int below, double *x, int own)
{
    double v = x[own];
    for (int i = 0; i < below; i++)
        v -= l[1 + i] * x[rows[i]];
    x[own] = v / l[0];
}

/* x = L⁻¹·x, or L'⁻¹·x, of `count` vectors. The routines for matrices first copy all of L, which for one vector is most of the work. */
static void divide_by(const char *trans, int own, const double *l, int height, double *x, int count, int stride)
{
    if (count == 1)
        dtrsv_("L", trans, "N", &own, l, &height, x, &one);
    else
        dtrsm_("L", "L", trans, "N", &own, &count, &plus, l, &height, x, &stride);
}

static void forward(const struct supernodes *s, int k, double *x, int count, double *work)
{
    int first = s->first[k], own = s->first[k + 1] - first, height = s->row_at[k + 1] - s->row_at[k], below = height - own;
    const double *l = s->x + s->value_at[k];
    const int *rows = s->rows + s->row_at[k] + own;
    if (own == 1 && count == 1) {
        forward_one(l, rows, below, x, first);
        return;
    }
    divide_by("N", own, l, height, x + first, count, s->n);
    if (!below)
        return;
    if (count == 1)
        dgemv_("N", &below, &own, &plus, l + own, &height, x + first, &one, &none, work, &one);
    else
        dgemm_("N", "N", &below, &count, &own, &plus, l + own, &height, x + first, &s->n, &none, work, &below);
    for (int c = 0; c < count; c++)
        for (int i = 0; i < below; i++)
            x[(size_t)c * (size_t)s->n + (size_t)rows[i]] -= work[(size_t)c * (size_t)below + (size_t)i];
}

static void back(const struct supernodes *s, int k, double *x, int count, double *work)
{
    int first = s->first[k], own = s->first[k + 1] - first, height = s->row_at[k + 1] - s->row_at[k], below = height - own;
    const double *l = s->x + s->value_at[k];
    const int *rows = s->rows + s->row_at[k] + own;
    if (own == 1 && count == 1) {
        back_one(l, rows, below, x, first);
        return;
    }
    if (below) {
        for (int c = 0; c < count; c++)
            for (int i = 0; i < below; i++)
                work[(size_t)c * (size_t)below + (size_t)i] = x[(size_t)c * (size_t)s->n + (size_t)rows[i]];
        if (count == 1)
            dgemv_("T", &below, &own, &minus, l + own, &height, work, &one, &plus, x + first, &one);
        else
            dgemm_("T", "N", &own, &count, &below, &minus, l + own, &height, work, &below, &plus, x + first, &s->n);
    }
    divide_by("T", own, l, height, x + first, count, s->n);
}

/* All rows below a supernode belong to its ancestors, and the first of them to its parent. */
static void to_parent(const struct supernodes *s, const struct solve_path *path, int k, unsigned char *mark)
{
    int below = s->row_at[k] + s->first[k + 1] - s->first[k];
    if (below < s->row_at[k + 1])
        mark[path->node_of[s->rows[below]]] = 1;
}

void supernodal_solve(const struct supernodes *s, const struct solve_path *path, double *x, int count, double *work)
{
    for (int k = 0; k < s->count; k++) {
        if (path->down[k])
            to_parent(s, path, k, path->down);
        if (path->up[k]) {
            to_parent(s, path, k, path->up);
            forward(s, k, x, count, work);
        }
    }
    for (int k = s->count - 1; k >= 0; k--)
        if (path->down[k])
            back(s, k, x, count, work);
}
