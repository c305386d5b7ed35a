/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Summaries against the certified values of the NIST Statistical Reference Datasets, univariate (data and values from memory;
 * a set whose data were remembered wrongly could not give its certified deviation to ten digits), and t and normal tables. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/statistics.h"

#include <math.h>
#include <string.h>

static void certified(double *x, size_t n, double mean, double sd, double relative)
{
    struct summary s = summary_of(x, n);
    assert_int_equal(s.n, n);
    assert_true(fabs(s.mean - mean) <= 1e-14 * fabs(mean));
    assert_true(fabs(s.sd - sd) <= relative * sd);
}

/* NumAcc1: 10000001, 10000003, 10000002: mean 10000002, deviation 1. */
static void numacc1(void **state)
{
    (void)state;
    double x[3] = {10000001, 10000003, 10000002};
    certified(x, 3, 10000002.0, 1.0, 1e-15);
}

/* NumAcc2, 3, 4: c, then 500 times (c − 0.1, c + 0.1), c = 1.2, 1000000.2, 10000000.2: mean c, deviation 0.1. What the numbers
 * lose when they are typed as doubles is of the size of the tolerance. */
static void numacc2_to_4(void **state)
{
    (void)state;
    static double x[1001];
    const double first[3] = {1.2, 1000000.2, 10000000.2}, low[3] = {1.1, 1000000.1, 10000000.1}, high[3] = {1.3, 1000000.3, 10000000.3};
    const double relative[3] = {1e-13, 1e-8, 1e-7};
    for (int k = 0; k < 3; k++) {
        x[0] = first[k];
        for (int i = 1; i < 1001; i++) {
            x[i] = i % 2 ? low[k] : high[k];
        }
        certified(x, 1001, first[k], 0.1, relative[k]);
    }
}

/* Michelso: 100 measurements of the speed of light, thousand km/s: mean 299.8524, deviation 0.0790105478190518. */
static void michelson(void **state)
{
    (void)state;
    static const int above[100] = {
        850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960, 960, 940, 960, 940, 880,
        800, 850, 880, 900,  840, 830, 790, 810, 880, 880, 830,  800, 790, 760, 800, 880, 880,  880,  860, 720, 720, 620, 860, 970, 950,
        880, 910, 850, 870,  840, 840, 850, 840, 840, 840, 890,  810, 810, 820, 800, 770, 760,  740,  750, 760, 910, 920, 890, 860, 880,
        720, 840, 850, 850,  780, 890, 840, 780, 810, 760, 810,  790, 810, 820, 850, 870, 870,  810,  740, 810, 940, 950, 800, 810, 870,
    };
    double x[100];
    for (int i = 0; i < 100; i++) {
        x[i] = 299.0 + above[i] / 1000.0;
    }
    certified(x, 100, 299.8524, 0.0790105478190518, 1e-12);
}

static void median_and_ends(void **state)
{
    (void)state;
    double odd[5] = {3, -1, 7, 2, 5}, even[4] = {4, 1, 3, 2}, holes[5] = {NAN, 2, INFINITY, 1, -INFINITY}, one[1] = {6};
    struct summary s = summary_of(odd, 5);
    assert_true(s.median == 3 && s.low == -1 && s.high == 7);
    s = summary_of(even, 4);
    assert_true(s.median == 2.5);
    s = summary_of(holes, 5);
    assert_true(s.n == 2 && s.mean == 1.5 && s.median == 1.5);
    s = summary_of(one, 1);
    assert_true(s.n == 1 && s.mean == 6 && isnan(s.sd));
    s = summary_of(NULL, 0);
    assert_true(s.n == 0 && isnan(s.mean) && isnan(s.median));
    double alike[3] = {0.1, 0.1, 0.1};
    assert_true(summary_of(alike, 3).sd < 1e-17);
}

/* Upper 5 %, 2.5 % and 0.5 % points of Student's t as in any table, and of the normal. */
static void tables_of_t_and_normal(void **state)
{
    (void)state;
    const double rows[][4] = {{1, 6.313752, 12.706205, 63.656741}, {2, 2.919986, 4.302653, 9.924843},  {3, 2.353363, 3.182446, 5.840909},
                              {5, 2.015048, 2.570582, 4.032143},   {10, 1.812461, 2.228139, 3.169273}, {30, 1.697261, 2.042272, 2.749996},
                              {120, 1.657651, 1.979930, 2.617421}};
    const double p[3] = {0.95, 0.975, 0.995};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        for (int k = 0; k < 3; k++) {
            double tolerance = rows[i][0] >= 5 ? 2e-5 : 2e-4;
            assert_true(fabs(student_quantile(p[k], rows[i][0]) - rows[i][k + 1]) < tolerance * rows[i][k + 1]);
            assert_true(fabs(student_quantile(1 - p[k], rows[i][0]) + student_quantile(p[k], rows[i][0])) < 1e-9);
        }
    }
    assert_true(fabs(normal_quantile(0.975) - 1.959963984540054) < 1e-9);
    assert_true(fabs(normal_quantile(0.001) + 3.090232306167813) < 1e-9);
    for (double q = 0.0005; q < 1.0; q += 0.01) {
        assert_true(fabs(normal_below(normal_quantile(q)) - q) < 1e-12);
    }
    assert_true(isnan(student_quantile(0.0, 3)) && isnan(student_quantile(0.5, 0.2)) && isnan(normal_quantile(-1)));
}

/* By hand: {1, 2, 3} and {2, 4, 6, 8}: means 2 and 5, variances 1 and 20/3, se² = 1/3 + 5/3 = 2, freedom 4/((1/9)/2 + (25/9)/3) = 4.0755. */
static void before_and_after(void **state)
{
    (void)state;
    double x[3] = {1, 2, 3}, y[4] = {2, 4, 6, 8};
    struct summary before = summary_of(x, 3), after = summary_of(y, 4), none = summary_of(NULL, 0);
    struct difference d = difference_of(&before, &after, 0.9);
    assert_true(fabs(d.mean - 3.0) < 1e-12 && fabs(d.se - sqrt(2.0)) < 1e-12);
    assert_true(fabs(d.freedom - 4.0 / (1.0 / 18.0 + 25.0 / 27.0)) < 1e-9);
    assert_true(fabs(d.low + d.high - 6.0) < 1e-9 && d.high > 3.0 + 2.0 * d.se && d.high < 3.0 + 2.2 * d.se);
    assert_true(isnan(difference_of(&before, &none, 0.9).mean));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numacc1),         cmocka_unit_test(numacc2_to_4),           cmocka_unit_test(michelson),
        cmocka_unit_test(median_and_ends), cmocka_unit_test(tables_of_t_and_normal), cmocka_unit_test(before_and_after),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
