/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Solving with a factor: whole right-hand sides, or few entries of each. The sparse way works in the factor's order with the right-hand sides of one index side by side, so
 * that what a supernode touches lies together.
 */
#include "factor_parts.h"

#include "blas.h"
#include "supernodal_solve.h"

#include <lapacke.h>
#include <string.h>

static void solve_with_inverse(struct factor *k, double *b, int columns)
{
    static const int one = 1;
    static const double plus = 1, none = 0;
    for (int c = 0; c < columns; c++) {
        double *x = b + (size_t)c * (size_t)k->n;
        dsymv_("L", &k->n, &plus, k->dense, &k->n, x, &one, &none, k->work, &one);
        memcpy(x, k->work, (size_t)k->n * sizeof *x);
    }
}

static void solve_dense(struct factor *k, double *b, int columns)
{
    if (k->state == INVERTED)
        solve_with_inverse(k, b, columns);
    else
        LAPACKE_dpotrs_work(LAPACK_COL_MAJOR, 'L', k->n, columns, k->dense, k->n, b, k->n);
}

static void solve_sparse(struct factor *k, double *b, int columns)
{
    const struct solve_path path = {k->node_of, k->up, k->down};
    const int *perm = k->l->Perm;
    size_t n = (size_t)k->n;
    for (int first = 0; first < columns; first += FACTOR_TOGETHER) {
        size_t some = (size_t)(columns - first < FACTOR_TOGETHER ? columns - first : FACTOR_TOGETHER);
        double *x = b + (size_t)first * n;
        memset(k->up, 0, (size_t)k->nodes.count);
        memset(k->down, 1, (size_t)k->nodes.count);
        for (size_t j = 0; j < n; j++)
            for (size_t c = 0; c < some; c++) {
                double value = x[c * n + (size_t)perm[j]];
                k->sides[j * some + c] = value;
                k->up[k->node_of[j]] |= value != 0;
            }
        supernodal_solve(&k->nodes, &path, k->sides, (int)some, k->below);
        for (size_t j = 0; j < n; j++)
            for (size_t c = 0; c < some; c++)
                x[c * n + (size_t)perm[j]] = k->sides[j * some + c];
        memset(k->sides, 0, n * some * sizeof *k->sides);
    }
}

void factor_solve(struct factor *k, double *b, int columns)
{
    if (k->n == 0)
        return;
    if (k->dense)
        solve_dense(k, b, columns);
    else
        solve_sparse(k, b, columns);
}

/* ---- few ---- */

void factor_few_begin(struct factor *k, int columns)
{
    k->together = columns;
    if (k->dense)
        return;
    memset(k->up, 0, (size_t)k->nodes.count);
    memset(k->down, 0, (size_t)k->nodes.count);
}

static size_t side(const struct factor *k, int i, int column)
{
    return k->dense ? (size_t)column * (size_t)k->n + (size_t)i : (size_t)k->turn[i] * (size_t)k->together + (size_t)column;
}

void factor_few_add(struct factor *k, int i, int column, double value)
{
    k->sides[side(k, i, column)] += value;
    if (!k->dense)
        k->up[k->node_of[k->turn[i]]] = 1;
}

void factor_few_ask(struct factor *k, int i)
{
    if (!k->dense)
        k->down[k->node_of[k->turn[i]]] = 1;
}

void factor_few_solve(struct factor *k)
{
    const struct solve_path path = {k->node_of, k->up, k->down};
    if (k->dense)
        solve_dense(k, k->sides, k->together);
    else
        supernodal_solve(&k->nodes, &path, k->sides, k->together, k->below);
}

const double *factor_few_answers(const struct factor *k, int i, size_t *stride)
{
    *stride = k->dense ? (size_t)k->n : 1;
    return k->sides + side(k, i, 0);
}

/* All that is not 0 stands in supernodes on the way. */
void factor_few_end(struct factor *k)
{
    size_t some = (size_t)k->together;
    if (k->dense)
        memset(k->sides, 0, (size_t)k->n * some * sizeof *k->sides);
    for (int s = 0; !k->dense && s < k->nodes.count; s++)
        if (k->up[s] || k->down[s])
            memset(k->sides + (size_t)k->nodes.first[s] * some, 0,
                   (size_t)(k->nodes.first[s + 1] - k->nodes.first[s]) * some * sizeof *k->sides);
}
