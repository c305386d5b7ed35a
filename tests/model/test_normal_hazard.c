/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The hazard of the normal and the log of its tail against tables, and by what must hold everywhere.
 */
#include "../../server/model/normal_hazard.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* From memory, as printed in tables of the inverse Mills ratio and of the normal's tail (to the digits given). */
static const struct {
    double alpha, hazard, tail, digit;
} table[] = {
    {-2, 0.0552, 0.97725, 1e-4},  {-1, 0.2876, 0.84134, 1e-4}, {0, 0.7979, 0.5, 1e-4},
    {0.5, 1.1411, 0.30854, 1e-4}, {1, 1.5251, 0.15866, 1e-4},  {2, 2.3732, 0.02275, 1e-4},
    {3, 3.2831, 0.00135, 1e-4},   {4, 4.2256, 3.167e-5, 1e-4}, {5, 5.1865, 2.867e-7, 1e-4},
};

static void test_tables(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        assert_true(fabs(normal_hazard(table[i].alpha) - table[i].hazard) < table[i].digit);
        assert_true(fabs(exp(normal_log_tail(table[i].alpha)) / table[i].tail - 1) < 2e-3);
    }
}

/* The hazard is minus the slope of the log tail; its own slope is λ(λ − α), which is what a stopped row weighs: between 0 and 1, ever growing. */
static void test_slopes(void **state)
{
    (void)state;
    double before = -1;
    for (double a = -12; a < 40; a += 0.37) {
        double h = 1e-5, lambda = normal_hazard(a), slope = (normal_hazard(a + h) - normal_hazard(a - h)) / (2 * h),
               weight = lambda * (lambda - a);
        double tail_slope = (normal_log_tail(a + h) - normal_log_tail(a - h)) / (2 * h);
        assert_true(fabs(-tail_slope - lambda) < 1e-6 * (1 + lambda));
        assert_true(fabs(slope - weight) < 2e-5);
        assert_true(weight >= 0 && weight < 1 && weight > before - 1e-9);
        before = weight;
    }
}

/* Where the two ways of computing meet there is no step, and far out Mills' bounds hold: α < λ < α + 1/α. */
static void test_far_out(void **state)
{
    (void)state;
    assert_true(fabs(normal_hazard(8) - normal_hazard(8 + 1e-9)) < 1e-8);
    assert_true(fabs(normal_log_tail(8) - normal_log_tail(8 + 1e-9)) < 1e-7);
    for (double a = 5; a < 1e4; a *= 1.5) {
        assert_true(normal_hazard(a) > a && normal_hazard(a) < a + 1 / a);
        assert_true(isfinite(normal_log_tail(a)));
    }
    assert_true(normal_hazard(-40) >= 0 && normal_hazard(-40) < 1e-300);
    assert_true(normal_log_tail(-40) == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_tables), cmocka_unit_test(test_slopes), cmocka_unit_test(test_far_out)};
    return cmocka_run_group_tests_name("normal hazard", tests, NULL, NULL);
}
