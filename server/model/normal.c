/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Building and factoring the normal equations; called once an evaluation of the likelihood.
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct normal *no_memory(struct normal *m, struct fault *f)
{
    normal_free(m);
    fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while laying out the effects");
    return NULL;
}

static struct normal *failed(struct normal *m)
{
    normal_free(m);
    return NULL;
}

/* Products of the largest sparse clique of several rows. */
static size_t most_products(const struct normal *m)
{
    int64_t most = 0;
    for (int c = 0; m->pattern.start && c < m->absorbed; c++)
        if (m->clique_row[c + 1] - m->clique_row[c] > 1 && m->pair_start[c + 1] - m->pair_start[c] > most)
            most = m->pair_start[c + 1] - m->pair_start[c];
    return (size_t)most;
}

static bool room(struct normal *m)
{
    size_t absorbed = (size_t)m->absorbed + 1, members = (size_t)m->clique_start[m->absorbed] + 1, columns = (size_t)m->d->columns + 1;
    size_t most = (size_t)m->most_members + 1, merged = (size_t)m->merged_count + 1;
    double **all[] = {&m->diagonal,       &m->beside,   &m->scale, &m->add, &m->toward,   &m->left, &m->rest_scale, &m->inverse_diagonal,
                      &m->inverse_beside, &m->leverage, &m->x,     &m->y,   &m->triangle, &m->work, &m->hat,        &m->kept};
    size_t of[] = {absorbed,
                   members,
                   columns,
                   columns,
                   columns,
                   columns,
                   (size_t)m->rest + 1,
                   absorbed,
                   members,
                   m->pattern.start ? (size_t)m->d->rows + 1 : 1,
                   most,
                   most,
                   most_products(m) + 1,
                   ((size_t)m->rest + 1) * WORK_VECTORS,
                   m->merged_count ? columns : 1,
                   merged * WORK_VECTORS};
    bool ok = true;
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        ok = (*all[i] = mem_zero(of[i], sizeof(double))) && ok;
    return ok;
}

/* Products go straight to where the factor has them. */
static void place_products(struct normal *m)
{
    const int *place = factor_place(m->factor);
    for (int64_t k = 0; m->pattern.start && k < m->pair_start[m->cliques]; k++)
        m->pair_at[k] = place[m->pair_at[k]];
}

struct turn {
    int rank, rows, rest;
};

static int earlier(const void *a, const void *b)
{
    const struct turn *x = a, *y = b;
    int by = (x->rank > y->rank) - (x->rank < y->rank);
    by = by ? by : (x->rows > y->rows) - (x->rows < y->rows);
    return by ? by : (x->rest > y->rest) - (x->rest < y->rest);
}

/* The order of elimination that the ranks ask for; NULL: out of memory. */
static int *rank_rest(const struct normal *m, const int *rank)
{
    struct turn *turn = mem_zero((size_t)m->rest + 1, sizeof *turn);
    int *order = mem_zero((size_t)m->rest + 1, sizeof *order);
    if (!turn || !order) {
        mem_free(turn);
        mem_free(order);
        return NULL;
    }
    for (int j = 0; j < m->rest; j++)
        turn[j] = (struct turn){.rank = rank[m->column_of[j]], .rest = j};
    for (int c = 0; c < m->cliques; c++)
        for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
            turn[m->member[i]].rows += m->clique_row[c + 1] - m->clique_row[c];
    qsort(turn, (size_t)m->rest, sizeof *turn, earlier);
    for (int j = 0; j < m->rest; j++)
        order[j] = turn[j].rest;
    mem_free(turn);
    return order;
}

struct normal *normal_lay_out(const struct design *d, const struct normal_layout *l, struct fault *f)
{
    struct normal *m = mem_zero(1, sizeof *m);
    if (!m)
        return no_memory(m, f);
    m->d = d;
    if (!normal_find_alike(m, l->merge))
        return no_memory(m, f);
    if (!normal_pattern(m, l->absorb, f))
        return failed(m);
    int *order = NULL;
    if (l->rank && m->pattern.start && !(order = rank_rest(m, l->rank)))
        return no_memory(m, f);
    m->factor = factor_new_ordered(&m->pattern, order, f);
    mem_free(order);
    if (!m->factor)
        return failed(m);
    place_products(m);
    return room(m) ? m : no_memory(m, f);
}

struct normal *normal_new(const struct design *d, const unsigned char *absorb, struct fault *f)
{
    struct normal_layout l = {.absorb = absorb};
    return normal_lay_out(d, &l, f);
}

static void free_numeric(struct normal *m)
{
    double *all[] = {m->diagonal,       m->beside,   m->scale, m->add, m->toward,   m->left, m->rest_scale, m->inverse_diagonal,
                     m->inverse_beside, m->leverage, m->x,     m->y,   m->triangle, m->work, m->hat,        m->kept};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        mem_free(all[i]);
}

struct normal *normal_twin(const struct normal *of, struct fault *f)
{
    struct normal *m = mem_zero(1, sizeof *m);
    if (!m)
        return no_memory(m, f);
    *m = *of;
    m->borrowed = true;
    m->factor = factor_twin(of->factor, f);
    if (room(m) && m->factor)
        return m;
    normal_free(m);
    if (!fault_set(f))
        no_memory(NULL, f);
    return NULL;
}

static void free_symbolic(struct normal *m)
{
    int *all[] = {m->lead,         m->merged, m->rest_of,     m->column_of, m->absorbed_column, m->clique_row,    m->row,
                  m->clique_start, m->member, m->entry_start, m->entry_at,  m->pair_at,         m->pattern.start, m->pattern.row};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        mem_free(all[i]);
    mem_free(m->together);
    mem_free(m->entry_value);
    mem_free(m->pair_start);
}

void normal_free(struct normal *m)
{
    if (!m)
        return;
    factor_free(m->factor);
    if (!m->borrowed)
        free_symbolic(m);
    free_numeric(m);
    mem_free(m);
}

/* ---- cliques of a dense rest ---- */

static void add_dense(struct normal *m, int c, int r, double w, double *values)
{
    const int *member = m->member + m->clique_start[c], *at = normal_row_at(m, r);
    double own, *beside = c < m->absorbed ? m->beside + m->clique_start[c] : NULL;
    int n = normal_scaled_row(m, c, r, &own);
    if (beside)
        m->diagonal[c] += w * own * own;
    for (int e = 0; e < n; e++) {
        double wx = w * m->x[e];
        if (beside)
            beside[at[e]] += own * wx;
        for (int g = 0; g <= e; g++)
            values[normal_dense(m, member, at[e], at[g])] += wx * m->x[g];
    }
}

/* M_cc −= M_ca·M_ac / M_aa */
static void absorb_dense(const struct normal *m, int c, double *values)
{
    const double *beside = m->beside + m->clique_start[c];
    const int *member = m->member + m->clique_start[c];
    int q = m->clique_start[c + 1] - m->clique_start[c];
    double d = 1 / m->diagonal[c];
    for (int j = 0; j < q; j++) {
        double *column = values + (size_t)member[j] * (size_t)m->rest, b = beside[j] * d;
        if (b != 0)
            for (int i = j; i < q; i++)
                column[member[i]] -= b * beside[i];
    }
}

static void dense_clique(struct normal *m, int c, const double *w, double *values)
{
    for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++)
        if (w[m->row[r]] != 0)
            add_dense(m, c, r, w[m->row[r]], values);
    if (c < m->absorbed && m->diagonal[c] > 0)
        absorb_dense(m, c, values);
}

/* ---- cliques of a sparse rest ---- */

/* Of one row: what is left of it is the row without the absorbed column, at the weight w·D/(D + w·own²). */
static void single_row(struct normal *m, int c, const double *w, double *values)
{
    int r = m->clique_row[c];
    double own, weight = w[m->row[r]];
    if (weight == 0)
        return;
    int n = normal_scaled_row(m, c, r, &own);
    if (c < m->absorbed) {
        double *beside = m->beside + m->clique_start[c], add = m->diagonal[c];
        m->diagonal[c] += weight * own * own;
        for (int e = 0; e < n; e++)
            beside[e] = weight * own * m->x[e];
        weight *= add / m->diagonal[c];
    }
    const int *pair = m->pair_at + m->pair_start[c];
    for (int e = 0; e < n; e++) {
        double wx = weight * m->x[e];
        for (int g = 0; g <= e; g++)
            values[*pair++] += wx * m->x[g];
    }
}

/* Of several: summed in a triangle of its own first. */
static void several_rows(struct normal *m, int c, const double *w, double *values)
{
    double *beside = m->beside + m->clique_start[c], *triangle = m->triangle;
    int q = m->clique_start[c + 1] - m->clique_start[c];
    size_t products = (size_t)(m->pair_start[c + 1] - m->pair_start[c]);
    memset(triangle, 0, products * sizeof *triangle);
    for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++) {
        const int *at = normal_row_at(m, r);
        double own, weight = w[m->row[r]];
        if (weight == 0)
            continue;
        int n = normal_scaled_row(m, c, r, &own);
        m->diagonal[c] += weight * own * own;
        for (int e = 0; e < n; e++) {
            double wx = weight * m->x[e], *line = triangle + (size_t)at[e] * ((size_t)at[e] + 1) / 2;
            beside[at[e]] += own * wx;
            for (int g = 0; g <= e; g++)
                line[at[g]] += wx * m->x[g];
        }
    }
    if (!(m->diagonal[c] > 0))
        return;
    const int *pair = m->pair_at + m->pair_start[c];
    double d = 1 / m->diagonal[c];
    for (int i = 0; i < q; i++) {
        double b = beside[i] * d;
        for (int j = 0; j <= i; j++)
            values[*pair++] += *triangle++ - b * beside[j];
    }
}

static void sparse_clique(struct normal *m, int c, const double *w, double *values)
{
    if (m->clique_row[c + 1] - m->clique_row[c] == 1)
        single_row(m, c, w, values);
    else
        several_rows(m, c, w, values);
}

/* ---- all of it ---- */

static void add_diagonal(struct normal *m, double *values)
{
    const int *place = factor_place(m->factor);
    for (int j = 0; j < m->rest; j++) {
        size_t at = m->pattern.start ? (size_t)place[m->pattern.start[j]] : (size_t)j * (size_t)m->rest + (size_t)j;
        values[at] += m->add[m->column_of[j]];
        m->rest_scale[j] = m->scale[m->column_of[j]];
    }
}

enum factor_result normal_factor(struct normal *m, const double *w, const double *scale, const double *add)
{
    double *values = factor_clear(m->factor), sum = 0;
    if (!normal_merge(m, scale, add))
        return FACTOR_NOT_DEFINITE;
    add_diagonal(m, values);
    memset(m->beside, 0, (size_t)m->clique_start[m->absorbed] * sizeof *m->beside);
    for (int c = 0; c < m->cliques; c++) {
        if (c < m->absorbed)
            m->diagonal[c] = m->add[m->absorbed_column[c]];
        if (m->pattern.start)
            sparse_clique(m, c, w, values);
        else
            dense_clique(m, c, w, values);
        if (c >= m->absorbed)
            continue;
        if (!(m->diagonal[c] > 0))
            return FACTOR_NOT_DEFINITE;
        sum += log(m->diagonal[c]);
    }
    enum factor_result r = factor_numeric(m->factor);
    m->log_determinant = sum + m->log_merged + (r == FACTOR_DONE ? factor_log_determinant(m->factor) : 0);
    return r;
}

double normal_log_determinant(const struct normal *m)
{
    return m->log_determinant;
}

void normal_figures(const struct normal *m, struct normal_figures *out)
{
    *out = (struct normal_figures){.absorbed = m->absorbed,
                                   .rest = m->rest,
                                   .dense = m->pattern.start == NULL,
                                   .elements = factor_elements(m->factor) + (size_t)m->clique_start[m->absorbed] + (size_t)m->absorbed};
}
