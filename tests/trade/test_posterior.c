/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The bench's posterior: closed form where the model is linear, Monte Carlo for the chance, and what two beliefs do. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "trade/bench_parts.h"

#include <math.h>
#include <string.h>

static struct dial bias_dial, level_dial;
static struct next_move_question question;

static struct bench bench_of(double need_se)
{
    bias_dial = bench_dial(-5, 5, 0.25);
    level_dial = bench_dial(-5, 5, 0.25);
    question = bench_question(&bias_dial, &level_dial);
    question.need_se[0] = question.need_se[1] = need_se;
    return (struct bench){.q = &question, .has = {true, true}, .tolerance = {0.5, 1.0}, .noise = {0.1, 0.2}};
}

/* Slopes known and no bend: two needs, two readings, all linear. By hand: prior precision P = 1/s²·I, design rows (−a, −1) and (b, −1). */
static void linear_case_is_the_textbook_formula(void **state)
{
    (void)state;
    struct bench b = bench_of(0.5);
    const double a = 0.15, fall = 1.6, low = 0.3, high = -0.7;
    question.slopes = (struct slopes){.a = a, .a_se = 1e-6, .b = fall, .b_se = 1e-6, .bend = 0.0, .bend_se = 1e-6};
    b.below_peak = true; /* one belief, centred 3.5 above this, sd 2, and a level of sd √(0.5² + 1.5²) */
    b.peak_top = -3.5;
    b.count = 1;
    b.point[0] = (struct bench_point){{0.0, 0.0}, {0.0, 0.0}, low, high, true};
    struct posterior p;
    posterior_find(&b, 1, &p);
    double w[2] = {1.0 / 0.01, 1.0 / 0.04}, pb = 1.0 / 4.0, pl = 1.0 / 2.5;
    double m00 = pb + w[0] * a * a + w[1] * fall * fall, m11 = pl + w[0] + w[1], m01 = w[0] * a - w[1] * fall;
    double g0 = -w[0] * a * low + w[1] * fall * high, g1 = -w[0] * low - w[1] * high, det = m00 * m11 - m01 * m01;
    double nb = (m11 * g0 - m01 * g1) / det, nl = (m00 * g1 - m01 * g0) / det;
    /* the low tone's own bend (0.02 ± 0.02 per dB²) makes it nearly, not quite, linear at so small a distance */
    assert_int_equal(p.count, 1);
    assert_true(fabs(p.fit[0].at[NEED_BIAS] - nb) < 0.01);
    assert_true(fabs(p.fit[0].at[NEED_LEVEL] - nl) < 0.01);
    assert_true(fabs(sqrt(p.fit[0].cov[0][0]) - sqrt(m11 / det)) < 0.005);
    assert_true(fabs(sqrt(p.fit[0].cov[1][1]) - sqrt(m00 / det)) < 0.005);
}

static void without_readings_it_is_the_prior(void **state)
{
    (void)state;
    struct bench b = bench_of(0.35);
    question.need[0] = 0.8;
    question.need[1] = -0.2;
    struct posterior p;
    posterior_find(&b, 0, &p);
    assert_int_equal(p.count, 2);
    assert_true(fabs(p.fit[0].weight - 6.0 / 7.0) < 1e-9 && fabs(p.fit[1].weight - 1.0 / 7.0) < 1e-9);
    assert_true(fabs(p.fit[0].at[NEED_BIAS] - 0.8) < 1e-9 && fabs(p.fit[0].at[NEED_LEVEL] + 0.2) < 1e-9);
    assert_true(fabs(p.fit[0].cov[0][0] - 0.35 * 0.35) < 1e-9);
    assert_true(p.fit[1].cov[0][0] > 4.0);
}

/* A reading as foretold makes the label more credible, one far off makes it less. */
static void readings_judge_the_label(void **state)
{
    (void)state;
    struct bench b = bench_of(0.35);
    struct posterior p;
    b.count = 1;
    b.point[0] = (struct bench_point){{0.0, 0.0}, {0.0, 0.0}, 0.0, 0.1, true};
    posterior_find(&b, 1, &p);
    assert_true(p.fit[0].weight > 6.0 / 7.0 && p.fit[0].cov[0][0] < 0.35 * 0.35);
    b.point[0].high = 5.0;
    posterior_find(&b, 1, &p);
    assert_true(p.fit[0].weight > 0.95); /* the likelier first: it is not what it says */
    assert_true(p.fit[0].at[NEED_BIAS] > 2.0);
}

static void order_of_readings_does_not_matter(void **state)
{
    (void)state;
    struct bench b = bench_of(0.35), r;
    const double bias[4] = {0.0, 1.0, 0.5, 0.75}, low[4] = {0.1, 0.2, 0.15, 0.1}, high[4] = {1.4, -0.4, 0.6, 0.1};
    struct posterior p, q;
    b.count = 4;
    for (int i = 0; i < 4; i++) {
        b.point[i] = (struct bench_point){{bias[i], 0.0}, {bias[i], 0.0}, low[i], high[i], true};
    }
    r = b;
    for (int i = 0; i < 4; i++) {
        r.point[i] = b.point[3 - i];
    }
    posterior_find(&b, 4, &p);
    posterior_find(&r, 4, &q);
    for (int i = 0; i < THETA; i++) {
        assert_true(fabs(p.fit[0].at[i] - q.fit[0].at[i]) < 1e-7);
    }
}

static void contradiction_widens(void **state)
{
    (void)state;
    struct bench b = bench_of(0.35);
    struct posterior calm, torn;
    b.count = 2;
    b.point[0] = b.point[1] = (struct bench_point){{0.0, 0.0}, {0.0, 0.0}, 0.0, 0.5, true};
    posterior_find(&b, 2, &calm);
    b.point[0].high = 1.7;
    b.point[1].high = -0.7;
    posterior_find(&b, 2, &torn);
    assert_true(calm.noise_scale == 1.0 && torn.noise_scale > 2.0);
    assert_true(torn.fit[0].cov[0][0] > 1.5 * calm.fit[0].cov[0][0]);
}

/* The chance against 200,000 draws of needs and slopes put through the same curves. */
static void chance_agrees_with_monte_carlo(void **state)
{
    (void)state;
    struct dice dice = {99};
    struct bench b = bench_of(0.35);
    b.treble = 0.5;
    b.count = 1;
    b.point[0] = (struct bench_point){{0.0, 0.0}, {0.0, 0.0}, 0.2, 0.9, true};
    struct posterior p;
    posterior_find(&b, 1, &p);
    p.count = 1; /* one normal at a time */
    p.fit[0].weight = 1.0;
    const struct bench_fit *f = &p.fit[0];
    double l[THETA][THETA] = {{0}};
    for (int j = 0; j < THETA; j++) {
        for (int i = j; i < THETA; i++) {
            double s = f->cov[i][j];
            for (int k = 0; k < j; k++) {
                s -= l[i][k] * l[j][k];
            }
            l[i][j] = i == j ? sqrt(fmax(s, 0.0)) : l[j][j] > 0.0 ? s / l[j][j] : 0.0;
        }
    }
    const double settings[3][2] = {{0.0, 0.0}, {0.25, -0.25}, {1.0, 0.25}};
    for (int s = 0; s < 3; s++) {
        const int draws = 200000;
        int right = 0;
        for (int n = 0; n < draws; n++) {
            double z[THETA], t[THETA];
            for (int i = 0; i < THETA; i++) {
                z[i] = dice_normal(&dice);
                t[i] = f->at[i];
                for (int k = 0; k <= i; k++) {
                    t[i] += l[i][k] * z[k];
                }
            }
            double d = settings[s][0] - t[NEED_BIAS], v = settings[s][1] - t[NEED_LEVEL];
            double low = v + t[SLOPE_A] * d - t[BEND_LOW] * d * d, high = v - t[SLOPE_B] * d - t[BEND_HIGH] * d * d;
            right += fabs(low) <= 0.5 && fabs(high - b.treble) <= 1.0;
        }
        /* products of doubts (slope times distance) are first order only: 2 in 100 */
        assert_true(fabs(posterior_chance(&b, &p, settings[s]) - (double)right / draws) < 0.02);
    }
}

static void chance_is_sharp_where_all_is_known(void **state)
{
    (void)state;
    struct bench b = bench_of(1e-3);
    question.slopes = (struct slopes){.a = 0.15, .a_se = 1e-6, .b = 1.6, .b_se = 1e-6};
    struct posterior p;
    posterior_find(&b, 0, &p);
    p.count = 1;
    p.fit[0].weight = 1.0;
    assert_true(posterior_chance(&b, &p, (double[2]){0.0, 0.0}) > 0.999);
    assert_true(posterior_chance(&b, &p, (double[2]){0.0, 0.45}) > 0.999);
    assert_true(posterior_chance(&b, &p, (double[2]){0.0, 0.55}) < 0.001);
    assert_true(posterior_chance(&b, &p, (double[2]){0.7, 0.0}) < 0.001);
}

static void target_meets_both_tones(void **state)
{
    (void)state;
    struct bench b = bench_of(0.35);
    struct posterior p;
    posterior_find(&b, 0, &p);
    for (double treble = -3.0; treble <= 3.0; treble += 1.0) {
        double x[2];
        b.treble = treble;
        fit_target(&b, &p.fit[0], x);
        struct pair_normal n = bench_predict(&p.fit[0], x);
        assert_true(fabs(n.low) < 1e-9 && fabs(n.high - treble) < 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linear_case_is_the_textbook_formula),
        cmocka_unit_test(without_readings_it_is_the_prior),
        cmocka_unit_test(readings_judge_the_label),
        cmocka_unit_test(order_of_readings_does_not_matter),
        cmocka_unit_test(contradiction_widens),
        cmocka_unit_test(chance_agrees_with_monte_carlo),
        cmocka_unit_test(chance_is_sharp_where_all_is_known),
        cmocka_unit_test(target_meets_both_tones),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
