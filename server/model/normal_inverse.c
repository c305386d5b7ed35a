/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The inverse of the normal equations where it is needed: on each clique. With a an absorbed column, c its clique, Z the inverse of what is left:
 *
 *   M⁻¹_ac = −(Z·M_ca)/M_aa,   M⁻¹_aa = 1/M_aa + M_ac·Z·M_ca/M_aa²
 */
#include "normal_parts.h"

#include "../ground/memory.h"

#include <math.h>

/* Z·v for member vector v of clique c, `out` as long. */
static void times_z(const struct normal *m, int c, const double *z, const double *v, double *out)
{
    const int *member = m->member + m->clique_start[c], *pair = m->pattern.start ? m->pair_at + m->pair_start[c] : NULL;
    int q = m->clique_start[c + 1] - m->clique_start[c];
    for (int i = 0; i < q; i++) {
        double own = 0, b = v[i];
        for (int j = 0; j < i; j++) {
            double e = z[pair ? (size_t)*pair++ : normal_dense(m, member, i, j)];
            own += e * v[j];
            out[j] += e * b;
        }
        out[i] = own + z[pair ? (size_t)*pair++ : normal_dense(m, member, i, i)] * b;
    }
}

static double dot(const double *a, const double *b, int n)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Row and column of the absorbed column of clique c. */
static void invert_absorbed(struct normal *m, int c, const double *z)
{
    const double *beside = m->beside + m->clique_start[c];
    double *out = m->inverse_beside + m->clique_start[c], d = 1 / m->diagonal[c];
    int q = m->clique_start[c + 1] - m->clique_start[c];
    times_z(m, c, z, beside, out);
    m->inverse_diagonal[c] = d + d * d * dot(out, beside, q);
    for (int i = 0; i < q; i++)
        out[i] *= -d;
}

/* Variance of a row that is alone in its clique, by the way what invert_absorbed does: `beside` is a multiple of the row. */
static double single_leverage(struct normal *m, int c, const double *z)
{
    double own, *zx = m->y;
    int r = m->clique_row[c], q = normal_scaled_row(m, c, r, &own);
    times_z(m, c, z, m->x, zx);
    double t = dot(zx, m->x, q);
    if (c >= m->absorbed)
        return t;
    double d = 1 / m->diagonal[c], w = own != 0 ? (m->diagonal[c] - m->add[m->absorbed_column[c]]) / own : 0; /* beside = w·x */
    double *out = m->inverse_beside + m->clique_start[c];
    for (int i = 0; i < q; i++)
        out[i] = -d * w * zx[i];
    m->inverse_diagonal[c] = d + d * d * w * w * t;
    double left = 1 - own * d * w;
    return own * own * d + left * left * t;
}

bool normal_invert(struct normal *m)
{
    if (!factor_invert(m->factor))
        return false;
    const double *z = factor_inverse(m->factor);
    for (int c = 0; c < m->cliques; c++) {
        if (m->pattern.start && m->clique_row[c + 1] - m->clique_row[c] == 1)
            m->leverage[m->row[m->clique_row[c]]] = single_leverage(m, c, z);
        else if (c < m->absorbed)
            invert_absorbed(m, c, z);
    }
    return true;
}

void normal_inverse_diagonal(const struct normal *m, double *out)
{
    const double *z = factor_inverse(m->factor);
    const int *place = factor_place(m->factor);
    for (int c = 0; c < m->absorbed; c++)
        out[m->absorbed_column[c]] = m->inverse_diagonal[c];
    for (int j = 0; j < m->rest; j++)
        out[m->column_of[j]] = z[m->pattern.start ? (size_t)place[m->pattern.start[j]] : (size_t)j * (size_t)m->rest + (size_t)j];
    for (int k = m->merged_count - 1; k >= 0; k--) { /* a lead is the first of its group: last, as the others read it */
        int j = m->merged[k];
        out[j] = m->left[j] + m->toward[j] * m->toward[j] * (out[m->lead[j]] - 1);
    }
}

static double row_leverage(const struct normal *m, int c, int r, const double *z)
{
    const int *member = m->member + m->clique_start[c], *at = normal_row_at(m, r);
    const int *pair = m->pattern.start ? m->pair_at + m->pair_start[c] : NULL;
    double own;
    int n = normal_scaled_row(m, c, r, &own);
    double sum = c < m->absorbed ? own * own * m->inverse_diagonal[c] : 0;
    for (int e = 0; e < n; e++) {
        double half = c < m->absorbed ? own * m->inverse_beside[m->clique_start[c] + at[e]] : 0;
        size_t line = (size_t)at[e] * ((size_t)at[e] + 1) / 2;
        for (int g = 0; g < e; g++)
            half += m->x[g] * z[pair ? (size_t)pair[line + (size_t)at[g]] : normal_dense(m, member, at[e], at[g])];
        sum += m->x[e] * (2 * half + m->x[e] * z[pair ? (size_t)pair[line + (size_t)at[e]] : normal_dense(m, member, at[e], at[e])]);
    }
    return sum;
}

void normal_leverage(const struct normal *m, double *out)
{
    const double *z = factor_inverse(m->factor);
    for (int c = 0; c < m->cliques; c++)
        for (int r = m->clique_row[c]; r < m->clique_row[c + 1]; r++)
            out[m->row[r]] =
                m->pattern.start && m->clique_row[c + 1] - m->clique_row[c] == 1 ? m->leverage[m->row[r]] : row_leverage(m, c, r, z);
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

/* Z over two rest indices, dense. */
static double dense_element(const struct normal *m, const double *z, int i, int j)
{
    return i >= j ? z[(size_t)j * (size_t)m->rest + (size_t)i] : z[(size_t)i * (size_t)m->rest + (size_t)j];
}

/* Dense, of two different columns of which one or both are absorbed: M⁻¹_aj = −M_ac·Z_cj/M_aa for any j. */
static double dense_with_absorbed(const struct normal *m, int a, int b)
{
    const double *z = factor_inverse(m->factor);
    int c = -1 - (a < 0 ? a : b), other = a < 0 ? b : a;
    double sum = 0;
    for (int i = m->clique_start[c]; i < m->clique_start[c + 1]; i++) {
        double with = 0;
        if (other >= 0)
            with = dense_element(m, z, m->member[i], other);
        else /* itself a mixture of the rest */
            for (int k = m->clique_start[-1 - other]; k < m->clique_start[-other]; k++)
                with -= m->beside[k] / m->diagonal[-1 - other] * dense_element(m, z, m->member[i], m->member[k]);
        sum -= m->beside[i] * with;
    }
    return sum / m->diagonal[c];
}

/* Element of the leads of i and j. */
static double lead_element(const struct normal *m, int i, int j)
{
    int a = m->rest_of[i], b = m->rest_of[j];
    if (!m->pattern.start && a != b && (a < 0 || b < 0))
        return dense_with_absorbed(m, a, b);
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
    return at < 0 ? NAN : z[factor_place(m->factor)[first + at]];
}

double normal_element(const struct normal *m, int i, int j)
{
    double v = lead_element(m, i, j);
    if (m->lead[i] == m->lead[j] && m->together[i])
        return m->toward[i] * m->toward[j] * (v - 1) + (i == j ? m->left[i] : 0);
    return (m->together[i] ? m->toward[i] : 1) * (m->together[j] ? m->toward[j] : 1) * v;
}

/* v = S·z split: an absorbed entry a with x adds x/M_aa·(e_a-part) and −x·M_ac/M_aa to the rest's vector. Then v'M⁻¹v = Σ x²/M_aa + r'Zr. */
double normal_variance(const struct normal *m, const int *column, const double *value, int entries)
{
    enum { MOST = 4096 };
    int at[MOST], count = 0;
    double x[MOST], sum = 0;
    if (m->pattern.start || m->merged_count)
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
