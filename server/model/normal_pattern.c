/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Symbolic part of the normal equations: cliques, and where each of their products lies. Once a fit.
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <stdlib.h>
#include <string.h>

#define DENSE_SMALL 160  /* so few columns: dense whatever the pattern */
#define DENSE_SHARE 0.3  /* from this share of the triangle on a sparse factor is nearly full anyhow */
#define FEW         40   /* so short a list is sorted in place */
#define BOUND_ONLY  1600 /* up to so many columns the number of products alone decides */

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while laying out the effects");
}

/* Numbers the columns and tells each row's clique. */
static bool number_columns(struct normal *m, const unsigned char *absorb, int *clique_of)
{
    const struct design *d = m->d;
    m->rest_of = mem_zero((size_t)d->columns + 1, sizeof *m->rest_of);
    m->column_of = mem_zero((size_t)d->columns + 1, sizeof *m->column_of);
    m->absorbed_column = mem_zero((size_t)d->columns + 1, sizeof *m->absorbed_column);
    if (!m->rest_of || !m->column_of || !m->absorbed_column)
        return false;
    for (int j = 0; j < d->columns; j++) /* a group with an absorbed column is absorbed */
        if (absorb[j])
            m->rest_of[m->lead[j]] = -1;
    for (int j = 0; j < d->columns; j++) {
        if (m->lead[j] != j) {
            m->rest_of[j] = m->rest_of[m->lead[j]]; /* the lead came before */
        } else if (m->rest_of[j] < 0) {
            m->absorbed_column[m->absorbed] = j;
            m->rest_of[j] = -1 - m->absorbed++;
        } else {
            m->column_of[m->rest] = j;
            m->rest_of[j] = m->rest++;
        }
    }
    m->cliques = m->absorbed;
    for (int i = 0; i < d->rows; i++) {
        clique_of[i] = -1;
        for (int e = d->start[i]; e < d->start[i + 1]; e++)
            if (m->rest_of[d->column[e]] < 0)
                clique_of[i] = -1 - m->rest_of[d->column[e]];
        if (clique_of[i] < 0)
            clique_of[i] = m->cliques++;
    }
    return true;
}

/* Rows by clique: a counting sort, stable. */
static bool sort_rows(struct normal *m, const int *clique_of)
{
    int rows = m->d->rows;
    m->clique_row = mem_zero((size_t)m->cliques + 2, sizeof *m->clique_row);
    m->row = mem_zero((size_t)rows + 1, sizeof *m->row);
    if (!m->clique_row || !m->row)
        return false;
    for (int i = 0; i < rows; i++)
        m->clique_row[clique_of[i] + 2]++;
    for (int c = 2; c < m->cliques + 2; c++)
        m->clique_row[c] += m->clique_row[c - 1];
    for (int i = 0; i < rows; i++)
        m->row[m->clique_row[clique_of[i] + 1]++] = i;
    return true;
}

static int ascending(const void *a, const void *b)
{
    int x = *(const int *)a, y = *(const int *)b;
    return (x > y) - (x < y);
}

static void sort(int *list, int count)
{
    if (count > FEW) {
        qsort(list, (size_t)count, sizeof *list, ascending);
        return;
    }
    for (int i = 1; i < count; i++) {
        int v = list[i], k = i;
        for (; k > 0 && list[k - 1] > v; k--)
            list[k] = list[k - 1];
        list[k] = v;
    }
}

/* Distinct rest columns of clique c into `member`, from its end on; returns how many. */
static int clique_members(struct normal *m, int c, int *seen, int *member)
{
    const struct design *d = m->d;
    int count = 0;
    for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++)
        for (int e = d->start[m->row[r]]; e < d->start[m->row[r] + 1]; e++) {
            int j = m->rest_of[d->column[e]];
            if (j >= 0 && seen[j] != c) {
                seen[j] = c;
                member[count++] = j;
            }
        }
    sort(member, count);
    return count;
}

/* The entries of clique c's rows, each with where it stands among the members; `position` is scratch by rest index. */
static void put_entries(struct normal *m, int c, int *position)
{
    const struct design *d = m->d;
    for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++)
        position[m->member[i]] = i - m->clique_start[c];
    for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++) {
        int first = m->entry_start[r], last = first;
        for (int e = d->start[m->row[r]]; e < d->start[m->row[r] + 1]; e++) {
            int j = d->column[e], at = m->rest_of[j] < 0 ? -1 : position[m->rest_of[j]], k = last;
            if (m->lead[j] != j)
                continue;
            for (; k > first && m->entry_at[k - 1] > at; k--) {
                m->entry_at[k] = m->entry_at[k - 1];
                m->entry_value[k] = m->entry_value[k - 1];
            }
            m->entry_at[k] = at;
            m->entry_value[k] = d->value[e];
            last++;
        }
        m->entry_start[r + 1] = last;
    }
}

static bool find_members(struct normal *m, int *seen, int *position)
{
    size_t entries = m->d->rows ? (size_t)m->d->start[m->d->rows] : 0;
    m->clique_start = mem_zero((size_t)m->cliques + 1, sizeof *m->clique_start);
    m->member = mem_zero(entries + 1, sizeof *m->member);
    m->entry_start = mem_zero((size_t)m->d->rows + 1, sizeof *m->entry_start);
    m->entry_at = mem_zero(entries + 1, sizeof *m->entry_at);
    m->entry_value = mem_zero(entries + 1, sizeof *m->entry_value);
    if (!m->clique_start || !m->member || !m->entry_start || !m->entry_at || !m->entry_value)
        return false;
    memset(seen, -1, (size_t)m->rest * sizeof *seen);
    for (int c = 0; c < m->cliques; c++) {
        int count = clique_members(m, c, seen, m->member + m->clique_start[c]);
        m->clique_start[c + 1] = m->clique_start[c] + count;
        m->most_members = count > m->most_members ? count : m->most_members;
        put_entries(m, c, position);
    }
    return true;
}

static int64_t products(const struct normal *m)
{
    int64_t sum = 0;
    for (int c = 0; c < m->cliques; c++) {
        int64_t q = m->clique_start[c + 1] - m->clique_start[c];
        sum += q * (q + 1) / 2;
    }
    return sum;
}

/* ---- the pattern of what is left ---- */

/* Cliques by their members: for column j those in which it stands. */
struct turned {
    int *start, *clique, *at; /* at: its position there */
};

static void turned_free(struct turned *t)
{
    mem_free(t->start);
    mem_free(t->clique);
    mem_free(t->at);
}

static bool turn(const struct normal *m, struct turned *t)
{
    size_t members = (size_t)m->clique_start[m->cliques];
    t->start = mem_zero((size_t)m->rest + 2, sizeof *t->start);
    t->clique = mem_zero(members + 1, sizeof *t->clique);
    t->at = mem_zero(members + 1, sizeof *t->at);
    if (!t->start || !t->clique || !t->at)
        return false;
    for (size_t i = 0; i < members; i++)
        t->start[m->member[i] + 2]++;
    for (int j = 2; j < m->rest + 2; j++)
        t->start[j] += t->start[j - 1];
    for (int c = 0; c < m->cliques; c++)
        for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++) {
            int to = t->start[m->member[i] + 1]++;
            t->clique[to] = c;
            t->at[to] = i - m->clique_start[c];
        }
    return true;
}

/* Rows of column j (the diagonal first, ascending) into `out`; returns how many. `seen` holds j where a row was met. */
static int column_rows(const struct normal *m, const struct turned *t, int j, int *seen, int *out)
{
    int count = 0;
    out[count++] = j;
    seen[j] = j;
    for (int k = t->start[j]; k < t->start[j + 1]; k++) {
        int c = t->clique[k];
        for (int i = m->clique_start[c] + t->at[k] + 1; i < m->clique_start[c + 1]; i++)
            if (seen[m->member[i]] != j) {
                seen[m->member[i]] = j;
                out[count++] = m->member[i];
            }
    }
    sort(out, count);
    return count;
}

static void column_places(struct normal *m, const struct turned *t, int j, int *position)
{
    struct pattern *p = &m->pattern;
    for (int e = p->start[j]; e < p->start[j + 1]; e++)
        position[p->row[e]] = e;
    for (int k = t->start[j]; k < t->start[j + 1]; k++) {
        int c = t->clique[k], at = t->at[k];
        const int *member = m->member + m->clique_start[c];
        int q = m->clique_start[c + 1] - m->clique_start[c];
        int *pair = m->pair_at + m->pair_start[c];
        for (int i = at; i < q; i++)
            pair[(int64_t)i * (i + 1) / 2 + at] = position[member[i]];
    }
}

static bool grow_rows(struct pattern *p, size_t *room, size_t wanted)
{
    if (wanted <= *room)
        return true;
    size_t next = *room + *room / 2 > wanted ? *room + *room / 2 : wanted;
    int *row = next < INT32_MAX ? mem_grow(p->row, next, sizeof *row) : NULL;
    if (!row)
        return false;
    p->row = row;
    *room = next;
    return true;
}

static bool sparse_pattern(struct normal *m, int64_t count, int *seen, int *position)
{
    struct turned t = {0};
    struct pattern *p = &m->pattern;
    size_t room = 0;
    m->pair_start = mem_zero((size_t)m->cliques + 1, sizeof *m->pair_start);
    m->pair_at = mem_zero((size_t)count + 1, sizeof *m->pair_at);
    p->start = mem_zero((size_t)m->rest + 1, sizeof *p->start);
    bool ok = m->pair_start && m->pair_at && p->start && turn(m, &t);
    if (ok) {
        for (int c = 0; c < m->cliques; c++) {
            int64_t q = m->clique_start[c + 1] - m->clique_start[c];
            m->pair_start[c + 1] = m->pair_start[c] + q * (q + 1) / 2;
        }
        memset(seen, -1, (size_t)m->rest * sizeof *seen);
    }
    for (int j = 0; ok && j < m->rest; j++) {
        ok = grow_rows(p, &room, (size_t)p->start[j] + (size_t)(m->rest - j));
        if (ok)
            p->start[j + 1] = p->start[j] + column_rows(m, &t, j, seen, p->row + p->start[j]);
        if (ok)
            column_places(m, &t, j, position);
    }
    turned_free(&t);
    return ok;
}

static void forget_sparse(struct normal *m)
{
    mem_free(m->pattern.start);
    mem_free(m->pattern.row);
    mem_free(m->pair_start);
    mem_free(m->pair_at);
    m->pattern.start = m->pattern.row = NULL;
    m->pair_start = NULL;
    m->pair_at = NULL;
}

/* Dense when small, or when the products fill a good part of the triangle. */
static bool choose_pattern(struct normal *m, int *seen, int *position, struct fault *f)
{
    int64_t count = products(m), triangle = (int64_t)m->rest * (m->rest + 1) / 2;
    m->pattern.n = m->rest;
    if (m->rest <= DENSE_SMALL || (m->rest <= BOUND_ONLY && (double)count > DENSE_SHARE * (double)triangle))
        return true;
    if (count > LIMIT_MODEL_PRODUCTS)
        return m->rest <= LIMIT_MODEL_DENSE ||
               fault_add(f, FAULT_UNACCEPTABLE, "", "model-too-large", "too many combinations of levels (%lld); the most is %lld",
                         (long long)count, (long long)LIMIT_MODEL_PRODUCTS);
    if (!sparse_pattern(m, count, seen, position))
        return out_of_memory(f);
    if ((double)m->pattern.start[m->rest] > DENSE_SHARE * (double)triangle && m->rest <= LIMIT_MODEL_DENSE)
        forget_sparse(m);
    return true;
}

bool normal_pattern(struct normal *m, const unsigned char *absorb, struct fault *f)
{
    int *clique_of = mem_zero((size_t)m->d->rows + 1, sizeof *clique_of);
    bool ok = clique_of && number_columns(m, absorb, clique_of) && sort_rows(m, clique_of);
    mem_free(clique_of);
    int *seen = mem_zero((size_t)m->rest + 1, sizeof *seen), *position = mem_zero((size_t)m->rest + 1, sizeof *position);
    if (!ok || !seen || !position || !find_members(m, seen, position))
        ok = out_of_memory(f);
    else
        ok = choose_pattern(m, seen, position, f);
    mem_free(seen);
    mem_free(position);
    return ok;
}
