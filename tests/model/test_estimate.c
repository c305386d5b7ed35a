/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The criterion and its gradient against dense algebra and finite differences; the mode; Student's t weights against a plain EM.
 */
#include "../../server/model/estimate.h"

#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { ROWS = 160, FIRST = 12, SECOND = 9, COLUMNS = 1 + FIRST + SECOND };

struct table {
    struct design d;
    struct normal *m;
    double y[ROWS], v[ROWS], s2[ROWS], known[COLUMNS];
    unsigned char kind[ROWS];
    signed char stop[ROWS];
    struct estimate_input in;
};

static void make(struct table *t, bool stops, struct robust robust)
{
    struct lot l = {.state = 5};
    double a[FIRST], b[SECOND];
    unsigned char absorb[COLUMNS] = {0};
    memset(t, 0, sizeof *t);
    design_init(&t->d, COLUMNS);
    for (int j = 0; j < FIRST; j++)
        a[j] = 0.6 * lot_normal(&l);
    for (int j = 0; j < SECOND; j++)
        b[j] = 0.3 * lot_normal(&l);
    for (int i = 0; i < ROWS; i++) {
        int p = lot_below(&l, FIRST), q = lot_below(&l, SECOND);
        design_add(&t->d, 0, 1);
        design_add(&t->d, 1 + p, 1);
        design_add(&t->d, 1 + FIRST + q, 1);
        design_end_row(&t->d);
        t->kind[i] = lot_below(&l, 4) == 0;
        t->v[i] = 1 + lot_uniform(&l);
        t->s2[i] = 0.05 * lot_uniform(&l);
        t->y[i] = 1 + a[p] + b[q] + (t->kind[i] ? 0.5 : 0.25) * lot_normal(&l) + (i % 37 == 5 ? 4 : 0);
        t->stop[i] = (signed char)(stops && i % 16 == 3 ? (i % 32 == 3 ? 1 : -1) : 0);
    }
    for (int j = 1; j <= FIRST; j++)
        absorb[j] = 1;
    t->known[0] = 1.5;
    struct fault f = {0};
    t->m = normal_new(&t->d, absorb, &f);
    assert_non_null(t->m);
    t->in = (struct estimate_input){.design = &t->d,
                                    .normal = t->m,
                                    .blocks = 2,
                                    .first = {1, 1 + FIRST},
                                    .size = {FIRST, SECOND},
                                    .prior = {0.8, 0.4},
                                    .known_sd = t->known,
                                    .y = t->y,
                                    .v = t->v,
                                    .s2 = t->s2,
                                    .kind = t->kind,
                                    .stop = t->stop,
                                    .kinds = 2,
                                    .sigma_prior = 0.4,
                                    .robust = robust};
}

static void drop(struct table *t)
{
    normal_free(t->m);
    design_free(&t->d);
}

/* Σ log scale² + log|M| + Σ τx + |u|² by dense algebra: −2 log of the marginal likelihood, up to a constant. */
static double dense_criterion(const struct table *t, const struct estimate *e)
{
    double scale[COLUMNS], add[COLUMNS], w[ROWS], rhs[COLUMNS] = {0}, u[COLUMNS], sum = 0;
    for (int j = 0; j < COLUMNS; j++) {
        scale[j] = j == 0 ? t->known[0] : exp(e->log_sd[j > FIRST]);
        add[j] = 1;
    }
    for (int i = 0; i < ROWS; i++) {
        double s2 = exp(2 * e->log_sigma[t->kind[i]]) * t->v[i] + t->s2[i];
        w[i] = e->tau[i] / s2;
        sum += log(s2);
        for (int k = t->d.start[i]; k < t->d.start[i + 1]; k++)
            rhs[t->d.column[k]] += w[i] * t->y[i] * scale[t->d.column[k]];
    }
    double *m = dense_equations(&t->d, w, scale, add);
    sum += dense_invert(m, COLUMNS);
    dense_times(m, rhs, COLUMNS, u);
    for (int i = 0; i < ROWS; i++) {
        double r = t->y[i];
        for (int k = t->d.start[i]; k < t->d.start[i + 1]; k++)
            r -= scale[t->d.column[k]] * u[t->d.column[k]];
        sum += w[i] * r * r;
    }
    for (int j = 0; j < COLUMNS; j++)
        sum += u[j] * u[j];
    free(m);
    return sum;
}

/* −2 log of half-t(3) with scale A as a density of log x, up to a constant. */
static double prior(double log_sd, double scale)
{
    double z = exp(log_sd) / scale;
    return -2 * log_sd + 4 * log(1 + z * z / 3);
}

static void test_criterion_and_gradient(void **state)
{
    (void)state;
    struct table t;
    struct estimate e;
    make(&t, false, robust_usual());
    assert_true(estimate_init(&e, &t.in));
    assert_int_equal(estimate_value(&e), FACTOR_DONE);
    assert_true(estimate_invert(&e));
    estimate_reweigh(&e); /* weights that are not 1, then held */
    e.log_sd[0] = log(0.5), e.log_sd[1] = log(0.2), e.log_sigma[0] = log(0.3), e.log_sigma[1] = log(0.6);
    assert_int_equal(estimate_value(&e), FACTOR_DONE);
    double want = dense_criterion(&t, &e), slack = 0;
    for (int i = 0; i < ROWS; i++)
        slack += e.slack[i];
    want += slack + prior(e.log_sd[0], 0.8) + prior(e.log_sd[1], 0.4) + prior(e.log_sigma[0], 0.4) + prior(e.log_sigma[1], 0.4);

    assert_true(fabs(e.objective - want) < 1e-8 * fabs(want));
    assert_true(estimate_gradient(&e));
    double gradient[ESTIMATE_PARAMETERS];
    memcpy(gradient, e.gradient, sizeof gradient);
    assert_int_equal(e.parameters, 4);
    for (int p = 0; p < 4; p++) {
        double h = 1e-5, at = *estimate_parameter(&e, p);
        *estimate_parameter(&e, p) = at + h;
        assert_int_equal(estimate_value(&e), FACTOR_DONE);
        double up = e.objective;
        *estimate_parameter(&e, p) = at - h;
        assert_int_equal(estimate_value(&e), FACTOR_DONE);
        double slope = (up - e.objective) / (2 * h);
        *estimate_parameter(&e, p) = at;
        assert_true(fabs(slope - gradient[p]) < 1e-5 * (1 + fabs(slope)));
    }
    estimate_free(&e);
    drop(&t);
}

/* The effects with the weights of stopped rows settled on them. */
static double settled(struct estimate *e)
{
    for (int k = 0; k < 40; k++) {
        assert_int_equal(estimate_value(e), FACTOR_DONE);
        if (e->moved < 1e-12)
            break;
    }
    return e->objective;
}

/* Where rows are stopped their weights follow the effects and the sds; the gradient is that of the criterion all the same, in every sd. */
static void test_gradient_with_stopped_rows(void **state)
{
    (void)state;
    struct table t;
    struct estimate e;
    make(&t, true, robust_usual());
    assert_true(estimate_init(&e, &t.in));
    assert_true(e.stops >= 10);
    settled(&e);
    assert_true(estimate_invert(&e));
    estimate_reweigh(&e);
    e.log_sd[0] = log(0.5), e.log_sd[1] = log(0.2), e.log_sigma[0] = log(0.3), e.log_sigma[1] = log(0.6);
    settled(&e);
    assert_true(estimate_gradient(&e));
    double gradient[ESTIMATE_PARAMETERS];
    memcpy(gradient, e.gradient, sizeof gradient);
    assert_int_equal(e.parameters, 4);
    for (int p = 0; p < 4; p++) {
        double h = 1e-4, at = *estimate_parameter(&e, p);
        *estimate_parameter(&e, p) = at + h;
        double up = settled(&e);
        *estimate_parameter(&e, p) = at - h;
        double slope = (up - settled(&e)) / (2 * h);
        *estimate_parameter(&e, p) = at;
        assert_true(fabs(slope - gradient[p]) < 1e-5 * (1 + fabs(slope)));
    }
    estimate_free(&e);
    drop(&t);
}

static void test_gradient_is_zero_at_the_mode(void **state)
{
    (void)state;
    for (int stops = 0; stops < 2; stops++) {
        struct table t;
        struct estimate e;
        struct fault f = {0};
        make(&t, stops, robust_usual());
        assert_true(estimate_init(&e, &t.in));
        assert_true(estimate_run(&e, 100, NULL, &f));
        assert_int_equal(e.reason, ESTIMATE_CONVERGED);
        estimate_reweigh(&e);
        assert_true(estimate_gradient(&e));
        for (int p = 0; p < e.parameters; p++)
            assert_true(fabs(e.gradient[p]) < 0.02);
        /* the rows that were pushed by 4 dB hardly count, the others nearly fully */
        for (int i = 0; i < ROWS; i++)
            if (!t.stop[i] && t.kind[i] == 0)
                assert_true(i % 37 == 5 ? e.tau[i] < 0.1 : e.tau[i] > 0.1);
        estimate_free(&e);
        drop(&t);
    }
}

/* NLopt from the same start finds the same mode (normal residuals, so that no weights move). */
static void test_fall_back_agrees(void **state)
{
    (void)state;
    struct table t;
    struct estimate a, b;
    struct fault f = {0};
    make(&t, false, (struct robust){.kind = ROBUST_NONE});
    assert_true(estimate_init(&a, &t.in) && estimate_init(&b, &t.in));
    assert_true(estimate_run(&a, 100, NULL, &f));
    assert_true(estimate_fall_back(&b, 400, &f));
    for (int p = 0; p < a.parameters; p++)
        assert_true(fabs(*estimate_parameter(&a, p) - *estimate_parameter(&b, p)) < 1e-3);
    assert_true(fabs(a.objective - b.objective) < 1e-5);
    estimate_free(&a);
    estimate_free(&b);
    drop(&t);
}

/* One mean under a flat prior, Student's t: the same numbers from an EM written out plainly. */
static void test_t_weights_against_em(void **state)
{
    (void)state;
    enum { N = 30 };
    struct lot l = {.state = 3};
    double y[N], v[N], known[1] = {0}, nu = 4;
    unsigned char kind[N] = {0}, absorb[1] = {0};
    struct design d;
    struct fault f = {0};
    design_init(&d, 1);
    for (int i = 0; i < N; i++) {
        y[i] = 2 + 0.4 * lot_normal(&l) + (i == 4 ? 6 : 0);
        v[i] = 1;
        design_add(&d, 0, 1);
        design_end_row(&d);
    }
    struct normal *m = normal_new(&d, absorb, &f);
    struct estimate_input in = {.design = &d,
                                .normal = m,
                                .known_sd = known,
                                .y = y,
                                .v = v,
                                .kind = kind,
                                .kinds = 1,
                                .sigma_start = 1,
                                .robust = {.kind = ROBUST_T, .nu = nu},
                                .tolerance = 1e-12};
    struct estimate e;
    assert_true(estimate_init(&e, &in));
    assert_true(estimate_run(&e, 200, NULL, &f));
    double mean = 2, s2 = 1, tau[N];
    for (int i = 0; i < N; i++)
        tau[i] = 1;
    for (int round = 0; round < 2000; round++) {
        double sum = 0, weight = 0, next = 0;
        for (int i = 0; i < N; i++) {
            sum += tau[i] * y[i];
            weight += tau[i];
        }
        mean = sum / weight;
        double of_mean = s2 / weight;
        for (int i = 0; i < N; i++)
            tau[i] = (nu + 1) / (nu + ((y[i] - mean) * (y[i] - mean) + of_mean) / s2);
        for (int i = 0; i < N; i++)
            next += tau[i] * ((y[i] - mean) * (y[i] - mean) + of_mean) / N;
        s2 = next;
    }
    assert_true(fabs(e.effect[0] - mean) < 1e-5);
    assert_true(fabs(exp(e.log_sigma[0]) - sqrt(s2)) < 1e-5);
    for (int i = 0; i < N; i++)
        assert_true(fabs(e.tau[i] - tau[i]) < 1e-4);
    estimate_free(&e);
    normal_free(m);
    design_free(&d);
}

/* Without rows every sd is its prior's scale. */
static void test_no_rows(void **state)
{
    (void)state;
    struct table t;
    struct estimate e;
    struct fault f = {0};
    make(&t, false, robust_usual());
    memset(t.kind, 255, sizeof t.kind);
    assert_true(estimate_init(&e, &t.in));
    assert_true(estimate_run(&e, 100, NULL, &f));
    assert_int_equal(e.reason, ESTIMATE_PRIOR_ONLY);
    assert_true(fabs(exp(e.log_sd[0]) - 0.8) < 1e-9 && fabs(exp(e.log_sd[1]) - 0.4) < 1e-9);
    for (int j = 0; j < COLUMNS; j++)
        assert_true(fabs(e.effect[j]) < 1e-12 && fabs(e.variance[j] - 1) < 1e-9);
    estimate_free(&e);
    drop(&t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_criterion_and_gradient),       cmocka_unit_test(test_gradient_with_stopped_rows),
        cmocka_unit_test(test_gradient_is_zero_at_the_mode), cmocka_unit_test(test_fall_back_agrees),
        cmocka_unit_test(test_t_weights_against_em),         cmocka_unit_test(test_no_rows)};
    return cmocka_run_group_tests_name("estimate", tests, NULL, NULL);
}
