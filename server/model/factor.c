/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Dense or sparse Cholesky behind one door: symbolic, numeric, inverse. A fit calls factor_numeric and factor_invert some ten times on one pattern.
 */
#include "factor_parts.h"

#include "../ground/memory.h"
#include "blas.h"
#include "supernodal_solve.h"

#include <lapacke.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

/* CHOLMOD's memory goes through ground/memory.h. The hooks are global to the library, so they are set once before main. */
static void *hook_calloc(size_t count, size_t size)
{
    return mem_zero(count, size);
}

static void *hook_realloc(void *p, size_t size)
{
    return mem_grow(p, size ? size : 1, 1);
}

__attribute__((constructor)) static void hook_at_start(void)
{
    SuiteSparse_config.malloc_func = mem_alloc;
    SuiteSparse_config.calloc_func = hook_calloc;
    SuiteSparse_config.realloc_func = hook_realloc;
    SuiteSparse_config.free_func = mem_free;
    if (openblas_set_num_threads)
        openblas_set_num_threads(1);
}

static bool new_dense(struct factor *k)
{
    k->dense = mem_zero((size_t)k->n, (size_t)k->n * sizeof *k->dense);
    k->work = mem_zero((size_t)k->n + 1, sizeof *k->work);
    k->sides = mem_zero((size_t)k->n + 1, FACTOR_TOGETHER * sizeof *k->sides);
    return k->dense && k->work && k->sides;
}

/* The pattern as CHOLMOD wants it, borrowed. */
static cholmod_sparse matrix_of(const struct pattern *p)
{
    return (cholmod_sparse){.nrow = (size_t)p->n,
                            .ncol = (size_t)p->n,
                            .nzmax = (size_t)p->start[p->n],
                            .p = p->start,
                            .i = p->row,
                            .stype = -1,
                            .itype = CHOLMOD_INT,
                            .xtype = CHOLMOD_PATTERN,
                            .dtype = CHOLMOD_DOUBLE,
                            .sorted = true,
                            .packed = true};
}

/* Symbolic: order, supernodes. A supernodal factor always, so that there is one way to the inverse. */
static bool new_symbolic(struct factor *k, const int *order)
{
    cholmod_common *c = &k->common;
    cholmod_sparse matrix = matrix_of(k->pattern);
    c->nmethods = 1;
    c->method[0].ordering = order ? CHOLMOD_GIVEN : CHOLMOD_AMD;
    c->postorder = true;
    /* Merging narrow supernodes saves calls and costs zeros: less of it than CHOLMOD is used to, as narrow ones go by plain loops here. */
    c->nrelax[0] = 1, c->nrelax[1] = 8, c->nrelax[2] = 32;
    c->zrelax[0] = 0.5;
    k->l = cholmod_analyze_p(&matrix, (int *)order, NULL, 0, c); /* the order is only read */
    return k->l && c->status == CHOLMOD_OK && k->l->is_super;
}

/* Where each element of the pattern lies in the factor. */
static bool find_places(struct factor *k)
{
    const struct pattern *p = k->pattern;
    const int *perm = k->l->Perm;
    k->turn = mem_zero((size_t)k->n + 1, sizeof *k->turn);
    k->place = mem_zero((size_t)p->start[p->n] + 1, sizeof *k->place);
    if (!k->turn || !k->place)
        return false;
    for (int j = 0; j < k->n; j++)
        k->turn[perm[j]] = j;
    for (int j = 0; j < k->n; j++)
        for (int e = p->start[j]; e < p->start[j + 1]; e++) {
            int a = k->turn[j], b = k->turn[p->row[e]];
            k->place[e] = (int)supernodal_place(&k->nodes, k->node_of, a > b ? a : b, a > b ? b : a);
        }
    return true;
}

/* What the symbolic factor already tells of the numeric one. */
static bool read_symbolic(struct factor *k)
{
    k->nodes = (struct supernodes){
        .n = k->n, .count = (int)k->l->nsuper, .first = k->l->super, .row_at = k->l->pi, .value_at = k->l->px, .rows = k->l->s};
    k->node_of = mem_zero((size_t)k->n + 1, sizeof *k->node_of);
    if (!k->node_of)
        return false;
    for (int s = 0; s < k->nodes.count; s++)
        for (int j = k->nodes.first[s]; j < k->nodes.first[s + 1]; j++)
            k->node_of[j] = s;
    return find_places(k);
}

/* Room for the numbers, and for all that solving will need. */
static bool room_for_numbers(struct factor *k)
{
    k->x = mem_zero(k->l->xsize + 1, sizeof *k->x);
    k->nodes.x = k->x;
    k->sides = mem_zero((size_t)k->n + 1, FACTOR_TOGETHER * sizeof *k->sides);
    k->below = mem_zero((size_t)supernodal_most_below(&k->nodes) + 1, FACTOR_TOGETHER * sizeof *k->below);
    k->up = mem_zero((size_t)k->nodes.count + 1, 1);
    k->down = mem_zero((size_t)k->nodes.count + 1, 1);
    k->worker = supernodal_factor_new(&k->nodes, k->node_of);
    return k->x && k->sides && k->below && k->up && k->down && k->worker;
}

static bool new_sparse(struct factor *k, const int *order)
{
    k->started = cholmod_start(&k->common);
    if (!k->started)
        return false;
    k->common.error_handler = NULL;
    k->common.supernodal = CHOLMOD_SUPERNODAL;
    k->common.print = 0;
    return new_symbolic(k, order) && read_symbolic(k) && room_for_numbers(k);
}

struct factor *factor_new_ordered(const struct pattern *p, const int *order, struct fault *f)
{
    struct factor *k = mem_zero(1, sizeof *k);
    if (k) {
        k->pattern = p;
        k->n = p->n;
        if (p->start ? new_sparse(k, order) : new_dense(k))
            return k;
    }
    bool large = k && k->started && k->common.status == CHOLMOD_TOO_LARGE;
    factor_free(k);
    if (large)
        fault_add(f, FAULT_INTERNAL, "", "model-too-large",
                  "the effects of this table make a factor too large for this machine; use fewer levels");
    else
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while ordering the effects");
    return NULL;
}

struct factor *factor_new(const struct pattern *p, struct fault *f)
{
    return factor_new_ordered(p, NULL, f);
}

struct factor *factor_twin(const struct factor *of, struct fault *f)
{
    struct factor *k = mem_zero(1, sizeof *k);
    if (k) {
        *k = (struct factor){.pattern = of->pattern,
                             .n = of->n,
                             .borrowed = true,
                             .l = of->l,
                             .turn = of->turn,
                             .node_of = of->node_of,
                             .place = of->place,
                             .nodes = of->nodes};
        if (of->dense ? new_dense(k) : room_for_numbers(k))
            return k;
    }
    factor_free(k);
    fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while ordering the effects");
    return NULL;
}

void factor_free(struct factor *k)
{
    if (!k)
        return;
    if (k->started) {
        cholmod_free_factor(&k->l, &k->common);
        cholmod_finish(&k->common);
    }
    supernodal_factor_free(k->worker);
    selected_inverse_free(k->inverter);
    double *numbers[] = {k->dense, k->work, k->x, k->z, k->sides, k->below};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        mem_free(numbers[i]);
    mem_free(k->up);
    mem_free(k->down);
    if (!k->borrowed) {
        mem_free(k->turn);
        mem_free(k->node_of);
        mem_free(k->place);
    }
    mem_free(k);
}

double *factor_clear(struct factor *k)
{
    double *values = k->dense ? k->dense : k->x;
    memset(values, 0, (k->dense ? (size_t)k->n * (size_t)k->n : k->l->xsize) * sizeof *values);
    return values;
}

const int *factor_place(const struct factor *k)
{
    return k->place;
}

/* ---- numeric ---- */

static enum factor_result numeric_dense(struct factor *k)
{
    lapack_int info = k->n ? LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', k->n, k->dense, k->n) : 0;
    if (info != 0)
        return FACTOR_NOT_DEFINITE;
    double sum = 0;
    for (int j = 0; j < k->n; j++)
        sum += log(k->dense[(size_t)j * (size_t)k->n + (size_t)j]);
    k->log_determinant = 2 * sum;
    return isfinite(sum) ? FACTOR_DONE : FACTOR_NOT_DEFINITE;
}

static enum factor_result numeric_sparse(struct factor *k)
{
    if (!supernodal_factor(k->worker, &k->nodes, k->x))
        return FACTOR_NOT_DEFINITE;
    double sum = 0;
    for (int s = 0; s < k->nodes.count; s++) {
        int height = k->nodes.row_at[s + 1] - k->nodes.row_at[s];
        const double *x = k->nodes.x + k->nodes.value_at[s];
        for (int j = 0; j < k->nodes.first[s + 1] - k->nodes.first[s]; j++)
            sum += log(x[(size_t)j * (size_t)height + (size_t)j]);
    }
    k->log_determinant = 2 * sum;
    return isfinite(sum) ? FACTOR_DONE : FACTOR_NOT_DEFINITE;
}

enum factor_result factor_numeric(struct factor *k)
{
    enum factor_result r = k->dense ? numeric_dense(k) : numeric_sparse(k);
    k->state = r == FACTOR_DONE ? FACTORED : EMPTY;
    return r;
}

double factor_log_determinant(const struct factor *k)
{
    return k->log_determinant;
}

/* ---- inverse ---- */

static bool invert_dense(struct factor *k)
{
    return k->n == 0 || LAPACKE_dpotri_work(LAPACK_COL_MAJOR, 'L', k->n, k->dense, k->n) == 0;
}

static bool prepare_inverse(struct factor *k)
{
    if (!k->inverter)
        k->inverter = selected_inverse_new(&k->nodes, k->node_of);
    if (!k->z)
        k->z = mem_zero(k->l->xsize + 1, sizeof *k->z);
    return k->inverter && k->z;
}

static bool invert_sparse(struct factor *k)
{
    return k->n == 0 || (prepare_inverse(k) && selected_inverse_compute(k->inverter, &k->nodes, k->z));
}

bool factor_invert(struct factor *k)
{
    if (k->state == INVERTED)
        return true;
    bool ok = k->dense ? invert_dense(k) : invert_sparse(k);
    if (ok)
        k->state = INVERTED;
    return ok;
}

const double *factor_inverse(const struct factor *k)
{
    return k->dense ? k->dense : k->z;
}

size_t factor_elements(const struct factor *k)
{
    return k->dense ? (size_t)k->n * ((size_t)k->n + 1) / 2 : k->l->xsize;
}
