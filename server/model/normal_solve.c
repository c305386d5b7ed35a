/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Solving with the normal equations: all answers, or a few of right-hand sides of a few entries.
 */
#include "normal_parts.h"

/* ---- all ---- */

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

static double absorbed_answer(const struct normal *m, int c, double side, const double *rest)
{
    for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
        side -= m->beside[i] * rest[m->member[i]];
    return side / m->diagonal[c];
}

static void out_of_rest(const struct normal *m, const double *rest, double *x)
{
    for (int j = 0; j < m->rest; j++)
        x[m->column_of[j]] = rest[j];
    for (int c = 0; c < m->absorbed; c++)
        x[m->absorbed_column[c]] = absorbed_answer(m, c, x[m->absorbed_column[c]], rest);
}

bool normal_solve(struct normal *m, double *x, int count)
{
    size_t columns = (size_t)m->d->columns, rest = (size_t)m->rest, merged = (size_t)m->merged_count;
    for (int first = 0; first < count; first += WORK_VECTORS) {
        int some = count - first < WORK_VECTORS ? count - first : WORK_VECTORS;
        double *at = x + (size_t)first * columns;
        for (size_t v = 0; v < (size_t)some; v++) {
            normal_merge_sides(m, at + v * columns, m->kept + v * merged);
            into_rest(m, at + v * columns, m->work + v * rest);
        }
        factor_solve(m->factor, m->work, some);
        for (size_t v = 0; v < (size_t)some; v++) {
            out_of_rest(m, m->work + v * rest, at + v * columns);
            normal_part_sides(m, at + v * columns, m->kept + v * merged);
        }
    }
    return true;
}

/* ---- few ---- */

/* What a right-hand side has at the lead of a column's group, or at the column that stands alone. */
static double side_of(const struct normal *m, const struct normal_few *b, int lead)
{
    double sum = 0;
    for (int e = 0; e < b->entries; e++)
        if (m->lead[b->column[e]] == lead)
            sum += (m->together[b->column[e]] ? m->toward[b->column[e]] : 1) * b->value[e];
    return sum;
}

/* Right-hand side v's entries among the rest. */
static void few_into_rest(struct normal *m, const struct normal_few *b, int v)
{
    for (int e = 0; e < b->entries; e++) {
        int j = b->column[e], at = m->rest_of[j], c = -1 - at;
        double value = (m->together[j] ? m->toward[j] : 1) * b->value[e];
        if (at >= 0)
            factor_few_add(m->factor, at, v, value);
        else
            for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
                factor_few_add(m->factor, m->member[i], v, -m->beside[i] * value / m->diagonal[c]);
    }
}

/* What is wanted itself, and what a wanted absorbed column is made of. */
static void ask_rest(struct normal *m, const int *wanted, int wanteds)
{
    for (int k = 0; k < wanteds; k++) {
        int at = m->rest_of[wanted[k]];
        if (at >= 0)
            factor_few_ask(m->factor, at);
        else
            for (int i = m->clique_start[-1 - at]; i < m->clique_start[-at]; i++)
                factor_few_ask(m->factor, m->member[i]);
    }
}

/* What of the answer at column j does not go through its group's lead. */
static double beside_lead(const struct normal *m, const struct normal_few *b, int j)
{
    double own = 0;
    for (int e = 0; e < b->entries; e++)
        if (b->column[e] == j)
            own += b->value[e];
    return own * m->left[j] - m->toward[j] * side_of(m, b, m->lead[j]);
}

/* Answers at column j of `some` right-hand sides from number v on. */
static void few_answers(const struct normal *m, const struct normal_few *b, int v, int some, int j, double *x)
{
    size_t columns = (size_t)m->d->columns, stride;
    int at = m->rest_of[j], c = -1 - at;
    double sum[FACTOR_TOGETHER];
    if (at >= 0) {
        const double *from = factor_few_answers(m->factor, at, &stride);
        for (int k = 0; k < some; k++)
            sum[k] = from[(size_t)(v + k) * stride];
    } else {
        for (int k = 0; k < some; k++)
            sum[k] = side_of(m, &b[v + k], m->lead[j]);
        for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++) {
            const double *from = factor_few_answers(m->factor, m->member[i], &stride);
            for (int k = 0; k < some; k++)
                sum[k] -= m->beside[i] * from[(size_t)(v + k) * stride];
        }
        for (int k = 0; k < some; k++)
            sum[k] /= m->diagonal[c];
    }
    for (int k = 0; k < some; k++)
        x[(size_t)(v + k) * columns + (size_t)j] = m->together[j] ? m->toward[j] * sum[k] + beside_lead(m, &b[v + k], j) : sum[k];
}

void normal_solve_few(struct normal *m, const struct normal_few *b, int count, const int *wanted, int wanteds, double *x)
{
    for (int first = 0; first < count; first += FACTOR_TOGETHER) {
        int some = count - first < FACTOR_TOGETHER ? count - first : FACTOR_TOGETHER;
        double *to = x + (size_t)first * (size_t)m->d->columns;
        factor_few_begin(m->factor, some);
        ask_rest(m, wanted, wanteds);
        for (int v = 0; v < some; v++) {
            few_into_rest(m, &b[first + v], v);
            ask_rest(m, b[first + v].wanted, b[first + v].wanteds);
        }
        factor_few_solve(m->factor);
        for (int k = 0; k < wanteds; k++)
            few_answers(m, b + first, 0, some, wanted[k], to);
        for (int v = 0; v < some; v++)
            for (int k = 0; k < b[first + v].wanteds; k++)
                few_answers(m, b + first, v, 1, b[first + v].wanted[k], to);
        factor_few_end(m->factor);
    }
}
