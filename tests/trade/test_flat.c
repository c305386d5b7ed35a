/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Flat equivalents: the two lines and their solution, forwards, backwards, and their variance against finite differences. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/flat.h"

#include <math.h>

static struct flat_row row_at(double bias, double level, double low, double high)
{
    return (struct flat_row){.setting = {bias, level},
                             .low_db = low,
                             .high_db = high,
                             .treble_db = ABSENT,
                             .method = METHOD_FLAT,
                             .meter_step_db = ABSENT,
                             .slopes = {.a = 0.15, .b = 1.6}};
}

/* Reads what the two lines give at a setting and asks where flat was. */
static void lines_are_undone(void **state)
{
    (void)state;
    const double need[2] = {0.7, -0.4};
    for (double bias = -2.0; bias <= 2.0; bias += 0.5) {
        for (double level = -1.5; level <= 1.5; level += 0.5) {
            struct flat_row r = row_at(bias, level, 0, 0);
            struct flat_result f;
            flat_expect(&r.slopes, bias - need[0], level - need[1], &r.low_db, &r.high_db);
            flat_equivalent(&r, &f);
            assert_true(fabs(f.value[0] - need[0]) < 1e-12);
            assert_true(fabs(f.value[1] - need[1]) < 1e-12);
            assert_true(f.read);
        }
    }
}

/* By hand: bias 1, level 0.5, low −0.2, high +0.675: lift 0.875, a + b = 1.75, so 0.5 dB more bias; level 0.5 + 0.2 − 0.15·0.5 = 0.625. */
static void worked_example(void **state)
{
    (void)state;
    struct flat_row r = row_at(1.0, 0.5, -0.2, 0.675);
    struct flat_result f;
    flat_equivalent(&r, &f);
    assert_true(fabs(f.value[0] - 1.5) < 1e-12);
    assert_true(fabs(f.value[1] - 0.625) < 1e-12);
    assert_true(fabs(f.correction[0] - 0.5) < 1e-12);
}

static void brighter_than_wanted_needs_more_bias(void **state)
{
    (void)state;
    struct flat_row r = row_at(0, 0, 0, 1.0);
    struct flat_result f;
    flat_equivalent(&r, &f);
    assert_true(f.value[0] > 0.0);
    assert_true(f.value[1] < 0.0); /* and a little less record level */
}

/* A member who wanted a lift and logged no readings is taken to have hit it: serving the same lift again gives the same dials. */
static void wanted_treble_goes_round(void **state)
{
    (void)state;
    for (double treble = -3.0; treble <= 3.0; treble += 0.75) {
        struct flat_row r = row_at(0.3, -0.6, ABSENT, ABSENT);
        struct flat_result f;
        double back[2], low, high;
        r.treble_db = treble;
        flat_equivalent(&r, &f);
        assert_false(f.read);
        flat_to_setting(&r.slopes, f.value, treble, back);
        assert_true(fabs(back[0] - 0.3) < 1e-12 && fabs(back[1] + 0.6) < 1e-12);
        flat_expect(&r.slopes, back[0] - f.value[0], back[1] - f.value[1], &low, &high);
        assert_true(fabs(low) < 1e-12 && fabs(high - treble) < 1e-12);
        assert_true(treble <= 0.0 || f.value[0] > 0.3); /* a lift was had by less bias than flat */
    }
}

/* With readings the wanted treble does not matter: what was read is used. */
static void readings_outrank_the_wish(void **state)
{
    (void)state;
    struct flat_row r = row_at(0.3, 0.1, -0.1, 1.4);
    struct flat_result plain, wished;
    flat_equivalent(&r, &plain);
    r.treble_db = 2.0;
    flat_equivalent(&r, &wished);
    assert_true(plain.value[0] == wished.value[0] && plain.value[1] == wished.value[1]);
}

static void only_flat_results_are_corrected(void **state)
{
    (void)state;
    for (int m = METHOD_FLAT; m < METHOD_COUNT; m++) {
        struct flat_row r = row_at(0.3, 0.1, -0.5, 1.5);
        struct flat_result f;
        r.method = (enum bias_method)m;
        r.treble_db = 1.0;
        flat_equivalent(&r, &f);
        assert_int_equal(f.value[0] != 0.3, m == METHOD_FLAT);
        assert_int_equal(f.read, m == METHOD_FLAT);
    }
}

/* One reading alone is no pair: as if there were none. */
static void half_a_reading_is_none(void **state)
{
    (void)state;
    struct flat_row r = row_at(0.3, 0.1, ABSENT, 1.5);
    struct flat_result f;
    flat_equivalent(&r, &f);
    assert_true(f.value[0] == 0.3 && f.value[1] == 0.1 && !f.read);
}

/* First-order variance of the slopes by finite differences of the correction itself. */
static void slope_variance_is_the_delta_method(void **state)
{
    (void)state;
    const double h = 1e-5;
    struct flat_row r = row_at(0.2, 0.1, -0.3, 1.1);
    struct flat_result f, up, down;
    double by_a[2], by_b[2];
    for (int s = 0; s < 2; s++) {
        struct flat_row u = r, d = r;
        *(s ? &u.slopes.b : &u.slopes.a) += h;
        *(s ? &d.slopes.b : &d.slopes.a) -= h;
        flat_equivalent(&u, &up);
        flat_equivalent(&d, &down);
        for (int k = 0; k < 2; k++) {
            (s ? by_b : by_a)[k] = (up.value[k] - down.value[k]) / (2.0 * h);
        }
    }
    r.slopes.a_se = 0.12;
    r.slopes.b_se = 0.4;
    r.slopes.ab_cov = -0.02;
    flat_equivalent(&r, &f);
    for (int k = 0; k < 2; k++) {
        double want = by_a[k] * by_a[k] * 0.12 * 0.12 + by_b[k] * by_b[k] * 0.16 + 2.0 * by_a[k] * by_b[k] * -0.02;
        assert_true(fabs(f.variance[k] - want) < 1e-8);
    }
}

/* Rounding to steps is uniform: step²/12, through the same division by a + b. */
static void steps_add_their_rounding(void **state)
{
    (void)state;
    struct flat_row r = row_at(0, 0, 0, 0);
    struct flat_result f;
    r.meter_step_db = 1.0;
    r.dial_step_db[0] = 0.5;
    r.dial_step_db[1] = 0.2;
    flat_equivalent(&r, &f);
    double part = 0.15 / 1.75;
    assert_true(fabs(f.variance[0] - (2.0 / 12.0 / (1.75 * 1.75) + 0.25 / 12.0)) < 1e-12);
    assert_true(fabs(f.variance[1] - (((1 - part) * (1 - part) + part * part) / 12.0 + 0.04 / 12.0)) < 1e-12);
}

static void tones_too_near_stay_finite(void **state)
{
    (void)state;
    struct flat_row r = row_at(0, 0, 0.1, 0.4);
    struct flat_result f;
    r.slopes = (struct slopes){.a = -0.1, .a_se = 0.2, .b = 0.1, .b_se = 0.2};
    flat_equivalent(&r, &f);
    assert_true(isfinite(f.value[0]) && fabs(f.value[0]) <= 0.3 / SLOPES_SUM_MIN + 1e-12);
    assert_true(f.variance[0] > 0.25); /* and not believed much */
}

static void learned_dial_carries_its_doubt(void **state)
{
    (void)state;
    struct flat_row r = row_at(2.0, 1.0, ABSENT, ABSENT);
    struct flat_result f;
    r.worth_rel_se[0] = 0.25;
    flat_equivalent(&r, &f);
    assert_true(fabs(f.variance[0] - 0.25) < 1e-12);
    assert_true(f.variance[1] == 0.0);
}

static void row_of_a_deck_without_a_dial(void **state)
{
    (void)state;
    struct deck d;
    struct calibration c;
    deck_init(&d);
    calibration_init(&c);
    d.bias_dial = (struct dial){
        .present = true, .low = -5, .high = 5, .step = 0.5, .zero = 0, .plus = PLUS_LESS, .scale = SCALE_DB, .db_per_unit = 0.8};
    c.bias = 2.0;
    c.low_db = -0.2;
    c.high_db = 0.3;
    d.meter_step_db = 0.5;
    struct slopes_at at;
    slope_table_ask(NULL, &d, (struct slope_kind){CLASS_TYPE_1, ABSENT, ABSENT, ABSENT}, NULL, &at);
    struct flat_row r = flat_row_of(&c, &d, &at);
    assert_true(fabs(r.setting[0] + 1.6) < 1e-12);
    assert_true(r.setting[1] == 0.0 && r.dial_step_db[1] == 0.0);
    assert_true(fabs(r.dial_step_db[0] - 0.4) < 1e-12);
    assert_true(r.meter_step_db == 0.5 && r.slopes.b == 1.6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_are_undone),
        cmocka_unit_test(worked_example),
        cmocka_unit_test(brighter_than_wanted_needs_more_bias),
        cmocka_unit_test(wanted_treble_goes_round),
        cmocka_unit_test(readings_outrank_the_wish),
        cmocka_unit_test(only_flat_results_are_corrected),
        cmocka_unit_test(half_a_reading_is_none),
        cmocka_unit_test(slope_variance_is_the_delta_method),
        cmocka_unit_test(steps_add_their_rounding),
        cmocka_unit_test(tones_too_near_stay_finite),
        cmocka_unit_test(learned_dial_carries_its_doubt),
        cmocka_unit_test(row_of_a_deck_without_a_dial),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
