/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Dial arithmetic: 20·log10 of published percentages, inverses, senses, rounding. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/dial.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct dial make(enum dial_scale scale, double low, double high, double zero, enum dial_plus plus)
{
    struct deck d;
    deck_init(&d);
    struct dial dial = d.bias_dial;
    dial.present = true;
    dial.scale = scale;
    dial.low = low, dial.high = high, dial.zero = zero;
    dial.plus = plus;
    return dial;
}

/* 20·log10 of the percentages people quote for bias knobs, to two decimals. */
static void percent_table(void **state)
{
    (void)state;
    static const double table[][2] = {{80, -1.94}, {90, -0.92}, {100, 0}, {110, 0.83}, {120, 1.58}, {150, 3.52}, {200, 6.02}, {250, 7.96}};
    struct dial d = make(SCALE_PERCENT, 50, 250, 100, PLUS_MORE), ratio = make(SCALE_RATIO, 0.5, 2.5, 1, PLUS_MORE);
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        assert_true(fabs(dial_to_db(&d, 0, table[i][0]) - table[i][1]) < 0.005);
        assert_true(fabs(dial_to_db(&ratio, 0, table[i][0] / 100) - table[i][1]) < 0.005);
    }
    assert_false(given(dial_to_db(&d, 0, 0)));
    assert_false(given(dial_to_db(&d, 0, -20)));
    assert_false(given(dial_to_db(&ratio, 0, 0)));
}

/* A percent dial whose marks count from its centre means the same. */
static void percent_from_zero(void **state)
{
    (void)state;
    struct dial a = make(SCALE_PERCENT, 80, 120, 100, PLUS_MORE), b = make(SCALE_PERCENT, -20, 20, ABSENT, PLUS_MORE);
    for (double x = -20; x <= 20; x += 2.5)
        assert_true(fabs(dial_to_db(&a, 0, 100 + x) - dial_to_db(&b, 0, x)) < 1e-12);
}

static double uniform(double low, double high)
{
    return low + (high - low) * (double)random() / 2147483647.0;
}

static struct dial any_dial(void)
{
    enum dial_scale scale = (enum dial_scale)(random() % 5);
    enum dial_plus plus = random() % 2 ? PLUS_MORE : PLUS_LESS;
    struct dial d;
    switch (scale) {
    case SCALE_PERCENT: d = make(scale, uniform(50, 90), uniform(110, 200), 100, plus); break;
    case SCALE_RATIO: d = make(scale, uniform(0.4, 0.9), uniform(1.1, 3), uniform(0.95, 1.05), plus); break;
    case SCALE_POINTS: {
        d = make(scale, 0, 10, uniform(0, 10), plus);
        double db = uniform(-5, 0), sign = plus == PLUS_LESS && random() % 2 ? -1 : 1;
        d.point_count = 2 + (int)(random() % 6);
        for (int i = 0; i < d.point_count; i++) {
            d.points[i][0] = (i ? d.points[i - 1][0] : 0) + uniform(0.5, 3);
            d.points[i][1] = sign * (db += uniform(0.1, 2));
        }
        break;
    }
    default:
        d = make(scale, uniform(-9, -1), uniform(1, 9), uniform(-1, 1), plus);
        d.db_per_unit = scale == SCALE_DB ? uniform(0.1, 3) : ABSENT;
        break;
    }
    return d;
}

static void inverse_and_slope(void **state)
{
    (void)state;
    srandom(20);
    for (int i = 0; i < 20000; i++) {
        struct dial d = any_dial();
        double learned = uniform(0.1, 2), reading = uniform(d.low, d.high);
        double db = dial_to_db(&d, learned, reading);
        assert_true(fabs(dial_from_db(&d, learned, db) - reading) < 1e-8);
        assert_true(fabs(dial_to_db(&d, learned, dial_zero(&d))) < 1e-12);
        double h = 1e-6, slope = (dial_to_db(&d, learned, reading + h) - dial_to_db(&d, learned, reading - h)) / (2 * h);
        bool kink = false;
        for (int k = 0; k < d.point_count; k++)
            kink = kink || fabs(d.points[k][0] - reading) < 2 * h;
        assert_true(kink || fabs(slope - dial_db_per_unit(&d, learned, reading)) < 1e-5 * (1 + fabs(slope)));
        assert_true((slope > 0) == (d.plus == PLUS_MORE)); /* the sense is told by `plus`, however points were written */
    }
}

static void both_senses_mirror(void **state)
{
    (void)state;
    struct dial a = make(SCALE_LEARN, -5, 5, 0, PLUS_MORE), b = make(SCALE_LEARN, -5, 5, 0, PLUS_LESS);
    for (double x = -5; x <= 5; x += 0.5)
        assert_true(fabs(dial_to_db(&a, 0.7, x) + dial_to_db(&b, 0.7, x)) < 1e-12);
    assert_true(fabs(dial_to_db(&a, 0.7, 2) - 1.4) < 1e-12);
}

/* Points are in dB relative to the dB at zero, and reach on along the end pieces. */
static void points_by_hand(void **state)
{
    (void)state;
    struct dial d = make(SCALE_POINTS, 0, 10, 5, PLUS_MORE);
    const double points[3][2] = {{0, -3}, {5, 1}, {10, 2}};
    memcpy(d.points, points, sizeof points);
    d.point_count = 3;
    assert_true(fabs(dial_to_db(&d, 0, 5)) < 1e-12);
    assert_true(fabs(dial_to_db(&d, 0, 0) + 4) < 1e-12);
    assert_true(fabs(dial_to_db(&d, 0, 2.5) + 2) < 1e-12);
    assert_true(fabs(dial_to_db(&d, 0, 15) - 2) < 1e-12);
    assert_true(fabs(dial_to_db(&d, 0, -5) + 8) < 1e-12);
    assert_true(fabs(dial_from_db(&d, 0, -2) - 2.5) < 1e-12);
}

static void setting_is_on_the_step_and_inside(void **state)
{
    (void)state;
    srandom(21);
    for (int i = 0; i < 20000; i++) {
        struct dial d = any_dial();
        d.step = random() % 2 ? ABSENT : uniform(0.01, 1) * (d.high - d.low) / 8;
        double learned = uniform(0.1, 2), db = uniform(-12, 12), step = dial_step(&d);
        bool beyond;
        double r = dial_set(&d, learned, db, &beyond), wanted = dial_from_db(&d, learned, db);
        assert_true(r >= d.low && r <= d.high);
        double steps = (r - dial_zero(&d)) / step;
        assert_true(fabs(steps - nearbyint(steps)) < 1e-4 || fabs(r - d.low) < 1e-12 || fabs(r - d.high) < 1e-12);
        if (wanted > d.low + step && wanted < d.high - step) {
            assert_false(beyond);
            assert_true(fabs(r - wanted) <= step / 2 + 1e-8);
        }
        if (wanted > d.high + step / 2 + 1e-6) {
            assert_true(beyond);
            assert_true(fabs(r - d.high) < 1e-12);
        }
        if (wanted < d.low - step / 2 - 1e-6) {
            assert_true(beyond);
            assert_true(fabs(r - d.low) < 1e-12);
        }
    }
    struct dial d = make(SCALE_DB, -2, 2, 0, PLUS_MORE);
    d.step = 0.1, d.db_per_unit = 1;
    assert_true(dial_set(&d, 0, 0.29, NULL) == 0.3); /* as it would be typed, not 0.30000000000000004 */
    bool beyond;
    d = make(SCALE_LEARN, -2, 2, 0, PLUS_MORE);
    assert_true(dial_set(&d, 0, 1, &beyond) == 0); /* a worth of nothing reaches nothing */
    assert_true(beyond);
}

static void defaults(void **state)
{
    (void)state;
    static const struct {
        const char *unit;
        enum dial_scale scale;
        double low, high, step, zero;
    } cases[] = {
        {"", SCALE_LEARN, -5, 5, 0.5, 0},     {"mark", SCALE_LEARN, -5, 5, 0.5, 0},      {"marks", SCALE_DB, 0, 10, 0.5, 0},
        {"step", SCALE_LEARN, -8, 8, 1, 0},   {"%", SCALE_PERCENT, 80, 120, 1, 100},     {"", SCALE_PERCENT, -20, 20, 1, 0},
        {"", SCALE_RATIO, 0.5, 1.5, 0.01, 1}, {"o'clock", SCALE_LEARN, 7, 17, 0.25, 12}, {"V", SCALE_LEARN, 0, 3, 0.02, 0},
        {"mark", SCALE_LEARN, 0, 1, 0.01, 0}, {"turn", SCALE_LEARN, 2, 9, 0.05, 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct dial d = make(cases[i].scale, cases[i].low, cases[i].high, ABSENT, PLUS_MORE);
        snprintf(d.unit, sizeof d.unit, "%s", cases[i].unit);
        if (strcmp(cases[i].unit, "mark") == 0 && cases[i].high == 1)
            assert_true(dial_step(&d) <= 0.25);
        else if (cases[i].scale == SCALE_RATIO)
            assert_true(dial_step(&d) > 0 && dial_step(&d) <= 0.25);
        else
            assert_true(fabs(dial_step(&d) - cases[i].step) < 1e-9);
        assert_true(fabs(dial_zero(&d) - cases[i].zero) < 1e-12);
    }
    struct dial d = make(SCALE_LEARN, -5, 5, 0, PLUS_LESS);
    assert_true(fabs(dial_worth_prior(&d).db_per_unit - 0.8) < 1e-12); /* ±4 dB over ten marks */
    assert_true(fabs(dial_worth_prior(&d).se - 0.4) < 1e-12);
    d.low = d.high = ABSENT;
    assert_true(fabs(dial_worth_prior(&d).db_per_unit - DIAL_LEARN_DB_PER_UNIT) < 1e-12);
    d = make(SCALE_PERCENT, 80, 120, 100, PLUS_LESS);
    assert_true(fabs(dial_worth_prior(&d).db_per_unit - 0.08686) < 1e-5); /* a percent is 0.087 dB */
    assert_true(dial_worth_prior(&d).se == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(percent_table),      cmocka_unit_test(percent_from_zero), cmocka_unit_test(inverse_and_slope),
        cmocka_unit_test(both_senses_mirror), cmocka_unit_test(points_by_hand),    cmocka_unit_test(setting_is_on_the_step_and_inside),
        cmocka_unit_test(defaults),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
