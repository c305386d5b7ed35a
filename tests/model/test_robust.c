/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Weights of rows and the normal hazard.
 */
#include "../../server/model/normal_hazard.h"
#include "../../server/model/robust.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static const struct robust kinds[] = {{.kind = ROBUST_NONE}, {.kind = ROBUST_T, .nu = 4}, {.kind = ROBUST_T, .nu = 30}};
#define KIND_COUNT 4

static struct robust kind(int i)
{
    return i < 3 ? kinds[i] : robust_usual();
}

static void test_weight_is_slope_of_loss(void **state)
{
    (void)state;
    for (int i = 0; i < KIND_COUNT; i++) {
        struct robust k = kind(i);
        assert_true(fabs(robust_loss(&k, 0)) < 1e-12);
        for (double x = 0.01; x < 3000; x *= 1.3) {
            double h = 1e-4 * x, slope = (robust_loss(&k, x + h) - robust_loss(&k, x - h)) / (2 * h);
            assert_true(fabs(slope - robust_weight(&k, x)) < 1e-5 * (1 + fabs(slope)));
            double tx = (x + h) * robust_weight(&k, x + h) - (x - h) * robust_weight(&k, x - h);
            double left = tx / (2 * h) / robust_weight(&k, x);
            assert_true(fabs(left - robust_left(&k, x)) < 1e-4);
        }
    }
}

/* What a reweighing step relies on: the loss lies below each of its tangents. */
static void test_loss_lies_below_its_tangents(void **state)
{
    (void)state;
    for (int i = 0; i < KIND_COUNT; i++) {
        struct robust k = kind(i);
        for (double at = 0; at < 400; at += 3.7)
            for (double x = 0; x < 400; x += 5.3) {
                double tangent = robust_loss(&k, at) + robust_weight(&k, at) * (x - at);
                assert_true(robust_loss(&k, x) <= tangent + 1e-9);
            }
    }
}

static void test_a_misentry_counts_for_little(void **state)
{
    (void)state;
    struct robust k = robust_usual();
    assert_true(robust_weight(&k, 0) > 0.95);
    assert_true(robust_weight(&k, 4) > 0.85);   /* two scales out: an ordinary row */
    assert_true(robust_weight(&k, 100) < 0.07); /* ten scales out */
    assert_true(robust_weight(&k, 1e6) > 0);
    assert_true(isfinite(robust_loss(&k, 1e300)));
}

/* By Bayes' rule with the densities written out: of three parts, the one that most likely made a row so far from what was foretold. */
static void test_foretold(void **state)
{
    (void)state;
    struct robust k = robust_usual();
    const double share[3] = {1 - k.share[0] - k.share[1], k.share[0], k.share[1]}, wide[3] = {1, k.wide[0], k.wide[1]};
    int seen[3] = {0};
    for (double h = 0.01; h < 100; h *= 2.7)
        for (double off = 0; off < 60; off += 0.37) {
            double density[3];
            int best = 0;
            for (int p = 0; p < 3; p++) {
                double sd = sqrt(wide[p] * wide[p] + h);
                density[p] = share[p] / sd * exp(-0.5 * off * off / (sd * sd));
                if (density[p] > density[best])
                    best = p;
            }
            assert_true(fabs(robust_weight_foretold(&k, off * off, h) - 1 / (wide[best] * wide[best])) < 1e-12);
            seen[best]++;
        }
    assert_true(seen[0] > 100 && seen[1] > 50 && seen[2] > 100);
    assert_true(robust_weight_foretold(&kinds[1], 50, 1) == 1 &&
                robust_weight_foretold(&kinds[0], 50, 1) == 1); /* no parts to tell apart */
}

/* λ and the tail from tables of the normal distribution; from memory: φ(1)/(1 − Φ(1)) = 0.2419707/0.1586553 and so on. */
static void test_normal_hazard(void **state)
{
    (void)state;
    static const double table[][2] = {{-1, 0.2875999709}, {0, 0.7978845608}, {1, 1.5251352761}, {2, 2.3732155328}, {3, 3.2830986549}};
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        assert_true(fabs(normal_hazard(table[i][0]) - table[i][1]) < 1e-8);
    assert_true(fabs(normal_log_tail(0) - log(0.5)) < 1e-12);
    assert_true(fabs(normal_log_tail(10) - (-53.2312851505)) < 1e-6); /* 1 − Φ(10) = 7.619853e-24 */
    /* no step where one formula hands over to the other; λ − α falls towards 1/α */
    for (double a = 7.5; a < 8.5; a += 0.01)
        assert_true(normal_hazard(a + 0.01) > normal_hazard(a) && fabs(normal_hazard(a) - a - 1 / a) < 0.01);
    assert_true(fabs(normal_hazard(1e4) - 1e4 - 1e-4) < 1e-7);
    assert_true(normal_hazard(-40) >= 0 && normal_hazard(-40) < 1e-300);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_weight_is_slope_of_loss), cmocka_unit_test(test_loss_lies_below_its_tangents),
                                       cmocka_unit_test(test_a_misentry_counts_for_little), cmocka_unit_test(test_foretold),
                                       cmocka_unit_test(test_normal_hazard)};
    return cmocka_run_group_tests_name("robust", tests, NULL, NULL);
}
