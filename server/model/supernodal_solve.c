/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Forward through the supernodes, then back. With J a supernode's own columns and R its rows below:
 *   forward  x_J = L_JJ⁻¹·x_J,  x_R −= L_RJ·x_J;   back  x_J = L_JJ⁻ᵀ·(x_J − L_RJᵀ·x_R)
 */
#include "supernodal_solve.h"

#include "blas.h"

#include <string.h>

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

/* x = L⁻¹·x, or L'⁻¹·x, of `count` vectors side by side. The routines for matrices first copy all of L, which for one vector is most of the work. */
static void divide_by(const char *trans, int own, const double *l, int height, double *x, int count)
{
    if (count == 1)
        dtrsv_("L", trans, "N", &own, l, &height, x, &one);
    else
        dtrsm_("R", "L", *trans == 'N' ? "T" : "N", "N", &count, &own, &plus, l, &height, x, &count);
}

static void forward(const struct supernodes *s, int k, double *x, int count, double *work)
{
    int first = s->first[k], own = s->first[k + 1] - first, height = s->row_at[k + 1] - s->row_at[k], below = height - own;
    const double *l = s->x + s->value_at[k];
    const int *rows = s->rows + s->row_at[k] + own;
    size_t some = (size_t)count;
    if (own == 1 && count == 1) {
        forward_one(l, rows, below, x, first);
        return;
    }
    divide_by("N", own, l, height, x + (size_t)first * some, count);
    if (!below)
        return;
    if (count == 1)
        dgemv_("N", &below, &own, &plus, l + own, &height, x + first, &one, &none, work, &one);
    else
        dgemm_("N", "T", &count, &below, &own, &plus, x + (size_t)first * some, &count, l + own, &height, &none, work, &count);
    for (int i = 0; i < below; i++) {
        double *to = x + (size_t)rows[i] * some;
        for (size_t c = 0; c < some; c++)
            to[c] -= work[(size_t)i * some + c];
    }
}

static void back(const struct supernodes *s, int k, double *x, int count, double *work)
{
    int first = s->first[k], own = s->first[k + 1] - first, height = s->row_at[k + 1] - s->row_at[k], below = height - own;
    const double *l = s->x + s->value_at[k];
    const int *rows = s->rows + s->row_at[k] + own;
    size_t some = (size_t)count;
    if (own == 1 && count == 1) {
        back_one(l, rows, below, x, first);
        return;
    }
    if (below) {
        for (int i = 0; i < below; i++)
            memcpy(work + (size_t)i * some, x + (size_t)rows[i] * some, some * sizeof *work);
        if (count == 1)
            dgemv_("T", &below, &own, &minus, l + own, &height, work, &one, &plus, x + first, &one);
        else
            dgemm_("N", "N", &count, &own, &below, &minus, work, &count, l + own, &height, &plus, x + (size_t)first * some, &count);
    }
    divide_by("T", own, l, height, x + (size_t)first * some, count);
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
