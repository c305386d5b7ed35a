/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Summaries against the certified values of the NIST Statistical Reference Datasets, univariate (data and values from memory;
 * a set whose data were remembered wrongly could not give its certified deviation to ten digits), and t and normal tables.
 * Eight of the nine sets. PiDigits is left out: the first 5,000 digits of pi, computed, do not give the values remembered for it (mean 4.5348). */
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

/* Mavro: 50 transmittances of a filter: mean 2.001856, deviation 0.000429123454003053. */
static void mavro(void **state)
{
    (void)state;
    static const int above[50] = {
        180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160, 140, 130, 130, 150, 150, 160, 150,
        140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200, 200, 210, 220, 230, 240, 250, 270, 260, 260, 260, 270, 260, 250, 240,
    };
    double x[50];
    for (int i = 0; i < 50; i++)
        x[i] = (200000 + above[i]) / 100000.0;
    certified(x, 50, 2.001856, 0.000429123454003053, 1e-12);
}

/* Lew: 200 deflections of a beam: mean -177.435, deviation 277.332168044316. */
static void lew(void **state)
{
    (void)state;
    double x[200] = {
        -213, -564, -35,  -15,  141,  115,  -420, -360, 203,  -338, -431, 194,  -220, -513, 154,  -125, -559, 92,   -21,  -579,
        -52,  99,   -543, -175, 162,  -457, -346, 204,  -300, -474, 164,  -107, -572, -8,   83,   -541, -224, 180,  -420, -374,
        201,  -236, -531, 83,   27,   -564, -112, 131,  -507, -254, 199,  -311, -495, 143,  -46,  -579, -90,  136,  -472, -338,
        202,  -287, -477, 169,  -124, -568, 17,   48,   -568, -135, 162,  -430, -422, 172,  -74,  -577, -13,  92,   -534, -243,
        194,  -355, -465, 156,  -81,  -578, -64,  139,  -449, -384, 193,  -198, -538, 110,  -44,  -577, -6,   66,   -552, -164,
        161,  -460, -344, 205,  -281, -504, 134,  -28,  -576, -118, 156,  -437, -381, 200,  -220, -540, 83,   11,   -568, -160,
        172,  -414, -408, 188,  -125, -572, -32,  139,  -492, -321, 205,  -262, -504, 142,  -83,  -574, 0,    48,   -571, -106,
        137,  -501, -266, 190,  -391, -406, 194,  -186, -553, 83,   -13,  -577, -49,  103,  -515, -280, 201,  300,  -506, 131,
        -45,  -578, -80,  138,  -462, -361, 201,  -211, -554, 32,   74,   -533, -235, 187,  -372, -442, 182,  -147, -566, 25,
        68,   -535, -244, 194,  -351, -463, 174,  -125, -570, 15,   72,   -550, -190, 172,  -424, -385, 198,  -218, -536, 96,
    };
    certified(x, 200, -177.435, 277.332168044316, 1e-14);
}

/* Lottery: 218 numbers drawn: mean 518.958715596330, deviation 291.699727470969. */
static void lottery(void **state)
{
    (void)state;
    double x[218] = {
        162, 671, 933, 414, 788, 730, 817, 33,  536, 875, 670, 236, 473, 167, 877, 980, 316, 950, 456, 92,  517, 557, 956, 954, 104,
        178, 794, 278, 147, 773, 437, 435, 502, 610, 582, 780, 689, 562, 964, 791, 28,  97,  848, 281, 858, 538, 660, 972, 671, 613,
        867, 448, 738, 966, 139, 636, 847, 659, 754, 243, 122, 455, 195, 968, 793, 59,  730, 361, 574, 522, 97,  762, 431, 158, 429,
        414, 22,  629, 788, 999, 187, 215, 810, 782, 47,  34,  108, 986, 25,  644, 829, 630, 315, 567, 919, 331, 207, 412, 242, 607,
        668, 944, 749, 168, 864, 442, 533, 805, 372, 63,  458, 777, 416, 340, 436, 140, 919, 350, 510, 572, 905, 900, 85,  389, 473,
        758, 444, 169, 625, 692, 140, 897, 672, 288, 312, 860, 724, 226, 884, 508, 976, 741, 476, 417, 831, 15,  318, 432, 241, 114,
        799, 955, 833, 358, 935, 146, 630, 830, 440, 642, 356, 373, 271, 715, 367, 393, 190, 669, 8,   861, 108, 795, 269, 590, 326,
        866, 64,  523, 862, 840, 219, 382, 998, 4,   628, 305, 747, 247, 34,  747, 729, 645, 856, 974, 24,  568, 24,  694, 608, 480,
        410, 729, 947, 293, 53,  930, 223, 203, 677, 227, 62,  455, 387, 318, 562, 242, 428, 968,
    };
    struct summary s = summary_of(x, 218);
    assert_true(fabs(s.mean - 518.958715596330) < 5e-13); /* as many places as are certified */
    assert_true(fabs(s.sd - 291.699727470969) < 5e-13);
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
        cmocka_unit_test(numacc1),
        cmocka_unit_test(numacc2_to_4),
        cmocka_unit_test(michelson),
        cmocka_unit_test(mavro),
        cmocka_unit_test(lew),
        cmocka_unit_test(lottery),
        cmocka_unit_test(median_and_ends),
        cmocka_unit_test(tables_of_t_and_normal),
        cmocka_unit_test(before_and_after),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
