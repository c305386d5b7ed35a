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
    int alike;  /* levels of the first factor that have a second column, each third a third one: merged */
    bool ranks; /* eliminate in an order of our own */
};

static int columns_of(const struct trial *t)
{
    return t->first + t->second + t->first * t->tapes + 2 * t->alike + t->fixed;
}

static void make(const struct trial *t, struct design *d, unsigned char **absorb, double **w, struct lot *l)
{
    int columns = columns_of(t);
    design_init(d, columns);
    *absorb = calloc((size_t)columns, 1);
    *w = calloc((size_t)t->rows, sizeof **w);
    for (int i = 0; i < t->rows; i++) {
        int a = lot_below(l, t->first), b = lot_below(l, t->second);
        design_add(d, a, 1);
        design_add(d, t->first + b, 1);
        if (t->tapes)
            design_add(d, t->first + t->second + a * t->tapes + lot_below(l, t->tapes), 1);
        for (int k = 0; a < t->alike && k < (a % 3 ? 1 : 2); k++)
            design_add(d, columns - t->fixed - 2 * t->alike + 2 * a + k, 1);
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

/* Right-hand sides with two entries, of which three answers are asked for, and a fourth of each: those are right, and nothing else is touched. */
static void check_few(struct normal *m, const double *inverse, int columns, struct lot *l)
{
    size_t n = (size_t)columns;
    double *x = calloc(2 * n, sizeof *x), *rhs = calloc(2 * n, sizeof *rhs), *want = malloc(n * sizeof *want), value[2] = {1, 2};
    int wanted[3], column[2][2], own[2] = {lot_below(l, columns), lot_below(l, columns)};
    struct normal_few few[2];
    for (size_t v = 0; v < 2; v++) {
        for (size_t k = 0; k < 2; k++) {
            column[v][k] = lot_below(l, columns);
            rhs[v * n + (size_t)column[v][k]] += value[k];
        }
        few[v] = (struct normal_few){2, column[v], value, own + v, 1};
    }
    for (int k = 0; k < 3; k++)
        wanted[k] = k ? lot_below(l, columns) : column[0][0];
    for (size_t j = 0; j < 2 * n; j++)
        x[j] = 77;
    normal_solve_few(m, few, 2, wanted, 3, x);
    for (size_t v = 0; v < 2; v++) {
        dense_times(inverse, rhs + v * n, columns, want);
        for (size_t j = 0; j < n; j++) {
            bool asked = (int)j == wanted[0] || (int)j == wanted[1] || (int)j == wanted[2] || (int)j == own[v];
            NEAR(x[v * n + j], asked ? want[j] : 77, 1e-9);
        }
    }
    free(x), free(rhs), free(want);
}

/* Elements of the inverse between the columns of a row, all of which are there; and between any two where the rest is dense. */
static void check_elements(const struct normal *m, const double *inverse, const struct trial *t, const struct design *d)
{
    size_t n = (size_t)columns_of(t);
    for (int i = 0; i < d->rows; i += 7)
        for (int e = d->start[i]; e < d->start[i + 1]; e++)
            for (int g = d->start[i]; g < d->start[i + 1]; g++)
                NEAR(normal_element(m, d->column[e], d->column[g]), inverse[(size_t)d->column[e] * n + (size_t)d->column[g]], 1e-9);
    for (int i = 0; t->expect_dense && i < (int)n; i++)
        for (int j = i % 3; j < (int)n; j += 3)
            NEAR(normal_element(m, i, j), inverse[(size_t)i * n + (size_t)j], 1e-9);
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
        add[j] = fixed ? 0 : t->alike && j % 5 == 2 ? 1.7 : 1;
        for (size_t v = 0; v < 3; v++)
            x[v * n + j] = lot_normal(&l);
    }
    double *rhs = malloc(3 * n * sizeof *rhs), *diagonal = malloc(n * sizeof *diagonal),
           *leverage = malloc((size_t)d.rows * sizeof *leverage);
    memcpy(rhs, x, 3 * n * sizeof *rhs);
    double *a = dense_equations(&d, w, scale, add);
    double log_determinant = dense_invert(a, d.columns);

    struct fault f = {0};
    int *rank = calloc(n, sizeof *rank);
    for (int j = 0; j < d.columns; j++)
        rank[j] = j < t->first ? 2 : j % 2;
    struct normal_layout layout = {.absorb = absorb, .merge = t->alike > 0, .rank = t->ranks ? rank : NULL};
    struct normal *m = normal_lay_out(&d, &layout, &f);
    assert_non_null(m);
    struct normal_figures figures;
    normal_figures(m, &figures);
    assert_int_equal(figures.dense, t->expect_dense);
    assert_true(t->alike ? figures.absorbed + figures.rest <= d.columns - t->alike : figures.absorbed + figures.rest == d.columns);
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
        check_few(m, a, d.columns, &l);
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
    if (t->expect_dense && !t->alike)
        NEAR(got, sum, 1e-9);
    else
        assert_true(isnan(got));
    check_elements(m, a, t, &d);
    normal_free(m);
    design_free(&d);
    free(rank);
    free(absorb), free(w), free(scale), free(add), free(x), free(want), free(rhs), free(diagonal), free(leverage), free(a);
}

static void test_against_dense_algebra(void **state)
{
    (void)state;
    static const struct trial trials[] = {
        {"crossed, larger factor absorbed", 400, 60, 30, 0, 1, true, true, 0, false},
        {"crossed, nothing absorbed", 300, 40, 30, 0, 2, false, true, 0, false},
        {"nested, absorbed, sparse rest", 500, 170, 40, 2, 1, true, false, 0, false},
        {"nested, nothing absorbed, sparse", 500, 150, 30, 2, 3, false, false, 0, false},
        {"one factor, all absorbed", 100, 20, 1, 0, 1, true, true, 0, false},
        {"alike, dense", 300, 40, 30, 0, 1, true, true, 20, false},
        {"alike, absorbed, sparse rest", 500, 170, 40, 2, 1, true, false, 60, false},
        {"alike, nothing absorbed, sparse, ranked", 500, 150, 30, 2, 1, false, false, 150, true},
        {"few rows a tape, alike by chance, absorbed", 260, 170, 40, 9, 1, true, false, 170, true},
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
