/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Dense or sparse Cholesky behind one door. A fit calls factor_numeric and factor_invert some ten times on one pattern.
 */
#include "factor.h"

#include "../ground/memory.h"
#include "blas.h"
#include "supernodal_factor.h"
#include "supernodal_solve.h"

#include <cholmod.h>
#include <lapacke.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define SOLVE_TOGETHER 32

enum state { EMPTY, FACTORED, INVERTED };

struct factor {
    const struct pattern *pattern;
    int n;
    enum state state;
    double log_determinant;
    double *dense; /* n × n: matrix, then factor, then inverse */
    double *work;  /* dense: one right-hand side */
    /* sparse */
    cholmod_common common;
    bool started;
    cholmod_sparse *matrix; /* its x is what factor_values gives */
    cholmod_factor *l;
    double *turned, *below;   /* SOLVE_TOGETHER right-hand sides in the factor's order; work of the solve */
    int *node_of;             /* n: supernode of a column, in the factor's order */
    unsigned char *up, *down; /* a supernode: the way of a solve */
    struct supernodes nodes;
    struct supernodal_factor *worker;
    struct selected_inverse *inverter;
    int *place; /* where element e of the pattern lies in x, and in z */
    double *x;  /* the factor */
    double *z, *inverse;
};

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
    return k->dense && k->work;
}

static bool new_matrix(struct factor *k)
{
    const struct pattern *p = k->pattern;
    size_t elements = (size_t)p->start[p->n];
    k->matrix = cholmod_allocate_sparse((size_t)p->n, (size_t)p->n, elements, true, true, -1, CHOLMOD_REAL, &k->common);
    if (!k->matrix)
        return false;
    memcpy(k->matrix->p, p->start, ((size_t)p->n + 1) * sizeof(int));
    memcpy(k->matrix->i, p->row, elements * sizeof(int));
    memset(k->matrix->x, 0, elements * sizeof(double));
    return true;
}

/* Symbolic: order, supernodes. A supernodal factor always, so that there is one way to the inverse. */
static bool new_symbolic(struct factor *k)
{
    cholmod_common *c = &k->common;
    c->nmethods = 1;
    c->method[0].ordering = CHOLMOD_AMD;
    c->postorder = true;
    /* Merging narrow supernodes saves calls and costs zeros: less of it than CHOLMOD is used to, as narrow ones go by plain loops here. */
    c->nrelax[0] = 1, c->nrelax[1] = 8, c->nrelax[2] = 32;
    c->zrelax[0] = 0.5;
    k->l = cholmod_analyze(k->matrix, c);
    return k->l && c->status == CHOLMOD_OK && k->l->is_super;
}

static void take_nodes(struct factor *k)
{
    k->nodes = (struct supernodes){
        .n = k->n, .count = (int)k->l->nsuper, .first = k->l->super, .row_at = k->l->pi, .value_at = k->l->px, .rows = k->l->s, .x = k->x};
}

/* Where each element of the pattern lies in the factor. */
static bool find_places(struct factor *k)
{
    const struct pattern *p = k->pattern;
    const int *perm = k->l->Perm;
    int *turned = mem_zero((size_t)k->n + 1, sizeof *turned);
    k->place = mem_zero((size_t)p->start[p->n] + 1, sizeof *k->place);
    bool ok = turned && k->place;
    for (int j = 0; ok && j < k->n; j++)
        turned[perm[j]] = j;
    for (int j = 0; ok && j < k->n; j++)
        for (int e = p->start[j]; e < p->start[j + 1]; e++) {
            int a = turned[j], b = turned[p->row[e]];
            k->place[e] = (int)supernodal_place(&k->nodes, k->node_of, a > b ? a : b, a > b ? b : a);
        }
    mem_free(turned);
    return ok;
}

/* What the symbolic factor already tells of the numeric one, and all that solving will need. */
static bool ready_to_solve(struct factor *k)
{
    k->x = mem_zero(k->l->xsize + 1, sizeof *k->x);
    take_nodes(k);
    k->turned = mem_zero((size_t)k->n + 1, SOLVE_TOGETHER * sizeof *k->turned);
    k->below = mem_zero((size_t)supernodal_most_below(&k->nodes) + 1, SOLVE_TOGETHER * sizeof *k->below);
    k->node_of = mem_zero((size_t)k->n + 1, sizeof *k->node_of);
    k->up = mem_zero((size_t)k->nodes.count + 1, 1);
    k->down = mem_zero((size_t)k->nodes.count + 1, 1);
    if (!k->x || !k->turned || !k->below || !k->node_of || !k->up || !k->down)
        return false;
    for (int s = 0; s < k->nodes.count; s++)
        for (int j = k->nodes.first[s]; j < k->nodes.first[s + 1]; j++)
            k->node_of[j] = s;
    k->worker = supernodal_factor_new(&k->nodes, k->node_of);
    return k->worker && find_places(k);
}

static bool start_sparse(struct factor *k)
{
    k->started = cholmod_start(&k->common);
    if (!k->started)
        return false;
    k->common.error_handler = NULL;
    k->common.quick_return_if_not_posdef = true;
    k->common.supernodal = CHOLMOD_SUPERNODAL;
    k->common.final_asis = true;
    k->common.print = 0;
    return new_matrix(k);
}

static bool new_sparse(struct factor *k)
{
    return start_sparse(k) && new_symbolic(k) && ready_to_solve(k);
}

static bool twin_sparse(struct factor *k, const struct factor *of)
{
    if (!start_sparse(k))
        return false;
    k->l = cholmod_copy_factor(of->l, &k->common);
    return k->l && k->common.status == CHOLMOD_OK && ready_to_solve(k);
}

struct factor *factor_new(const struct pattern *p, struct fault *f)
{
    struct factor *k = mem_zero(1, sizeof *k);
    if (k) {
        k->pattern = p;
        k->n = p->n;
        if (p->start ? new_sparse(k) : new_dense(k))
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

struct factor *factor_twin(const struct factor *of, struct fault *f)
{
    struct factor *k = mem_zero(1, sizeof *k);
    if (k) {
        k->pattern = of->pattern;
        k->n = of->n;
        if (of->dense ? new_dense(k) : twin_sparse(k, of))
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
    mem_free(k->dense);
    mem_free(k->work);
    if (k->started) {
        cholmod_free_sparse(&k->matrix, &k->common);
        cholmod_free_factor(&k->l, &k->common);
        cholmod_finish(&k->common);
    }
    supernodal_factor_free(k->worker);
    selected_inverse_free(k->inverter);
    mem_free(k->turned);
    mem_free(k->below);
    mem_free(k->node_of);
    mem_free(k->up);
    mem_free(k->down);
    mem_free(k->place);
    mem_free(k->x);
    mem_free(k->z);
    mem_free(k->inverse);
    mem_free(k);
}

double *factor_values(struct factor *k)
{
    return k->dense ? k->dense : k->matrix->x;
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
    const double *values = k->matrix->x;
    int elements = k->pattern->start[k->n];
    memset(k->x, 0, k->l->xsize * sizeof *k->x);
    for (int e = 0; e < elements; e++)
        k->x[k->place[e]] = values[e];
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

/* ---- solve ---- */

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

static void solve_sparse(struct factor *k, double *b, int columns, const unsigned char *wanted)
{
    const int *perm = k->l->Perm;
    const struct solve_path path = {k->node_of, k->up, k->down};
    size_t n = (size_t)k->n;
    for (int first = 0; first < columns; first += SOLVE_TOGETHER) {
        int some = columns - first < SOLVE_TOGETHER ? columns - first : SOLVE_TOGETHER;
        double *x = b + (size_t)first * n;
        memset(k->up, 0, (size_t)k->nodes.count);
        memset(k->down, wanted ? 0 : 1, (size_t)k->nodes.count);
        for (size_t j = 0; wanted && j < n; j++)
            k->down[k->node_of[j]] |= wanted[perm[j]];
        for (size_t c = 0; c < (size_t)some; c++)
            for (size_t j = 0; j < n; j++) {
                double value = x[c * n + (size_t)perm[j]];
                k->turned[c * n + j] = value;
                k->up[k->node_of[j]] |= value != 0;
            }
        supernodal_solve(&k->nodes, &path, k->turned, some, k->below);
        for (size_t c = 0; c < (size_t)some; c++)
            for (size_t j = 0; j < n; j++)
                x[c * n + (size_t)perm[j]] = k->turned[c * n + j];
    }
}

void factor_solve_wanted(struct factor *k, double *b, int columns, const unsigned char *wanted)
{
    if (k->n == 0)
        return;
    if (k->dense)
        solve_dense(k, b, columns);
    else
        solve_sparse(k, b, columns, wanted);
}

void factor_solve(struct factor *k, double *b, int columns)
{
    factor_solve_wanted(k, b, columns, NULL);
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
    if (!k->inverse)
        k->inverse = mem_zero((size_t)k->pattern->start[k->n] + 1, sizeof *k->inverse);
    return k->inverter && k->z && k->inverse;
}

static bool invert_sparse(struct factor *k)
{
    if (k->n == 0)
        return true;
    if (!prepare_inverse(k) || !selected_inverse_compute(k->inverter, &k->nodes, k->z))
        return false;
    int elements = k->pattern->start[k->n];
    for (int e = 0; e < elements; e++)
        k->inverse[e] = k->z[k->place[e]];
    return true;
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
    return k->dense ? k->dense : k->inverse;
}

size_t factor_elements(const struct factor *k)
{
    return k->dense ? (size_t)k->n * ((size_t)k->n + 1) / 2 : k->l->xsize;
}
