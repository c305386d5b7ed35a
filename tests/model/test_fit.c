/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The criterion of a table at a fixed θ against its formula in plain dense algebra, its gradient against finite differences and at the optimum; predictions
 * against the dense inverse; the order of rows and of columns, units, weights that are all alike: none of them may matter.
 */
#include "../../server/model/fit.h"

#include "../../server/ground/memory.h"
#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define NEAR(a, b, tolerance) near_number((a), (b), (tolerance), __LINE__)

static void near_number(double got, double want, double tolerance, int line)
{
    if (!(fabs(got - want) <= tolerance * (1 + fabs(want))))
        fail_msg("line %d: %.12g is not %.12g to %g", line, got, want, tolerance);
}

#define GROUPS 3
#define FIXED  2

/* A drawn table: crossed factors, a nested one, two covariates, weights. */
struct drawn {
    int rows, levels[GROUPS];
    double *y, *w, *fixed[FIXED];
    int *level[GROUPS];
};

static void draw(struct drawn *t, int rows, int first, int second, int third, uint64_t seed)
{
    struct lot l = {seed};
    const int levels[GROUPS] = {first, second, third};
    double effect[GROUPS][2000];
    *t = (struct drawn){.rows = rows, .y = calloc((size_t)rows, sizeof(double)), .w = calloc((size_t)rows, sizeof(double))};
    for (int g = 0; g < GROUPS; g++) {
        t->levels[g] = levels[g];
        t->level[g] = calloc((size_t)rows, sizeof(int));
        for (int j = 0; j < levels[g]; j++)
            effect[g][j] = (0.8 - 0.2 * g) * lot_normal(&l);
    }
    for (int c = 0; c < FIXED; c++)
        t->fixed[c] = calloc((size_t)rows, sizeof(double));
    for (int i = 0; i < rows; i++) {
        t->w[i] = 0.3 + 2 * lot_uniform(&l);
        t->fixed[0][i] = 2000 + 10 * lot_uniform(&l);
        t->fixed[1][i] = 0.01 * lot_normal(&l);
        t->y[i] = 0.05 * (t->fixed[0][i] - 2000) + 20 * t->fixed[1][i] + 0.5 * lot_normal(&l) / sqrt(t->w[i]);
        for (int g = 0; g < GROUPS; g++) {
            /* every level once, then by lot */
            t->level[g][i] = i < levels[g] ? i
                             : g == 2      ? t->level[0][i] * (third / first) + lot_below(&l, third / first)
                                           : lot_below(&l, levels[g]);
            t->y[i] += effect[g][t->level[g][i]];
        }
    }
}

static void drawn_free(struct drawn *t)
{
    free(t->y), free(t->w);
    for (int g = 0; g < GROUPS; g++)
        free(t->level[g]);
    for (int c = 0; c < FIXED; c++)
        free(t->fixed[c]);
}

static struct fit *fit_drawn(const struct drawn *t, bool flat)
{
    static const char *const fixed[] = {"year", "gain"}, *const group[] = {"deck", "tape", "reel"};
    const struct fit_names names = {fixed, group};
    struct fit_table table = {.rows = t->rows,
                              .y = t->y,
                              .w = t->w,
                              .intercept = true,
                              .fixed_count = FIXED,
                              .fixed = (const double *const *)t->fixed,
                              .group_count = GROUPS};
    for (int g = 0; g < GROUPS; g++) {
        table.level[g] = t->level[g];
        table.levels[g] = t->levels[g];
    }
    struct fault f = {0};
    struct fit *k = fit_new(&table, &names, flat, &f);
    if (!k)
        fail_msg("not fitted");
    return k;
}

static int columns_of(const struct drawn *t)
{
    return t->levels[0] + t->levels[1] + t->levels[2];
}

/* The mixed model equations of relative effects, random ones first, then intercept and covariates, as n×n; rhs as X'Wy. */
static double *equations(const struct drawn *t, const double *theta, double *rhs, double *yy)
{
    int q = columns_of(t), n = q + 1 + FIXED;
    double *a = calloc((size_t)n * (size_t)n, sizeof *a);
    *yy = 0;
    for (int j = 0; j < q; j++)
        a[(size_t)j * (size_t)n + (size_t)j] = 1;
    for (int i = 0; i < t->rows; i++) {
        int column[GROUPS + 1 + FIXED], first = 0, m = 0;
        double value[GROUPS + 1 + FIXED];
        for (int g = 0; g < GROUPS; g++) {
            column[m] = first + t->level[g][i];
            value[m++] = theta[g];
            first += t->levels[g];
        }
        column[m] = q;
        value[m++] = 1;
        for (int c = 0; c < FIXED; c++) {
            column[m] = q + 1 + c;
            value[m++] = t->fixed[c][i];
        }
        for (int j = 0; j < m; j++) {
            rhs[column[j]] += t->w[i] * value[j] * t->y[i];
            for (int k = 0; k < m; k++)
                a[(size_t)column[j] * (size_t)n + (size_t)column[k]] += t->w[i] * value[j] * value[k];
        }
        *yy += t->w[i] * t->y[i] * t->y[i];
    }
    return a;
}

/* The determinant of the whole is that of the random part times that of the Schur complement, so one elimination gives both logarithms. */
static double criterion_by_formula(const struct drawn *t, const double *theta)
{
    int n = columns_of(t) + 1 + FIXED, p = 1 + FIXED;
    double *rhs = calloc((size_t)n, sizeof *rhs), *x = calloc((size_t)n, sizeof *x), yy, r2, weights = 0;
    double *a = equations(t, theta, rhs, &yy), log_determinant = dense_invert(a, n);
    dense_times(a, rhs, n, x);
    r2 = yy;
    for (int j = 0; j < n; j++)
        r2 -= x[j] * rhs[j];
    for (int i = 0; i < t->rows; i++)
        weights += log(t->w[i]);
    free(a), free(rhs), free(x);
    return log_determinant + (t->rows - p) * (1 + log(2 * M_PI * r2 / (t->rows - p))) - weights;
}

static const double thetas[][GROUPS] = {{1, 1, 1}, {0.05, 2, 0.7}, {4, 0.3, 1.5}, {0.9, 0.001, 2}};

/* The second table's equations are too large to be cheap dense: the sparse way. */
static const int sizes[][4] = {{150, 12, 9, 24}, {900, 260, 40, 520}};

static void test_criterion_at_a_fixed_theta(void **state)
{
    (void)state;
    for (int s = 0; s < 2; s++) {
        struct drawn t;
        draw(&t, sizes[s][0], sizes[s][1], sizes[s][2], sizes[s][3], 5);
        struct fit *k = fit_drawn(&t, true);
        for (size_t i = 0; i < (s ? 2 : sizeof thetas / sizeof *thetas); i++)
            /* the years stand 2,000 from nought: the formula as it stands loses some nine digits there */
            NEAR(fit_criterion_at(k, thetas[i], NULL), criterion_by_formula(&t, thetas[i]), 1e-8);
        fit_free(k);
        drawn_free(&t);
    }
    assert_int_equal(mem_alive(), 0);
}

static void test_gradient(void **state)
{
    (void)state;
    for (int s = 0; s < 2; s++) {
        struct drawn t;
        draw(&t, sizes[s][0], sizes[s][1], sizes[s][2], sizes[s][3], 6);
        struct fit *k = fit_drawn(&t, true);
        for (size_t i = 0; i < sizeof thetas / sizeof *thetas; i++) {
            double gradient[GROUPS], spare[GROUPS];
            assert_true(isfinite(fit_criterion_at(k, thetas[i], gradient)));
            for (int g = 0; g < GROUPS; g++) {
                double up[GROUPS], down[GROUPS], h = 1e-4;
                memcpy(up, thetas[i], sizeof up);
                memcpy(down, thetas[i], sizeof down);
                up[g] *= exp(h);
                down[g] *= exp(-h);
                double difference = (fit_criterion_at(k, up, NULL) - fit_criterion_at(k, down, spare)) / (2 * h);
                NEAR(gradient[g], difference, 1e-5);
            }
        }
        fit_free(k);
        drawn_free(&t);
    }
}

static void test_gradient_is_nought_at_the_optimum(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        struct drawn t;
        draw(&t, seed == 6 ? 900 : 200, seed == 6 ? 260 : 15, 9, seed == 6 ? 520 : 30, seed);
        struct fit *k = fit_drawn(&t, true);
        struct fit_result r;
        fit_result(k, &r);
        double theta[GROUPS], gradient[GROUPS], at = r.criterion;
        bool inside = true;
        for (int g = 0; g < GROUPS; g++) {
            theta[g] = r.sd[g] / r.sigma;
            inside = inside && r.sd[g] > 0;
        }
        assert_string_equal(r.reason, "converged");
        if (!inside) { /* then the criterion rises from the zero on */
            assert_true(r.boundary);
            for (int g = 0; g < GROUPS; g++)
                theta[g] = theta[g] > 0 ? theta[g] : 0.01;
            assert_true(fit_criterion_at(k, theta, NULL) > at - 1e-9);
        } else {
            NEAR(fit_criterion_at(k, theta, gradient), at, 1e-12);
            for (int g = 0; g < GROUPS; g++)
                assert_true(fabs(gradient[g]) < 1e-3);
            for (int g = 0; g < GROUPS; g++)
                for (int sign = -1; sign <= 1; sign += 2) {
                    double beside[GROUPS];
                    memcpy(beside, theta, sizeof beside);
                    beside[g] *= exp(0.05 * sign);
                    assert_true(fit_criterion_at(k, beside, NULL) > at);
                }
        }
        fit_free(k);
        drawn_free(&t);
    }
}

/* ---- predictions ---- */

static void test_predictions(void **state)
{
    (void)state;
    for (int s = 0; s < 2; s++) {
        struct drawn t;
        draw(&t, sizes[s][0], sizes[s][1], sizes[s][2], sizes[s][3], 7);
        struct fit *k = fit_drawn(&t, true);
        struct fit_result r;
        fit_result(k, &r);
        double theta[GROUPS], sd[GROUPS];
        for (int g = 0; g < GROUPS; g++) {
            sd[g] = r.sd[g];
            theta[g] = r.sd[g] / r.sigma;
        }
        int q = columns_of(&t), n = q + 1 + FIXED;
        double *rhs = calloc((size_t)n, sizeof *rhs), *x = calloc((size_t)n, sizeof *x), yy, *a = equations(&t, theta, rhs, &yy);
        dense_invert(a, n);
        dense_times(a, rhs, n, x);
        /* pairs of the fit, pairs that never met, levels never seen */
        enum { ASKED = 40 };
        int level[GROUPS][ASKED];
        double fixed[FIXED][ASKED], mean[ASKED], se[ASKED];
        struct lot l = {9};
        for (int i = 0; i < ASKED; i++) {
            for (int g = 0; g < GROUPS; g++)
                level[g][i] = lot_below(&l, 4) ? lot_below(&l, t.levels[g]) : -1;
            fixed[0][i] = 2000 + 20 * lot_uniform(&l);
            fixed[1][i] = 0.02 * lot_normal(&l);
        }
        const double *const columns[] = {fixed[0], fixed[1]};
        struct fit_table ask = {.rows = ASKED,
                                .intercept = true,
                                .fixed_count = FIXED,
                                .fixed = columns,
                                .group_count = GROUPS,
                                .level = {level[0], level[1], level[2]}};
        struct fault f = {0};
        assert_true(fit_predict(k, &ask, mean, se, &f));
        for (int i = 0; i < ASKED; i++) {
            double *z = calloc((size_t)n, sizeof *z), *cz = calloc((size_t)n, sizeof *cz), want = 0, variance = 0;
            for (int g = 0, first = 0; g < GROUPS; first += t.levels[g++])
                if (level[g][i] >= 0)
                    z[first + level[g][i]] = theta[g];
                else
                    variance += sd[g] * sd[g];
            z[q] = 1;
            z[q + 1] = fixed[0][i];
            z[q + 2] = fixed[1][i];
            dense_times(a, z, n, cz);
            for (int j = 0; j < n; j++) {
                want += z[j] * x[j];
                variance += r.sigma * r.sigma * z[j] * cz[j];
            }
            NEAR(mean[i], want, 1e-5);
            NEAR(se[i], sqrt(variance), 1e-5);
            free(z), free(cz);
        }
        free(rhs), free(x), free(a);
        fit_free(k);
        drawn_free(&t);
    }
}

/* ---- what must not matter ---- */

struct summary {
    double sigma, sd[GROUPS], criterion, estimate[1 + FIXED], se[1 + FIXED];
};

static struct summary summary_of(const struct drawn *t, bool flat)
{
    struct fit *k = fit_drawn(t, flat);
    struct fit_result r;
    fit_result(k, &r);
    struct summary s = {.sigma = r.sigma, .criterion = r.criterion};
    memcpy(s.sd, r.sd, sizeof s.sd);
    memcpy(s.estimate, r.estimate, sizeof s.estimate);
    memcpy(s.se, r.se, sizeof s.se);
    fit_free(k);
    return s;
}

static void same_summary(const struct summary *a, const struct summary *b, double tolerance)
{
    NEAR(a->sigma, b->sigma, tolerance);
    for (int g = 0; g < GROUPS; g++)
        NEAR(a->sd[g], b->sd[g], tolerance);
    for (int j = 0; j <= FIXED; j++) {
        NEAR(a->estimate[j], b->estimate[j], tolerance);
        NEAR(a->se[j], b->se[j], tolerance);
    }
}

static void test_order_of_rows(void **state)
{
    (void)state;
    for (int flat = 0; flat < 2; flat++) {
        struct drawn t, turned;
        draw(&t, 200, 12, 9, 24, 8);
        draw(&turned, 200, 12, 9, 24, 8);
        for (int i = 0; i < t.rows; i++) {
            int from = (i * 77 + 5) % t.rows;
            turned.y[i] = t.y[from];
            turned.w[i] = t.w[from];
            for (int c = 0; c < FIXED; c++)
                turned.fixed[c][i] = t.fixed[c][from];
            for (int g = 0; g < GROUPS; g++) /* and the levels numbered from the other end */
                turned.level[g][i] = t.levels[g] - 1 - t.level[g][from];
        }
        struct summary a = summary_of(&t, flat), b = summary_of(&turned, flat);
        same_summary(&a, &b, 1e-7);
        NEAR(a.criterion, b.criterion, 1e-9);
        drawn_free(&t);
        drawn_free(&turned);
    }
}

/* Millimetres or metres, and another origin. The flat criterion moves by (n − p) log of the unit squared; what is not flat is scaled by the
 * response's own sd and so stays the same too. */
static void test_units_and_origin(void **state)
{
    (void)state;
    const double unit = 1000, origin = 5e4;
    for (int flat = 0; flat < 2; flat++) {
        struct drawn t, other;
        draw(&t, 200, 12, 9, 24, 10);
        draw(&other, 200, 12, 9, 24, 10);
        for (int i = 0; i < t.rows; i++)
            other.y[i] = origin + unit * t.y[i];
        struct summary a = summary_of(&t, flat), b = summary_of(&other, flat);
        b.sigma /= unit;
        for (int g = 0; g < GROUPS; g++)
            b.sd[g] /= unit;
        b.estimate[0] -= origin;
        for (int j = 0; j <= FIXED; j++) {
            b.estimate[j] /= unit;
            b.se[j] /= unit;
        }
        same_summary(&b, &a, 1e-6);
        if (flat)
            NEAR(b.criterion - (t.rows - 1 - FIXED) * 2 * log(unit), a.criterion, 1e-7);
        drawn_free(&t);
        drawn_free(&other);
    }
}

/* Twice every weight is σ² twice as large, and nothing else. */
static void test_common_factor_of_weights(void **state)
{
    (void)state;
    struct drawn t, other;
    draw(&t, 200, 12, 9, 24, 12);
    draw(&other, 200, 12, 9, 24, 12);
    for (int i = 0; i < t.rows; i++)
        other.w[i] = 2 * t.w[i];
    struct summary a = summary_of(&t, true), b = summary_of(&other, true);
    b.sigma /= sqrt(2);
    same_summary(&b, &a, 1e-5);
    NEAR(b.criterion, a.criterion, 1e-7); /* the data are no likelier */
    drawn_free(&t);
    drawn_free(&other);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_criterion_at_a_fixed_theta),
        cmocka_unit_test(test_gradient),
        cmocka_unit_test(test_gradient_is_nought_at_the_optimum),
        cmocka_unit_test(test_predictions),
        cmocka_unit_test(test_order_of_rows),
        cmocka_unit_test(test_units_and_origin),
        cmocka_unit_test(test_common_factor_of_weights),
    };
    return cmocka_run_group_tests_name("fit", tests, NULL, NULL);
}
