/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Normal equations, dense and sparse, against plain dense algebra: determinant, solution, inverse on the pattern, leverages.
 */
#include "../../server/model/normal.h"

#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define NEAR(a, b, tolerance) assert_true(fabs((a) - (b)) <= (tolerance) * (1 + fabs(b)))

struct trial {
    const char *name;
    int rows, first, second, tapes; /* levels of two crossed factors and of one nested in the first */
    int fixed;
    bool absorb, expect_dense;
};

static void make(const struct trial *t, struct design *d, unsigned char **absorb, double **w, struct lot *l)
{
    int columns = t->first + t->second + t->first * t->tapes + t->fixed;
    design_init(d, columns);
    *absorb = calloc((size_t)columns, 1);
    *w = calloc((size_t)t->rows, sizeof **w);
    for (int i = 0; i < t->rows; i++) {
        int a = lot_below(l, t->first), b = lot_below(l, t->second);
        design_add(d, a, 1);
        design_add(d, t->first + b, 1);
        if (t->tapes)
            design_add(d, t->first + t->second + a * t->tapes + lot_below(l, t->tapes), 1);
        for (int x = 0; x < t->fixed; x++)
            design_add(d, columns - t->fixed + x, x ? lot_normal(l) : 1);
        design_end_row(d);
        (*w)[i] = lot_below(l, 7) ? 0.3 + lot_uniform(l) : 0;
    }
    assert_true(design_close(d));
    if (t->absorb && t->tapes)
        memset(*absorb + t->first + t->second, 1, (size_t)(t->first * t->tapes));
    else if (t->absorb)
        memset(*absorb, 1, (size_t)t->first);
}

/* A right-hand side with two entries, of which three answers are asked for: those are right, whatever became of the others. */
static void check_wanted(struct normal *m, const double *inverse, int columns, struct lot *l)
{
    size_t n = (size_t)columns;
    unsigned char *wanted = calloc(n, 1);
    double *x = calloc(2 * n, sizeof *x), *rhs = calloc(2 * n, sizeof *rhs), *want = malloc(n * sizeof *want);
    for (size_t v = 0; v < 2; v++)
        for (int k = 0; k < 2; k++) {
            size_t at = v * n + (size_t)lot_below(l, columns);
            x[at] = rhs[at] = 1 + k;
        }
    for (int k = 0; k < 3; k++)
        wanted[lot_below(l, columns)] = 1;
    assert_true(normal_solve_wanted(m, x, 2, wanted));
    for (size_t v = 0; v < 2; v++) {
        dense_times(inverse, rhs + v * n, columns, want);
        for (size_t j = 0; j < n; j++)
            if (wanted[j])
                NEAR(x[v * n + j], want[j], 1e-9);
    }
    free(wanted), free(x), free(rhs), free(want);
}

static void check(const struct trial *t)
{
    struct lot l = {.state = 17};
    struct design d;
    unsigned char *absorb;
    double *w;
    make(t, &d, &absorb, &w, &l);
    size_t n = (size_t)d.columns;
    double *scale = malloc(n * sizeof *scale), *add = malloc(n * sizeof *add), *x = malloc(3 * n * sizeof *x),
           *want = malloc(n * sizeof *want);
    for (size_t j = 0; j < n; j++) {
        bool fixed = (int)j >= d.columns - t->fixed;
        scale[j] = fixed ? 1 : j % 11 == 3 ? 0 : 0.2 + lot_uniform(&l);
        add[j] = fixed ? 0 : 1;
        for (size_t v = 0; v < 3; v++)
            x[v * n + j] = lot_normal(&l);
    }
    double *rhs = malloc(3 * n * sizeof *rhs), *diagonal = malloc(n * sizeof *diagonal),
           *leverage = malloc((size_t)d.rows * sizeof *leverage);
    memcpy(rhs, x, 3 * n * sizeof *rhs);
    double *a = dense_equations(&d, w, scale, add);
    double log_determinant = dense_invert(a, d.columns);

    struct fault f = {0};
    struct normal *m = normal_new(&d, absorb, &f);
    assert_non_null(m);
    struct normal_figures figures;
    normal_figures(m, &figures);
    assert_int_equal(figures.dense, t->expect_dense);
    for (int again = 0; again < 2; again++) { /* the second time over used memory */
        assert_int_equal(normal_factor(m, w, scale, add), FACTOR_DONE);
        NEAR(normal_log_determinant(m), log_determinant, 1e-10);
        memcpy(x, rhs, 3 * n * sizeof *x);
        assert_true(normal_solve(m, x, 3));
        for (size_t v = 0; v < 3; v++) {
            dense_times(a, rhs + v * n, d.columns, want);
            for (size_t j = 0; j < n; j++)
                NEAR(x[v * n + j], want[j], 1e-9);
        }
        check_wanted(m, a, d.columns, &l);
        assert_true(normal_invert(m));
        memcpy(x, rhs, n * sizeof *x);
        assert_true(normal_solve(m, x, 1)); /* still solves */
        dense_times(a, rhs, d.columns, want);
        for (size_t j = 0; j < n; j++)
            NEAR(x[j], want[j], 1e-9);
    }
    normal_inverse_diagonal(m, diagonal);
    for (size_t j = 0; j < n; j++)
        NEAR(diagonal[j], a[j * n + j], 1e-9);
    normal_leverage(m, leverage);
    for (int i = 0; i < d.rows; i++) {
        double sum = 0;
        for (int e = d.start[i]; e < d.start[i + 1]; e++)
            for (int g = d.start[i]; g < d.start[i + 1]; g++) {
                size_t p = (size_t)d.column[e], q = (size_t)d.column[g];
                sum += d.value[e] * d.value[g] * scale[p] * scale[q] * a[p * n + q];
            }
        NEAR(leverage[i], sum, 1e-9);
    }
    /* any two levels that never met */
    int column[3] = {0, t->first + t->second - 1, d.columns - 1};
    double value[3] = {1, 1, 0.5}, got = normal_variance(m, column, value, 3), sum = 0;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            sum += value[i] * value[j] * scale[column[i]] * scale[column[j]] * a[(size_t)column[i] * n + (size_t)column[j]];
    if (t->expect_dense)
        NEAR(got, sum, 1e-9);
    else
        assert_true(isnan(got));
    normal_free(m);
    design_free(&d);
    free(absorb), free(w), free(scale), free(add), free(x), free(want), free(rhs), free(diagonal), free(leverage), free(a);
}

static void test_against_dense_algebra(void **state)
{
    (void)state;
    static const struct trial trials[] = {
        {"crossed, larger factor absorbed", 400, 60, 30, 0, 1, true, true},
        {"crossed, nothing absorbed", 300, 40, 30, 0, 2, false, true},
        {"nested, absorbed, sparse rest", 500, 170, 40, 2, 1, true, false},
        {"nested, nothing absorbed, sparse", 500, 150, 30, 2, 3, false, false},
        {"one factor, all absorbed", 100, 20, 1, 0, 1, true, true},
    };
    for (size_t i = 0; i < sizeof trials / sizeof *trials; i++)
        check(&trials[i]);
}

static void test_empty_and_singular(void **state)
{
    (void)state;
    struct design d;
    struct fault f = {0};
    unsigned char absorb[2] = {0, 0};
    double w[1] = {1}, scale[2] = {1, 1}, add[2] = {0, 0};
    design_init(&d, 2);
    struct normal *m = normal_new(&d, absorb, &f);
    assert_non_null(m);
    assert_int_equal(normal_factor(m, w, scale, add), FACTOR_NOT_DEFINITE); /* no rows, no prior */
    add[0] = add[1] = 4;
    assert_int_equal(normal_factor(m, w, scale, add), FACTOR_DONE);
    NEAR(normal_log_determinant(m), log(16), 1e-12);
    normal_free(m);
    design_add(&d, 0, 1); /* two columns that are one */
    design_add(&d, 1, 1);
    design_end_row(&d);
    m = normal_new(&d, absorb, &f);
    assert_non_null(m);
    add[0] = add[1] = 0;
    assert_int_equal(normal_factor(m, w, scale, add), FACTOR_NOT_DEFINITE);
    normal_free(m);
    design_free(&d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_dense_algebra), cmocka_unit_test(test_empty_and_singular)};
    return cmocka_run_group_tests_name("normal", tests, NULL, NULL);
}
