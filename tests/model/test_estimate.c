/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One response's estimator with all that the plain table does not have: priors, two kinds of rows, known variances, robust weights, end stops.
 */
#include "../../server/model/estimate.h"

#include "../../server/ground/memory.h"
#include "../../server/model/normal_hazard.h"
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

#define ROWS 160

/* Two crossed blocks and two columns with known priors; everything drawn. */
struct drawn {
    struct design design;
    struct normal *normal;
    double known_sd[64], y[ROWS], v[ROWS], s2[ROWS];
    unsigned char kind[ROWS];
    signed char stop[ROWS];
    struct estimate_input in;
};

static void draw(struct drawn *t, int rows, uint64_t seed)
{
    enum { FIRST = 10, SECOND = 7, COLUMNS = 2 + FIRST + SECOND };
    struct lot l = {seed};
    struct fault f = {0};
    double first[FIRST], second[SECOND];
    memset(t, 0, sizeof *t);
    for (int j = 0; j < FIRST; j++)
        first[j] = 0.7 * lot_normal(&l);
    for (int j = 0; j < SECOND; j++)
        second[j] = 0.5 * lot_normal(&l);
    design_init(&t->design, COLUMNS);
    for (int i = 0; i < rows; i++) {
        int a = lot_below(&l, FIRST), b = lot_below(&l, SECOND);
        double x = lot_uniform(&l) - 0.5;
        design_add(&t->design, 0, 1);
        design_add(&t->design, 1, x);
        design_add(&t->design, 2 + a, 1);
        design_add(&t->design, 2 + FIRST + b, 1);
        design_end_row(&t->design);
        t->kind[i] = (unsigned char)(lot_below(&l, 4) == 0);
        t->v[i] = 1 + lot_uniform(&l);
        t->s2[i] = 0.02 * lot_uniform(&l);
        t->y[i] = 0.6 + 0.2 * x + first[a] + second[b] + (t->kind[i] ? 0.5 : 0.25) * lot_normal(&l);
        if (lot_below(&l, 25) == 0)
            t->y[i] += 3;
    }
    t->kind[3] = 255;
    unsigned char absorb[COLUMNS] = {0};
    memset(absorb + 2, 1, FIRST);
    t->normal = normal_new(&t->design, absorb, &f);
    assert_non_null(t->normal);
    t->known_sd[0] = 1.5;
    t->known_sd[1] = 0.3;
    t->in = (struct estimate_input){.design = &t->design,
                                    .normal = t->normal,
                                    .blocks = 2,
                                    .first = {2, 2 + FIRST},
                                    .size = {FIRST, SECOND},
                                    .prior = {0.7, 0.4},
                                    .known_sd = t->known_sd,
                                    .y = t->y,
                                    .v = t->v,
                                    .s2 = t->s2,
                                    .kind = t->kind,
                                    .kinds = 2,
                                    .sigma_prior = 0.4};
}

static void drawn_free(struct drawn *t)
{
    normal_free(t->normal);
    design_free(&t->design);
}

/* ---- the gradient ---- */

static void test_gradient(void **state)
{
    (void)state;
    for (int robust = 0; robust < 2; robust++) {
        struct drawn t;
        struct estimate e;
        draw(&t, ROWS, 21);
        t.in.robust = robust ? robust_usual() : (struct robust){ROBUST_NONE};
        assert_true(estimate_init(&e, &t.in));
        e.log_sd[0] = log(0.9);
        e.log_sd[1] = log(0.2);
        e.log_sigma[0] = log(0.3);
        e.log_sigma[1] = log(0.8);
        assert_int_equal(estimate_value(&e), FACTOR_DONE);
        assert_true(estimate_invert(&e));
        estimate_reweigh(&e); /* weights that differ; held from here on */
        assert_int_equal(estimate_value(&e), FACTOR_DONE);
        assert_true(estimate_gradient(&e));
        assert_int_equal(e.parameters, 4);
        double gradient[4];
        memcpy(gradient, e.gradient, sizeof gradient);
        for (int p = 0; p < 4; p++) {
            double *x = estimate_parameter(&e, p), at = *x, h = 1e-4, value[2];
            for (int side = 0; side < 2; side++) {
                *x = at + (side ? h : -h);
                assert_int_equal(estimate_value(&e), FACTOR_DONE);
                value[side] = e.objective;
            }
            *x = at;
            NEAR(gradient[p], (value[1] - value[0]) / (2 * h), 1e-5);
        }
        estimate_free(&e);
        drawn_free(&t);
    }
    assert_int_equal(mem_alive(), 0);
}

/* Run to the mode: the gradient with the weights at their best is nought there, and so it is by the other way, NLopt's, with those weights held. */
static void test_mode(void **state)
{
    (void)state;
    struct drawn t;
    struct estimate e;
    struct fault f = {0};
    draw(&t, ROWS, 22);
    t.in.robust = robust_usual();
    t.in.tolerance = 1e-12;
    assert_true(estimate_init(&e, &t.in));
    assert_true(estimate_run(&e, 400, NULL, &f));
    assert_int_equal(e.reason, ESTIMATE_CONVERGED);
    for (int p = 0; p < e.parameters; p++)
        assert_true(fabs(e.gradient[p]) < 1e-4);
    double sd[2] = {e.log_sd[0], e.log_sd[1]}, sigma[2] = {e.log_sigma[0], e.log_sigma[1]};
    e.log_sd[0] += 0.5;
    e.log_sigma[1] -= 0.5;
    assert_true(estimate_fall_back(&e, 400, &f));
    for (int b = 0; b < 2; b++) {
        NEAR(e.log_sd[b], sd[b], 1e-4);
        NEAR(e.log_sigma[b], sigma[b], 1e-4);
    }
    estimate_free(&e);
    drawn_free(&t);
}

/* Without a row every sd is at its prior's scale: half-t(3) in log sd has its mode there. */
static void test_priors_alone(void **state)
{
    (void)state;
    struct drawn t;
    struct estimate e;
    struct fault f = {0};
    draw(&t, ROWS, 23);
    memset(t.kind, 255, sizeof t.kind);
    assert_true(estimate_init(&e, &t.in));
    e.log_sd[0] = log(0.01);
    e.log_sd[1] = log(3);
    estimate_list_parameters(&e);
    assert_int_equal(e.parameters, 2); /* no σ: no row of either kind */
    assert_int_equal(estimate_value(&e), FACTOR_DONE);
    e.log_sd[0] = log(0.7);
    e.log_sd[1] = log(0.4);
    assert_int_equal(estimate_value(&e), FACTOR_DONE);
    assert_true(estimate_gradient(&e));
    for (int p = 0; p < e.parameters; p++)
        NEAR(e.gradient[p], 0, 1e-9);
    assert_true(estimate_run(&e, 60, NULL, &f));
    assert_int_equal(e.reason, ESTIMATE_PRIOR_ONLY);
    for (int j = 0; j < t.design.columns; j++)
        assert_true(e.effect[j] == 0);
    estimate_free(&e);
    drawn_free(&t);
}

/* ---- Student's t, one sample, against the EM algorithm (Lange, Little & Taylor, JASA 84, 1989) written out ---- */

#define SAMPLE 12
static const double sample[SAMPLE] = {0.31, -0.12, 0.05, 0.44, 0.18, -0.27, 0.09, 6.2, 0.22, -0.04, 0.37, -2.9};

/* `mean_known`: at 0, the plain EM. Else the mean is estimated under a flat prior, and its variance 1/Σw counts with the squared residuals. */
static void reference_em(bool mean_known, double nu, double *mean, double *sigma)
{
    double tau[SAMPLE], m = 0, s2 = 1;
    for (int i = 0; i < SAMPLE; i++)
        tau[i] = 1;
    for (int round = 0; round < 20000; round++) {
        double sum = 0, weights = 0, square = 0;
        for (int i = 0; i < SAMPLE; i++) {
            sum += tau[i] * sample[i];
            weights += tau[i];
        }
        m = mean_known ? 0 : sum / weights;
        double variance = mean_known ? 0 : s2 / weights;
        for (int i = 0; i < SAMPLE; i++)
            square += tau[i] * ((sample[i] - m) * (sample[i] - m) + variance);
        s2 = square / SAMPLE;
        variance = mean_known ? 0 : s2 / weights;
        for (int i = 0; i < SAMPLE; i++)
            tau[i] = (nu + 1) / (nu + ((sample[i] - m) * (sample[i] - m) + variance) / s2);
    }
    *mean = m;
    *sigma = sqrt(s2);
}

static void test_t_against_em(void **state)
{
    (void)state;
    for (int mean_known = 0; mean_known < 2; mean_known++) {
        struct design d;
        struct fault f = {0};
        unsigned char absorb[1] = {0}, kind[SAMPLE] = {0};
        double known_sd[1] = {mean_known ? -1 : 0}, v[SAMPLE], mean, sigma;
        design_init(&d, 1);
        for (int i = 0; i < SAMPLE; i++) {
            design_add(&d, 0, 1);
            design_end_row(&d);
            v[i] = 1;
        }
        struct normal *normal = normal_new(&d, absorb, &f);
        struct estimate_input in = {.design = &d,
                                    .normal = normal,
                                    .known_sd = known_sd,
                                    .y = sample,
                                    .v = v,
                                    .kind = kind,
                                    .kinds = 1,
                                    .sigma_start = 1,
                                    .robust = {.kind = ROBUST_T, .nu = 4},
                                    .tolerance = 1e-14};
        struct estimate e;
        assert_true(estimate_init(&e, &in));
        assert_true(estimate_run(&e, 2000, NULL, &f));
        reference_em(mean_known, 4, &mean, &sigma);
        NEAR(e.effect[0], mean, 1e-6);
        NEAR(exp(e.log_sigma[0]), sigma, 1e-6);
        for (int i = 0; i < SAMPLE; i++) {
            double x = (pow(sample[i] - mean, 2) + (mean_known ? 0 : e.leverage[i])) / (sigma * sigma);
            NEAR(e.tau[i], 5 / (4 + x), 1e-5);
        }
        assert_true(e.tau[7] < 0.1 && e.tau[11] < 0.2 && e.tau[2] > 1);
        estimate_free(&e);
        normal_free(normal);
        design_free(&d);
    }
}

/* ---- end stops ---- */

/* One unknown with prior N(0, 1), `seen` rows that read y, one row that ran out at `stop`: the mode of
 * θ² + Σ (θ − y)²/s² − 2 log Φ((θ − stop)/s), by halving where its slope changes sign. */
static double stopped_mode(double s, int seen, double y, double stop)
{
    double low = -20, high = 20;
    for (int k = 0; k < 200; k++) {
        double at = (low + high) / 2, slope = 2 * at + seen * 2 * (at - y) / (s * s) - 2 * normal_hazard((stop - at) / s) / s;
        *(slope > 0 ? &high : &low) = at;
    }
    return low;
}

static void test_end_stop(void **state)
{
    (void)state;
    static const struct {
        const char *what;
        int seen;
        double y, stop;
    } cases[] = {{"others say far beyond the stop", 8, 3, 0.5},
                 {"others say just short of it", 8, 0.4, 0.5},
                 {"others say far short of it", 2, -1, 2},
                 {"nothing else", 0, 0, 1.5},
                 {"nothing else, the stop on the other side", 0, 0, -4}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        for (int side = 1; side >= -1; side -= 2) { /* and mirrored */
            struct design d;
            struct fault f = {0};
            int rows = cases[i].seen + 1;
            unsigned char absorb[1] = {0}, kind[10] = {0};
            signed char stop[10] = {0};
            double known_sd[1] = {1}, y[10], v[10], s = 0.3;
            design_init(&d, 1);
            for (int k = 0; k < rows; k++) {
                design_add(&d, 0, 1);
                design_end_row(&d);
                y[k] = side * (k ? cases[i].y : cases[i].stop);
                v[k] = 1;
            }
            stop[0] = (signed char)side;
            struct normal *normal = normal_new(&d, absorb, &f);
            struct estimate_input in = {.design = &d,
                                        .normal = normal,
                                        .known_sd = known_sd,
                                        .y = y,
                                        .v = v,
                                        .kind = kind,
                                        .stop = stop,
                                        .kinds = 1,
                                        .sigma_start = s};
            struct estimate e;
            assert_true(estimate_init(&e, &in));
            assert_true(estimate_effects(&e, 4, &f)); /* as many rounds as the product takes */
            double want = side * stopped_mode(s, cases[i].seen, cases[i].y, cases[i].stop);
            if (fabs(e.effect[0] - want) > 0.01)
                fail_msg("%s: %.4f dB, the mode is at %.4f", cases[i].what, e.effect[0], want);
            estimate_free(&e);
            normal_free(normal);
            design_free(&d);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_gradient), cmocka_unit_test(test_mode), cmocka_unit_test(test_priors_alone),
                                       cmocka_unit_test(test_t_against_em), cmocka_unit_test(test_end_stop)};
    return cmocka_run_group_tests_name("estimate", tests, NULL, NULL);
}
