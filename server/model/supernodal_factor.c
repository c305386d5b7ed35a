/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Once an evaluation of the likelihood. With J a supernode's columns, R its rows below and D an earlier supernode with rows in J:
 *
 *   L_*J −= L_*D·L_JDᵀ for each such D,   L_JJ = chol(L_JJ),   L_RJ = L_RJ·L_JJ⁻ᵀ
 */
#include "supernodal_factor.h"

#include "../ground/memory.h"
#include "blas.h"

#include <lapacke.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define PLAIN_COLUMNS 4    /* so narrow a supernode updates by plain loops */
#define PLAIN_WORK    1500 /* and so small an update */
#define TRIANGLE      24   /* from so many columns on the triangle on top is updated as one */

struct supernodal_factor {
    const int *node_of;
    int *map;         /* n: where a row stands in the supernode at hand */
    int *to;          /* the same for the rows of one update */
    int *head, *next; /* supernodes: those that update this one next, as lists; −1 ends */
    int *at;          /* supernodes: first of its rows that has not updated yet */
    double *c;        /* one update */
};

struct supernodal_factor *supernodal_factor_new(const struct supernodes *s, const int *node_of)
{
    size_t most = 1, count = (size_t)s->count + 1;
    for (int d = 0; d < s->count; d++) { /* the tallest update: rows from one target on, times the columns there */
        int own = s->first[d + 1] - s->first[d], height = s->row_at[d + 1] - s->row_at[d];
        const int *rows = s->rows + s->row_at[d];
        for (int p = own, q; p < height; p = q) {
            int last = s->first[node_of[rows[p]] + 1];
            for (q = p; q < height && rows[q] < last; q++) {
            }
            size_t size = (size_t)(height - p) * (size_t)(q - p);
            most = size > most ? size : most;
        }
    }
    struct supernodal_factor *w = mem_zero(1, sizeof *w);
    if (!w)
        return NULL;
    w->node_of = node_of;
    w->map = mem_zero((size_t)s->n + 1, sizeof *w->map);
    w->to = mem_zero((size_t)s->n + 1, sizeof *w->to);
    w->head = mem_zero(count, sizeof *w->head);
    w->next = mem_zero(count, sizeof *w->next);
    w->at = mem_zero(count, sizeof *w->at);
    w->c = mem_zero(most, sizeof *w->c);
    if (w->map && w->to && w->head && w->next && w->at && w->c)
        return w;
    supernodal_factor_free(w);
    return NULL;
}

void supernodal_factor_free(struct supernodal_factor *w)
{
    if (!w)
        return;
    mem_free(w->map);
    mem_free(w->to);
    mem_free(w->head);
    mem_free(w->next);
    mem_free(w->at);
    mem_free(w->c);
    mem_free(w);
}

/* One earlier supernode seen from the row with which it enters the one at hand. */
struct update {
    const double *l;             /* its block, at that row */
    const int *to;               /* where that row and those below stand in the supernode at hand */
    int stride, own, tall, wide; /* wide: how many of the rows are columns of the supernode at hand */
};

/* Few columns: sums by hand, in registers; a run of rows that stay together needs no map. */
static void plain(const struct update *u, double *x, size_t height, bool together)
{
    for (int c = 0; c < u->wide; c++) {
        double *column = x + (size_t)u->to[c] * height;
        for (int j = 0; j < u->own; j += 2) {
            const double *l = u->l + (size_t)j * (size_t)u->stride, *m = l + (j + 1 < u->own ? u->stride : 0);
            double by = l[c], also = j + 1 < u->own ? m[c] : 0;
            if (together) {
                double *run = column + u->to[0];
                for (int i = c; i < u->tall; i++)
                    run[i] -= l[i] * by + m[i] * also;
            } else {
                for (int i = c; i < u->tall; i++)
                    column[u->to[i]] -= l[i] * by + m[i] * also;
            }
        }
    }
}

/* C −= or = L·Lᵀ of the update's rows by its first `wide`; the triangle on top as one when that pays. */
static void multiply(const struct update *u, double sign, double keep, double *c, int stride)
{
    int top = u->wide >= TRIANGLE ? u->wide : 0, rest = u->tall - top;
    if (top)
        dsyrk_("L", "N", &top, &u->own, &sign, u->l, &u->stride, &keep, c, &stride);
    if (rest)
        dgemm_("N", "T", &rest, &u->wide, &u->own, &sign, u->l + top, &u->stride, u->l, &u->stride, &keep, c + top, &stride);
}

static void by_blas(const struct update *u, double *x, int height, bool together, double *c)
{
    if (together) { /* what lands above the diagonal is never read */
        multiply(u, -1, 1, x + (size_t)u->to[0] * (size_t)height + (size_t)u->to[0], height);
        return;
    }
    multiply(u, 1, 0, c, u->tall);
    for (int k = 0; k < u->wide; k++) {
        double *column = x + (size_t)u->to[k] * (size_t)height;
        const double *from = c + (size_t)k * (size_t)u->tall;
        for (int i = k; i < u->tall; i++)
            column[u->to[i]] -= from[i];
    }
}

static void pass_on(struct supernodal_factor *w, const struct supernodes *s, int d, int at)
{
    if (at >= s->row_at[d + 1] - s->row_at[d])
        return;
    int to = w->node_of[s->rows[s->row_at[d] + at]];
    w->at[d] = at;
    w->next[d] = w->head[to];
    w->head[to] = d;
}

static void update_by(struct supernodal_factor *w, const struct supernodes *s, double *x, int k, int d)
{
    int at = w->at[d], height = s->row_at[d + 1] - s->row_at[d], end = at, last = s->first[k + 1];
    const int *rows = s->rows + s->row_at[d];
    for (int i = at; i < height; i++)
        w->to[i - at] = w->map[rows[i]];
    while (end < height && rows[end] < last)
        end++;
    struct update u = {.l = x + s->value_at[d] + at,
                       .to = w->to,
                       .stride = height,
                       .own = s->first[d + 1] - s->first[d],
                       .tall = height - at,
                       .wide = end - at};
    bool together = w->to[u.tall - 1] - w->to[0] == u.tall - 1;
    int tall = s->row_at[k + 1] - s->row_at[k];
    if (u.own <= PLAIN_COLUMNS || (int64_t)u.own * u.tall * u.wide < PLAIN_WORK)
        plain(&u, x + s->value_at[k], (size_t)tall, together);
    else
        by_blas(&u, x + s->value_at[k], tall, together, w->c);
    pass_on(w, s, d, end);
}

static bool finish(double *x, int own, int height)
{
    static const double plus = 1;
    int below = height - own;
    if (own == 1) {
        if (!(x[0] > 0))
            return false;
        double d = sqrt(x[0]), by = 1 / d;
        x[0] = d;
        for (int i = 1; i < height; i++)
            x[i] *= by;
        return true;
    }
    if (LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', own, x, height) != 0)
        return false;
    if (below)
        dtrsm_("R", "L", "T", "N", &below, &own, &plus, x, &height, x + own, &height);
    return true;
}

bool supernodal_factor(struct supernodal_factor *w, const struct supernodes *s, double *x)
{
    for (int k = 0; k < s->count; k++)
        w->head[k] = -1;
    for (int k = 0; k < s->count; k++) {
        int own = s->first[k + 1] - s->first[k], height = s->row_at[k + 1] - s->row_at[k];
        const int *rows = s->rows + s->row_at[k];
        for (int i = 0; w->head[k] >= 0 && i < height; i++)
            w->map[rows[i]] = i;
        for (int d = w->head[k], next; d >= 0; d = next) {
            next = w->next[d];
            update_by(w, s, x, k, d);
        }
        if (!finish(x + s->value_at[k], own, height))
            return false;
        pass_on(w, s, k, own);
    }
    return true;
}
