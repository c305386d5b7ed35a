/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Building, factoring and solving the normal equations; called once an evaluation of the likelihood.
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <math.h>
#include <string.h>

static struct normal *no_memory(struct normal *m, struct fault *f)
{
    normal_free(m);
    fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while laying out the effects");
    return NULL;
}

static bool room(struct normal *m)
{
    size_t members = (size_t)m->clique_start[m->absorbed];
    m->diagonal = mem_zero((size_t)m->absorbed + 1, sizeof *m->diagonal);
    m->beside = mem_zero(members + 1, sizeof *m->beside);
    m->scale = mem_zero((size_t)m->d->columns + 1, sizeof *m->scale);
    m->work = mem_zero((size_t)m->rest + 1, WORK_VECTORS * sizeof *m->work);
    m->asked = mem_zero((size_t)m->rest + 1, 1);
    return m->diagonal && m->beside && m->scale && m->work && m->asked;
}

struct normal *normal_new(const struct design *d, const unsigned char *absorb, struct fault *f)
{
    struct normal *m = mem_zero(1, sizeof *m);
    if (!m)
        return no_memory(m, f);
    m->d = d;
    if (!normal_pattern(m, absorb, f) || !(m->factor = factor_new(&m->pattern, f))) {
        normal_free(m);
        return NULL;
    }
    return room(m) ? m : no_memory(m, f);
}

struct normal *normal_twin(const struct normal *of, struct fault *f)
{
    struct normal *m = mem_zero(1, sizeof *m);
    if (!m)
        return no_memory(m, f);
    *m = *of;
    m->borrowed = true;
    m->diagonal = m->beside = m->scale = m->work = m->inverse_diagonal = m->inverse_beside = NULL;
    m->asked = NULL;
    m->factor = factor_twin(of->factor, f);
    if (!m->factor) {
        normal_free(m);
        return NULL;
    }
    return room(m) ? m : no_memory(m, f);
}

static void free_symbolic(struct normal *m)
{
    mem_free(m->rest_of);
    mem_free(m->column_of);
    mem_free(m->absorbed_column);
    mem_free(m->clique_row);
    mem_free(m->row);
    mem_free(m->clique_start);
    mem_free(m->member);
    mem_free(m->local);
    mem_free(m->pair_start);
    mem_free(m->pair_at);
    mem_free(m->pattern.start);
    mem_free(m->pattern.row);
}

void normal_free(struct normal *m)
{
    if (!m)
        return;
    factor_free(m->factor);
    if (!m->borrowed)
        free_symbolic(m);
    mem_free(m->diagonal);
    mem_free(m->beside);
    mem_free(m->scale);
    mem_free(m->inverse_diagonal);
    mem_free(m->inverse_beside);
    mem_free(m->work);
    mem_free(m->asked);
    mem_free(m);
}

/* Adds the products of one row into M. */
static void add_row(struct normal *m, int c, int i, double w, double *values)
{
    const struct design *d = m->d;
    double *beside = c < m->absorbed ? m->beside + m->clique_start[c] : NULL;
    double own = 0;
    int first = d->start[i], last = d->start[i + 1];
    for (int e = first; e < last; e++)
        if (m->local[e] < 0)
            own = w * d->value[e] * m->scale[d->column[e]];
    for (int e = first; e < last; e++) {
        double x = d->value[e] * m->scale[d->column[e]];
        int at = m->local[e];
        if (at < 0) {
            m->diagonal[c] += own * x;
            continue;
        }
        if (beside)
            beside[at] += own * x;
        double wx = w * x;
        for (int g = first; g <= e; g++) {
            int with = m->local[g];
            if (with >= 0)
                values[at >= with ? normal_place(m, c, at, with) : normal_place(m, c, with, at)] +=
                    wx * d->value[g] * m->scale[d->column[g]];
        }
    }
}

/* M_cc −= M_ca·M_ac / M_aa */
static void absorb_clique(struct normal *m, int c, double *values)
{
    const double *beside = m->beside + m->clique_start[c];
    int q = m->clique_start[c + 1] - m->clique_start[c];
    double d = 1 / m->diagonal[c];
    if (!m->pattern.start) {
        const int *member = m->member + m->clique_start[c];
        for (int j = 0; j < q; j++) {
            double *column = values + (size_t)member[j] * (size_t)m->rest;
            double b = beside[j] * d;
            if (b != 0)
                for (int i = j; i < q; i++)
                    column[member[i]] -= b * beside[i];
        }
        return;
    }
    const int *pair = m->pair_at + m->pair_start[c];
    for (int i = 0; i < q; i++) {
        double b = beside[i] * d;
        for (int j = 0; j <= i; j++)
            values[*pair++] -= b * beside[j];
    }
}

static void clear_values(struct normal *m, double *values)
{
    size_t n = m->pattern.start ? (size_t)m->pattern.start[m->rest] : (size_t)m->rest * (size_t)m->rest;
    memset(values, 0, n * sizeof *values);
}

static void add_diagonal(struct normal *m, double *values, const double *add)
{
    for (int j = 0; j < m->rest; j++) {
        size_t at = m->pattern.start ? (size_t)m->pattern.start[j] : (size_t)j * (size_t)m->rest + (size_t)j;
        values[at] += add[m->column_of[j]];
    }
}

enum factor_result normal_factor(struct normal *m, const double *w, const double *scale, const double *add)
{
    double *values = factor_values(m->factor);
    memcpy(m->scale, scale, (size_t)m->d->columns * sizeof *scale);
    clear_values(m, values);
    add_diagonal(m, values, add);
    memset(m->beside, 0, (size_t)m->clique_start[m->absorbed] * sizeof *m->beside);
    double sum = 0;
    for (int c = 0; c < m->cliques; c++) {
        if (c < m->absorbed)
            m->diagonal[c] = add[m->absorbed_column[c]];
        for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++)
            if (w[m->row[r]] != 0)
                add_row(m, c, m->row[r], w[m->row[r]], values);
        if (c < m->absorbed) {
            if (!(m->diagonal[c] > 0))
                return FACTOR_NOT_DEFINITE;
            sum += log(m->diagonal[c]);
            absorb_clique(m, c, values);
        }
    }
    enum factor_result r = factor_numeric(m->factor);
    m->log_determinant = sum + (r == FACTOR_DONE ? factor_log_determinant(m->factor) : 0);
    return r;
}

double normal_log_determinant(const struct normal *m)
{
    return m->log_determinant;
}

/* Forward through the absorbed columns into the rest's right-hand side. */
static void into_rest(const struct normal *m, const double *x, double *rest)
{
    for (int j = 0; j < m->rest; j++)
        rest[j] = x[m->column_of[j]];
    for (int c = 0; c < m->absorbed; c++) {
        double t = x[m->absorbed_column[c]] / m->diagonal[c];
        if (t != 0)
            for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
                rest[m->member[i]] -= m->beside[i] * t;
    }
}

static void out_of_rest(const struct normal *m, const double *rest, double *x, const unsigned char *wanted)
{
    for (int j = 0; j < m->rest; j++)
        x[m->column_of[j]] = rest[j];
    for (int c = 0; c < m->absorbed; c++) {
        if (wanted && !wanted[m->absorbed_column[c]])
            continue;
        double sum = x[m->absorbed_column[c]];
        for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
            sum -= m->beside[i] * rest[m->member[i]];
        x[m->absorbed_column[c]] = sum / m->diagonal[c];
    }
}

/* Of the rest: what is wanted itself, and what a wanted absorbed column is made of. */
static const unsigned char *ask_rest(struct normal *m, const unsigned char *wanted)
{
    for (int j = 0; j < m->rest; j++)
        m->asked[j] = wanted[m->column_of[j]];
    for (int c = 0; c < m->absorbed; c++)
        if (wanted[m->absorbed_column[c]])
            for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
                m->asked[m->member[i]] = 1;
    return m->asked;
}

bool normal_solve_wanted(struct normal *m, double *x, int count, const unsigned char *wanted)
{
    const unsigned char *asked = wanted ? ask_rest(m, wanted) : NULL;
    for (int first = 0; first < count; first += WORK_VECTORS) {
        int some = count - first < WORK_VECTORS ? count - first : WORK_VECTORS;
        for (int v = 0; v < some; v++)
            into_rest(m, x + (size_t)(first + v) * (size_t)m->d->columns, m->work + (size_t)v * (size_t)m->rest);
        factor_solve_wanted(m->factor, m->work, some, asked);
        for (int v = 0; v < some; v++)
            out_of_rest(m, m->work + (size_t)v * (size_t)m->rest, x + (size_t)(first + v) * (size_t)m->d->columns, wanted);
    }
    return true;
}

bool normal_solve(struct normal *m, double *x, int count)
{
    return normal_solve_wanted(m, x, count, NULL);
}

void normal_figures(const struct normal *m, struct normal_figures *out)
{
    *out = (struct normal_figures){.absorbed = m->absorbed,
                                   .rest = m->rest,
                                   .dense = m->pattern.start == NULL,
                                   .elements = factor_elements(m->factor) + (size_t)m->clique_start[m->absorbed] + (size_t)m->absorbed};
}
