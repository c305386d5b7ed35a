/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Columns that are alike in every row, worked as one: a stock that is alone in its family, a deck alone in its model, a pair and a tape of a single result. With ũ = √D·u the group's
 * scaled effects and t_j = S_j/√D_j, the rows see only v = Σ t_j·ũ_j/T, T² = Σ t_j²; what is orthogonal to v stays as its prior has it. So v takes the place of all, with scale T
 * and precision 1, and with g_j = t_j/(T·√D_j)
 *
 *   log|M|  gains Σ log D_j,   u = M⁻¹·c:  u_j = c_j/D_j + g_j·(v − ĉ),  ĉ = Σ g_k·c_k the right-hand side of v
 *   M⁻¹_jk = g_j·g_k·(V_v − 1) + [j = k]/D_j in a group,   g_j·g_k·V between groups
 *
 * This is exact. A third of a club's columns go.
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static uint64_t stir(uint64_t x)
{
    x ^= x >> 30;
    x *= 0xbf58476d1ce4e5b9u;
    x ^= x >> 27;
    x *= 0x94d049bb133111ebu;
    return x ^ x >> 31;
}

/* A sum over a column's rows that is the same for columns that are alike, whatever the order of the rows. */
static void hash_columns(const struct design *d, uint64_t *hash)
{
    for (int i = 0; i < d->rows; i++)
        for (int e = d->start[i]; e < d->start[i + 1]; e++) {
            uint64_t bits;
            memcpy(&bits, &d->value[e], sizeof bits);
            hash[d->column[e]] += stir(stir((uint64_t)i + 1) ^ bits);
        }
}

/* The first of the columns that look alike. */
static void look_for_leads(const struct design *d, const uint64_t *hash, int *lead)
{
    for (int i = 0; i < d->rows; i++)
        for (int e = d->start[i]; e < d->start[i + 1]; e++) {
            int j = d->column[e];
            for (int g = d->start[i]; g < d->start[i + 1]; g++) {
                int k = d->column[g];
                if (k < lead[j] && hash[k] == hash[j])
                    lead[j] = k;
            }
        }
}

/* Equal hashes are not proof: each row of either has the other with the same value, or they part. */
static void part_strangers(const struct design *d, const int *count, int *lead)
{
    for (int i = 0; i < d->rows; i++)
        for (int e = d->start[i]; e < d->start[i + 1]; e++) {
            int j = d->column[e], k = lead[j];
            bool found = k == j;
            for (int g = d->start[i]; !found && g < d->start[i + 1]; g++)
                found = d->column[g] == k && memcmp(&d->value[g], &d->value[e], sizeof d->value[g]) == 0;
            if (!found || count[k] != count[j])
                lead[j] = j;
        }
}

static bool list_groups(struct normal *m)
{
    int columns = m->d->columns;
    m->merged = mem_zero((size_t)columns + 1, sizeof *m->merged);
    if (!m->merged)
        return false;
    for (int j = 0; j < columns; j++)
        if (m->lead[j] != j)
            m->together[j] = m->together[m->lead[j]] = 1;
    for (int j = 0; j < columns; j++)
        if (m->together[j])
            m->merged[m->merged_count++] = j;
    return true;
}

bool normal_find_alike(struct normal *m, bool merge)
{
    const struct design *d = m->d;
    size_t columns = (size_t)d->columns + 1;
    uint64_t *hash = mem_zero(columns, sizeof *hash);
    int *count = mem_zero(columns, sizeof *count);
    m->lead = mem_zero(columns, sizeof *m->lead);
    m->together = mem_zero(columns, 1);
    bool ok = hash && count && m->lead && m->together;
    for (int j = 0; ok && j < d->columns; j++)
        m->lead[j] = j;
    if (ok && merge && d->rows) {
        for (int e = 0; e < d->start[d->rows]; e++)
            count[d->column[e]]++;
        hash_columns(d, hash);
        look_for_leads(d, hash, m->lead);
        part_strangers(d, count, m->lead);
        for (int j = 0; j < d->columns; j++) /* one that parted leads nobody */
            if (m->lead[m->lead[j]] != m->lead[j])
                m->lead[j] = j;
    }
    mem_free(hash);
    mem_free(count);
    return ok && list_groups(m);
}

bool normal_merge(struct normal *m, const double *scale, const double *add)
{
    int columns = m->d->columns;
    memcpy(m->scale, scale, (size_t)columns * sizeof *scale);
    memcpy(m->add, add, (size_t)columns * sizeof *add);
    m->log_merged = 0;
    for (int k = 0; k < m->merged_count; k++) {
        int j = m->merged[k];
        if (!(add[j] > 0))
            return false;
        m->log_merged += log(add[j]);
        m->scale[m->lead[j]] = 0;
    }
    for (int k = 0; k < m->merged_count; k++) {
        int j = m->merged[k];
        m->scale[m->lead[j]] += scale[j] * scale[j] / add[j];
        m->add[m->lead[j]] = 1;
    }
    for (int k = 0; k < m->merged_count; k++) {
        int j = m->merged[k];
        if (m->lead[j] == j)
            m->scale[j] = sqrt(m->scale[j]);
    }
    for (int k = 0; k < m->merged_count; k++) {
        int j = m->merged[k];
        double all = m->scale[m->lead[j]];
        m->toward[j] = all > 0 ? scale[j] / (add[j] * all) : 0;
        m->left[j] = 1 / add[j];
    }
    return true;
}

void normal_merge_sides(const struct normal *m, double *x, double *kept)
{
    double *hat = m->hat;
    for (int k = 0; k < m->merged_count; k++)
        hat[m->lead[m->merged[k]]] = 0;
    for (int k = 0; k < m->merged_count; k++)
        hat[m->lead[m->merged[k]]] += m->toward[m->merged[k]] * x[m->merged[k]];
    for (int k = 0; k < m->merged_count; k++) {
        int j = m->merged[k];
        kept[k] = m->left[j] * x[j] - m->toward[j] * hat[m->lead[j]];
    }
    for (int k = 0; k < m->merged_count; k++)
        if (m->lead[m->merged[k]] == m->merged[k])
            x[m->merged[k]] = hat[m->merged[k]];
}

void normal_part_sides(const struct normal *m, double *x, const double *kept)
{
    for (int k = m->merged_count - 1; k >= 0; k--) { /* a lead is the first of its group: last, as the others read it */
        int j = m->merged[k];
        x[j] = kept[k] + m->toward[j] * x[m->lead[j]];
    }
}
