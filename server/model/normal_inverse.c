/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The inverse of the normal equations where it is needed: on each clique. With a an absorbed column, c its clique, Z the inverse of what is left:
 *
 *   M⁻¹_ac = −(Z·M_ca)/M_aa,   M⁻¹_aa = 1/M_aa + M_ac·Z·M_ca/M_aa²
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <math.h>

bool normal_invert(struct normal *m)
{
    if (!m->inverse_diagonal)
        m->inverse_diagonal = mem_zero((size_t)m->absorbed + 1, sizeof *m->inverse_diagonal);
    if (!m->inverse_beside)
        m->inverse_beside = mem_zero((size_t)m->clique_start[m->absorbed] + 1, sizeof *m->inverse_beside);
    if (!m->inverse_diagonal || !m->inverse_beside || !factor_invert(m->factor))
        return false;
    const double *z = factor_inverse(m->factor);
    for (int c = 0; c < m->absorbed; c++) {
        const double *beside = m->beside + m->clique_start[c];
        double *out = m->inverse_beside + m->clique_start[c];
        int q = m->clique_start[c + 1] - m->clique_start[c];
        double d = 1 / m->diagonal[c], sum = 0;
        for (int i = 0; i < q; i++)
            out[i] = 0;
        for (int i = 0; i < q; i++) {
            double own = 0, b = beside[i];
            for (int j = 0; j < i; j++) {
                double e = z[normal_place(m, c, i, j)];
                own += e * beside[j];
                out[j] += e * b;
            }
            out[i] += own + z[normal_place(m, c, i, i)] * b;
        }
        for (int i = 0; i < q; i++) {
            sum += out[i] * beside[i];
            out[i] *= -d;
        }
        m->inverse_diagonal[c] = d + d * d * sum;
    }
    return true;
}

void normal_inverse_diagonal(const struct normal *m, double *out)
{
    const double *z = factor_inverse(m->factor);
    for (int c = 0; c < m->absorbed; c++)
        out[m->absorbed_column[c]] = m->inverse_diagonal[c];
    for (int j = 0; j < m->rest; j++)
        out[m->column_of[j]] = z[m->pattern.start ? (size_t)m->pattern.start[j] : (size_t)j * (size_t)m->rest + (size_t)j];
}

static double row_leverage(const struct normal *m, int c, int i, const double *z)
{
    const struct design *d = m->d;
    double sum = 0, own = 0;
    for (int e = d->start[i]; e < d->start[i + 1]; e++)
        if (m->local[e] < 0)
            own = d->value[e] * m->scale[d->column[e]];
    for (int e = d->start[i]; e < d->start[i + 1]; e++) {
        int at = m->local[e];
        double x = d->value[e] * m->scale[d->column[e]], half = 0;
        if (at < 0) {
            sum += x * x * m->inverse_diagonal[c];
            continue;
        }
        if (own != 0)
            half += own * m->inverse_beside[m->clique_start[c] + at];
        for (int g = d->start[i]; g < e; g++) {
            int with = m->local[g];
            if (with >= 0)
                half += d->value[g] * m->scale[d->column[g]] * z[at >= with ? normal_place(m, c, at, with) : normal_place(m, c, with, at)];
        }
        sum += x * (2 * half + x * z[normal_place(m, c, at, at)]);
    }
    return sum;
}

void normal_leverage(const struct normal *m, double *out)
{
    const double *z = factor_inverse(m->factor);
    for (int c = 0; c < m->cliques; c++)
        for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++)
            out[m->row[r]] = row_leverage(m, c, m->row[r], z);
}

/* Place of `wanted` among ascending numbers, −1 when it is not there. */
static int find(const int *ascending, int count, int wanted)
{
    int low = 0, high = count - 1;
    while (low < high) {
        int middle = low + (high - low) / 2;
        if (ascending[middle] < wanted)
            low = middle + 1;
        else
            high = middle;
    }
    return count > 0 && ascending[low] == wanted ? low : -1;
}

double normal_element(const struct normal *m, int i, int j)
{
    int a = m->rest_of[i], b = m->rest_of[j];
    if (a < 0 && b < 0)
        return a == b ? m->inverse_diagonal[-1 - a] : NAN;
    if (a < 0 || b < 0) {
        int c = a < 0 ? -1 - a : -1 - b, first = m->clique_start[c];
        int at = find(m->member + first, m->clique_start[c + 1] - first, a < 0 ? b : a);
        return at < 0 ? NAN : m->inverse_beside[first + at];
    }
    const double *z = factor_inverse(m->factor);
    int low = a < b ? a : b, high = a < b ? b : a;
    if (!m->pattern.start)
        return z[(size_t)low * (size_t)m->rest + (size_t)high];
    int first = m->pattern.start[low], at = find(m->pattern.row + first, m->pattern.start[low + 1] - first, high);
    return at < 0 ? NAN : z[first + at];
}

/* Z over two rest indices, dense. */
static double dense_element(const struct normal *m, const double *z, int i, int j)
{
    return i >= j ? z[(size_t)j * (size_t)m->rest + (size_t)i] : z[(size_t)i * (size_t)m->rest + (size_t)j];
}

/* v = S·z split: an absorbed entry a with x adds x/M_aa·(e_a-part) and −x·M_ac/M_aa to the rest's vector. Then v'M⁻¹v = Σ x²/M_aa + r'Zr. */
double normal_variance(const struct normal *m, const int *column, const double *value, int entries)
{
    enum { MOST = 4096 };
    int at[MOST], count = 0;
    double x[MOST], sum = 0;
    if (m->pattern.start)
        return NAN;
    for (int e = 0; e < entries; e++) {
        double v = value[e] * m->scale[column[e]];
        int j = m->rest_of[column[e]];
        if (v == 0)
            continue;
        if (j >= 0) {
            if (count == MOST)
                return NAN;
            at[count] = j;
            x[count++] = v;
            continue;
        }
        int c = -1 - j;
        sum += v * v / m->diagonal[c];
        for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++) {
            if (count == MOST)
                return NAN;
            at[count] = m->member[i];
            x[count++] = -v * m->beside[i] / m->diagonal[c];
        }
    }
    const double *z = factor_inverse(m->factor);
    for (int i = 0; i < count; i++) {
        double own = 0;
        for (int j = 0; j < i; j++)
            own += x[j] * dense_element(m, z, at[i], at[j]);
        sum += x[i] * (2 * own + x[i] * dense_element(m, z, at[i], at[i]));
    }
    return sum;
}
