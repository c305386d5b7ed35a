/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Results in print (published.h says where) through the entry that `fit --flat` uses; for two of them closed forms as well.
 */
#include "../../server/model/fit.h"

#include "../../server/ground/memory.h"
#include "published.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#define NEAR(a, b, relative) near_number((a), (b), (relative), __LINE__)

static void near_number(double got, double want, double relative, int line)
{
    if (!(fabs(got - want) <= relative * fabs(want)))
        fail_msg("line %d: %.12g is not %.12g to %g", line, got, want, relative);
}

static const char *const group_names[] = {"first", "second"};
static const struct fit_names names = {.group = group_names};

static struct fit *fit_of(const struct published *p, bool turned)
{
    int *level[PUBLISHED_GROUPS] = {0};
    struct fit_table t = {.rows = p->rows, .y = p->y, .intercept = true, .group_count = p->groups};
    for (int g = 0; g < p->groups; g++) {
        int from = turned ? p->groups - 1 - g : g; /* the order of the groups must not matter */
        level[g] = calloc((size_t)p->rows, sizeof *level[g]);
        for (int i = 0; i < p->rows; i++)
            level[g][i] = p->level(from, i);
        t.level[g] = level[g];
        t.levels[g] = p->levels[from];
    }
    struct fault f = {0};
    struct fit *k = fit_new(&t, &names, true, &f);
    for (int g = 0; g < p->groups; g++)
        free(level[g]);
    assert_non_null(k);
    return k;
}

static void test_in_print(void **state)
{
    (void)state;
    for (int i = 0; i < PUBLISHED; i++)
        for (int turned = 0; turned < 2; turned++) {
            const struct published *p = &published[i];
            struct fit *k = fit_of(p, turned);
            struct fit_result r;
            fit_result(k, &r);
            /* The stop is by x: 3e-5 in log sd, 6e-5 of a variance before a last quadratic step; 1e-4 holds with room. */
            for (int g = 0; g < p->groups; g++) {
                double variance = pow(r.sd[turned ? p->groups - 1 - g : g], 2);
                NEAR(variance, p->closer[g], 1e-4);
                /* half a unit of the last digit printed: 0.678 has three digits, 7e-4 of itself */
                assert_true(fabs(variance - p->variance[g]) <= 0.00051 + 1e-4 * p->variance[g]);
            }
            NEAR(r.sigma * r.sigma, p->closer_residual, 1e-4);
            assert_true(fabs(r.sigma * r.sigma - p->residual) <= (p->residual > 10 ? 0.0051 : 0.00051));
            assert_true(fabs(r.criterion - p->criterion) < 1e-5); /* the criterion is flat at its bottom */
            NEAR(r.estimate[0], p->mean, 1e-8);                   /* the tables are balanced: it does not depend on the variances */
            NEAR(r.se[0], p->mean_se, 1e-4);
            assert_int_equal(r.n, p->rows);
            assert_int_equal(r.fixed_count, 1);
            assert_int_equal(r.boundary, p->closer[0] == 0);
            assert_string_equal(r.reason, "converged");
            fit_free(k);
        }
    assert_int_equal(mem_alive(), 0);
}

/* A balanced one-way table in closed form: within = s_w², between = (s_b² − s_w²)/n from the analysis of variance, the criterion by hand. */
static void test_one_way_closed_form(void **state)
{
    (void)state;
    const struct published *p = &published[0];
    enum { BATCHES = 6, EACH = 5, ROWS = BATCHES * EACH };
    double mean[BATCHES] = {0}, all = 0, within = 0, between = 0;
    for (int i = 0; i < ROWS; i++) {
        mean[i / EACH] += p->y[i] / EACH;
        all += p->y[i] / ROWS;
    }
    for (int i = 0; i < ROWS; i++)
        within += pow(p->y[i] - mean[i / EACH], 2) / (ROWS - BATCHES);
    for (int b = 0; b < BATCHES; b++)
        between += EACH * pow(mean[b] - all, 2) / (BATCHES - 1);
    struct fit *k = fit_of(p, false);
    struct fit_result r;
    fit_result(k, &r);
    double theta2 = (between / within - 1) / EACH;
    NEAR(r.sigma * r.sigma, within, 1e-6);
    NEAR(r.sd[0] * r.sd[0], within * theta2, 1e-5);
    /* log|L|² = batches·log(1 + nθ²), RᵀR = batches·n/(1 + nθ²), r² = (N − 1)·σ̂² */
    double by_hand = BATCHES * log(1 + EACH * theta2) + log(ROWS / (1 + EACH * theta2)) + (ROWS - 1) * (1 + log(2 * M_PI * within));
    NEAR(r.criterion, by_hand, 1e-9);
    fit_free(k);
}

/* Where the variance between is nought the criterion is that of independent rows. */
static void test_boundary_closed_form(void **state)
{
    (void)state;
    const struct published *p = &published[PUBLISHED - 1];
    double mean = 0, square = 0;
    for (int i = 0; i < p->rows; i++)
        mean += p->y[i] / p->rows;
    for (int i = 0; i < p->rows; i++)
        square += pow(p->y[i] - mean, 2);
    struct fit *k = fit_of(p, false);
    struct fit_result r;
    fit_result(k, &r);
    assert_true(r.sd[0] == 0);
    assert_true(r.boundary);
    NEAR(r.sigma * r.sigma, square / (p->rows - 1), 1e-10);
    NEAR(r.criterion, log(p->rows) + (p->rows - 1) * (1 + log(2 * M_PI * square / (p->rows - 1))), 1e-10);
    fit_free(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_in_print), cmocka_unit_test(test_one_way_closed_form),
                                       cmocka_unit_test(test_boundary_closed_form)};
    return cmocka_run_group_tests_name("published", tests, NULL, NULL);
}
