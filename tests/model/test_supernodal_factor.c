/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The factor of sparse matrices with supernodes of many shapes (chains, arrows, blocks, bands, chance) against plain dense algebra, and matrices that have none.
 */
#include "../../server/model/factor.h"

#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance) * (1 + fabs(b)))

enum shape { CHAIN, ARROW, BLOCKS, BAND, CHANCE, SHAPES };

static bool linked(enum shape s, int i, int j, struct lot *l)
{
    switch (s) {
    case CHAIN: return i == j + 1;
    case ARROW: return i >= 150 || i == j + 1;
    case BLOCKS: return i / 30 == j / 30 || (i >= 120 && j % 30 < 3);
    case BAND: return i - j < 9;
    case CHANCE: return lot_below(l, 25) == 0;
    case SHAPES: break;
    }
    return false;
}

struct matrix {
    struct pattern p;
    double *dense, *values; /* n × n symmetric; along the pattern */
};

static struct matrix make(enum shape s, int n, struct lot *l)
{
    struct matrix m = {.p = {.n = n, .start = calloc((size_t)n + 1, sizeof(int)), .row = calloc((size_t)n * (size_t)n, sizeof(int))},
                       .dense = calloc((size_t)n * (size_t)n, sizeof(double)),
                       .values = calloc((size_t)n * (size_t)n, sizeof(double))};
    int at = 0;
    for (int j = 0; j < n; j++) {
        for (int i = j; i < n; i++)
            if (i == j || linked(s, i, j, l)) {
                double v = i == j ? 30 + lot_uniform(l) : lot_normal(l) / 4;
                m.p.row[at] = i;
                m.values[at++] = v;
                m.dense[i * n + j] = m.dense[j * n + i] = v;
            }
        m.p.start[j + 1] = at;
    }
    return m;
}

static void drop(struct matrix *m)
{
    free(m->p.start), free(m->p.row), free(m->dense), free(m->values);
}

/* The matrix to where the factor wants it. */
static double *put(struct factor *k, const struct matrix *m)
{
    double *to = factor_clear(k);
    for (int e = 0; e < m->p.start[m->p.n]; e++)
        to[factor_place(k)[e]] = m->values[e];
    return to;
}

static void test_shapes_against_dense_algebra(void **state)
{
    (void)state;
    struct lot l = {.state = 5};
    for (int s = 0; s < SHAPES; s++) {
        enum { N = 180 };
        struct matrix m = make((enum shape)s, N, &l);
        struct fault f = {0};
        struct factor *k = factor_new(&m.p, &f);
        assert_non_null(k);
        double log_determinant = dense_invert(m.dense, N), x[2 * N], rhs[2 * N], want[N];
        for (int again = 0; again < 2; again++) {
            put(k, &m);
            assert_int_equal(factor_numeric(k), FACTOR_DONE);
            NEAR(factor_log_determinant(k), log_determinant, 1e-12);
            for (int i = 0; i < 2 * N; i++)
                x[i] = rhs[i] = i % 7 ? 0 : lot_normal(&l);
            factor_solve(k, x, 2);
            for (int v = 0; v < 2; v++) {
                dense_times(m.dense, rhs + v * N, N, want);
                for (int i = 0; i < N; i++)
                    NEAR(x[v * N + i], want[i], 1e-11);
            }
            assert_true(factor_invert(k));
            for (int j = 0; j < N; j++)
                for (int e = m.p.start[j]; e < m.p.start[j + 1]; e++)
                    NEAR(factor_inverse(k)[factor_place(k)[e]], m.dense[m.p.row[e] * N + j], 1e-11);
        }
        factor_free(k);
        drop(&m);
    }
}

static void test_not_definite_is_told_and_survived(void **state)
{
    (void)state;
    struct lot l = {.state = 6};
    for (int s = 0; s < SHAPES; s++) {
        enum { N = 180 };
        struct matrix m = make((enum shape)s, N, &l);
        struct fault f = {0};
        struct factor *k = factor_new(&m.p, &f);
        assert_non_null(k);
        for (int j = 0; j < N; j += 60) {
            put(k, &m)[factor_place(k)[m.p.start[j]]] = j % 120 ? -1 : 0;
            assert_int_equal(factor_numeric(k), FACTOR_NOT_DEFINITE);
            put(k, &m)[factor_place(k)[m.p.start[j]]] = NAN;
            assert_int_equal(factor_numeric(k), FACTOR_NOT_DEFINITE);
        }
        put(k, &m);
        assert_int_equal(factor_numeric(k), FACTOR_DONE);
        NEAR(factor_log_determinant(k), dense_invert(m.dense, N), 1e-12);
        factor_free(k);
        drop(&m);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_shapes_against_dense_algebra),
                                       cmocka_unit_test(test_not_definite_is_told_and_survived)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
