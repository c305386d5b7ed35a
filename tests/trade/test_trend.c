/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Control charts: worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods (typed from memory, checked by their own
 * arithmetic: each table's columns follow from its data), known run lengths, and quiet and changed decks at random. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/trend.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* 6.3.2.3: target 325, k = 0.3175, h = 4.1959 (in the data's unit); the first signal is at sample 14. */
static void handbook_cusum(void **state)
{
    (void)state;
    static const double x[20] = {324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
                                 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350};
    static const double up_table[20] = {0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04};
    static const double down_table[20] = {0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0};
    double z[20], up[20], down[20];
    for (int i = 0; i < 20; i++) {
        z[i] = x[i] - 325.0;
    }
    assert_int_equal(trend_cusum(z, 20, 0.3175, 4.1959, up, down), 13);
    for (int i = 0; i < 20; i++) {
        assert_true(fabs(up[i] - up_table[i]) < 0.0101); /* the table has two decimals */
        assert_true(fabs(down[i] - down_table[i]) < 0.0101);
    }
}

/* 6.3.2.4: EWMA0 = 50, s = 2.0539, lambda = 0.3, three sigma: limits 47.4115 and 52.5884, no signal. */
static void handbook_ewma(void **state)
{
    (void)state;
    static const double x[20] = {52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                                 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    static const double table[20] = {50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
                                     50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
    double chart[20], limit[20];
    assert_int_equal(trend_ewma(x, 20, 50.0, 0.3, 3.0 * 2.0539, true, chart, limit), -1);
    for (int i = 0; i < 20; i++) {
        assert_true(fabs(chart[i] - table[i]) < 0.0051);
        assert_true(fabs(50.0 + limit[i] - 52.5884) < 1e-3 && fabs(50.0 - limit[i] - 47.4115) < 1e-3);
    }
    /* with limits that widen from the start, the first is lambda·L·sigma */
    trend_ewma(x, 20, 50.0, 0.3, 3.0 * 2.0539, false, NULL, limit);
    assert_true(fabs(limit[0] - 0.3 * 3.0 * 2.0539) < 1e-9);
    assert_true(fabs(limit[19] - 2.5884) < 2e-3);
}

static double run_length(double shift, int runs, struct dice *dice)
{
    double total = 0.0;
    for (int i = 0; i < runs; i++) {
        double u = 0.0, d = 0.0, z;
        do {
            z = shift + dice_normal(dice);
            u = fmax(0.0, u + z - 0.5);
            d = fmax(0.0, d - z - 0.5);
            total += 1.0;
        } while (u <= 5.0 && d <= 5.0);
    }
    return total / runs;
}

/* Two-sided CUSUM of k = 0.5, h = 5: 465 in control, 10.4 at a shift of one sigma (Montgomery, Introduction to Statistical Quality Control, table of run
 * lengths; 38.0 at half a sigma, 5.75 at one and a half in the same table: from memory). Tolerance: four standard errors; a run length's sd is about its mean. */
static void known_run_lengths(void **state)
{
    (void)state;
    struct dice dice = {2718};
    int runs = getenv("BIASBOOK_LONG") ? 20000 : 2500;
    double se = 465.0 / sqrt((double)runs);
    assert_true(fabs(run_length(0.0, runs, &dice) - 465.0) < 4.0 * se + 2.0);
    assert_true(fabs(run_length(1.0, runs, &dice) - 10.4) < 0.5);
    assert_true(fabs(run_length(0.5, runs, &dice) - 38.0) < 4.0 * 38.0 / sqrt((double)runs) + 0.3);
    assert_true(fabs(run_length(1.5, runs, &dice) - 5.75) < 0.25);
}

/* The chart of trend_cusum is the one whose run length was just measured. */
static void chart_agrees_with_its_recurrence(void **state)
{
    (void)state;
    struct dice dice = {5};
    double z[300], up[300], down[300], u = 0.0, d = 0.0;
    int first = -1;
    for (int i = 0; i < 300; i++) {
        z[i] = dice_normal(&dice) + (i > 200 ? 1.0 : 0.0);
    }
    int found = trend_cusum(z, 300, 0.5, 5.0, up, down);
    for (int i = 0; i < 300; i++) {
        u = fmax(0.0, u + z[i] - 0.5);
        d = fmax(0.0, d - z[i] - 0.5);
        first = first < 0 && (u > 5.0 || d > 5.0) ? i : first;
        assert_true(up[i] == u && down[i] == d);
    }
    assert_int_equal(found, first);
}

/* ---- decks at random: tapes used three times in a row on average, tails of Student's t with four degrees of freedom, 2 % misentries ---- */

#define NOISE 0.3

static void deck_at_random(struct dice *dice, struct trend_result *r, int n, double tape_sd, double jump, int at)
{
    int64_t time = 1600000000000000LL;
    uint64_t tape = 1;
    double own = tape_sd * dice_normal(dice);
    for (int i = 0; i < n; i++) {
        if (dice_uniform(dice) < 1.0 / 3.0) {
            tape++;
            own = tape_sd * dice_normal(dice);
        }
        time += (int64_t)(86400e6 * (dice_uniform(dice) < 0.5 ? 0.02 : 3.0));
        double chi2 = 0.0;
        for (int k = 0; k < 4; k++) {
            double x = dice_normal(dice);
            chi2 += x * x;
        }
        double t4 = dice_normal(dice) / sqrt(chi2 / 4.0) / sqrt(2.0); /* variance one */
        r[i] = (struct trend_result){time,    tape, own + NOISE * t4 + (i >= at ? jump : 0.0), sqrt(NOISE * NOISE + tape_sd * tape_sd),
                                     tape_sd, false};
        if (dice_uniform(dice) < 0.02) {
            r[i].residual += (dice_uniform(dice) < 0.5 ? -1.0 : 1.0) * (2.0 + 4.0 * dice_uniform(dice));
        }
    }
}

#define RESULTS 110
static struct trend_result results[400];
static struct trend_value values[400];
static int room_int[400];
static double room_double[400];

static int watch(int n, struct trend_signal *out, int most)
{
    return trend_watch(results, n, &trend_usual, values, out, most, room_int, room_double);
}

/* One response of two: at most one false signal in 2,000 charted results, in the long run (BIASBOOK_LONG); the short run allows for its own chance. */
static void quiet_decks_are_left_alone(void **state)
{
    (void)state;
    struct dice dice = {161};
    int decks = getenv("BIASBOOK_LONG") ? 20000 : 1200;
    for (int part = 0; part < 3; part++) {
        double tape_sd = 0.11 * part;
        long charted = 0, signals = 0;
        struct trend_signal s[8];
        for (int i = 0; i < decks; i++) {
            deck_at_random(&dice, results, RESULTS, tape_sd, 0.0, 0);
            signals += watch(RESULTS, s, 8);
            for (int k = 0; k < RESULTS; k++) {
                charted += values[k].charted;
            }
        }
        double allowed = (double)charted / 2000.0;
        print_message("    tape sd %.2f: %ld signals in %ld results\n", tape_sd, signals, charted);
        assert_true((double)signals < allowed + 3.0 * sqrt(allowed));
    }
}

/* Both responses of seven quiet decks of 110 results: at most two false signals; so in nineteen of twenty such clubs at least. */
static void seven_quiet_decks(void **state)
{
    (void)state;
    struct dice dice = {262};
    int clubs = 60, fine = 0;
    for (int c = 0; c < clubs; c++) {
        int signals = 0;
        struct trend_signal s[8];
        for (int deck = 0; deck < 14; deck++) { /* seven, two responses */
            deck_at_random(&dice, results, RESULTS, 0.15, 0.0, 0);
            signals += watch(RESULTS, s, 8);
        }
        fine += signals <= 2;
    }
    assert_true(fine >= 57);
}

/* A jump of 0.9 dB: signalled, its date right to eight results, its size to 0.4 dB. */
static void a_jump_is_found_with_date_and_size(void **state)
{
    (void)state;
    struct dice dice = {363};
    int decks = 300, found = 0, dated = 0, sized = 0, honest = 0;
    for (int i = 0; i < decks; i++) {
        double jump = i % 2 ? 0.9 : -0.9;
        int at = 40 + i % 30, hit = -1;
        struct trend_signal s[8];
        deck_at_random(&dice, results, RESULTS, 0.15, jump, at);
        int n = watch(RESULTS, s, 8);
        for (int k = 0; k < n && k < 8; k++) {
            hit = hit < 0 && s[k].found >= at ? k : hit;
            assert_true(s[k].since <= s[k].found);
        }
        if (hit >= 0) {
            found++;
            dated += abs(s[hit].since - at) <= 8;
            sized += fabs(s[hit].size_db - jump) <= 0.4;
            honest += fabs(s[hit].size_db - jump) <= 3.0 * s[hit].size_se_db;
        }
    }
    print_message("    %d decks: found %.3f, dated %.3f, sized %.3f\n", decks, (double)found / decks, (double)dated / found,
                  (double)sized / found);
    assert_true(found >= 0.98 * decks);
    assert_true(dated >= 0.90 * found && sized >= 0.93 * found);
    assert_true(honest >= 0.95 * found);
}

static void a_slow_drift_is_found(void **state)
{
    (void)state;
    struct dice dice = {464};
    int found = 0;
    for (int i = 0; i < 60; i++) {
        struct trend_signal s[8];
        deck_at_random(&dice, results, 250, 0.1, 0.0, 0);
        for (int k = 0; k < 250; k++) {
            results[k].residual += 1.5 * k / 250.0;
        }
        int n = watch(250, s, 8);
        found += n > 0 && s[0].size_db > 0.0;
    }
    assert_true(found >= 55);
}

/* Single misentries, however wild, are cut and no change. */
static void a_misentry_is_no_change(void **state)
{
    (void)state;
    struct dice dice = {565};
    struct trend_signal s[8];
    for (int i = 0; i < 20; i++) {
        for (int k = 0; k < RESULTS; k++) {
            results[k] = (struct trend_result){k * 86400000000LL, 0, 0.2 * dice_normal(&dice), 0.2, 0.0, false};
        }
        results[30].residual = 40.0;
        results[60].residual = -40.0;
        results[3].residual = 10.0; /* in the baseline too */
        assert_int_equal(watch(RESULTS, s, 8), 0);
    }
}

static void a_reset_begins_again(void **state)
{
    (void)state;
    struct dice dice = {666};
    struct trend_signal s[8];
    for (int k = 0; k < 80; k++) {
        results[k] = (struct trend_result){k * 86400000000LL, 0, 0.2 * dice_normal(&dice) + (k >= 40 ? 1.5 : 0.0), 0.2, 0.0, k == 40};
    }
    assert_int_equal(watch(80, s, 8), 0); /* the service is known: no signal */
    for (int k = 0; k < 80; k++) {
        assert_int_equal(values[k].charted, (k >= 12 && k < 40) || k >= 52);
    }
    results[40].reset = false;
    assert_int_equal(watch(80, s, 8), 1);
    assert_int_equal(s[0].since, 40);
    assert_true(fabs(s[0].size_db - 1.5) < 0.2);
}

static void one_a_tape_and_day(void **state)
{
    (void)state;
    const int64_t day = 86400000000LL;
    struct trend_result r[7] = {{.made_at_us = 10, .tape = 1},     {.made_at_us = 20, .tape = 1}, {.made_at_us = 30, .tape = 2},
                                {.made_at_us = 40, .tape = 0},     {.made_at_us = 50, .tape = 0}, {.made_at_us = day + 1, .tape = 1},
                                {.made_at_us = day + 2, .tape = 2}};
    int kept[7];
    assert_int_equal(trend_thin(r, 7, kept), 6); /* the first of tape 1 on the first day gives way; unknown tapes are their own */
    assert_int_equal(kept[0], 1);
    assert_int_equal(trend_thin(r, 0, kept), 0);
    r[0].made_at_us = -5; /* the day before */
    assert_int_equal(trend_thin(r, 7, kept), 7);
}

static void too_few_results_say_nothing(void **state)
{
    (void)state;
    struct trend_signal s[8];
    for (int n = 0; n <= 12; n++) {
        for (int k = 0; k < n; k++) {
            results[k] = (struct trend_result){k * 86400000000LL, 0, k > 6 ? 5.0 : 0.0, 0.2, 0.0, false};
        }
        assert_int_equal(watch(n, s, 8), 0);
    }
}

/* More changes than there is room for are counted, not written. */
static void many_changes(void **state)
{
    (void)state;
    struct dice dice = {767};
    struct trend_signal s[2];
    memset(s, 0x55, sizeof s);
    for (int k = 0; k < 240; k++) {
        results[k] = (struct trend_result){k * 86400000000LL, 0, 0.1 * dice_normal(&dice) + (k / 40 % 2 ? 1.5 : 0.0), 0.1, 0.0, false};
    }
    int n = watch(240, s, 1);
    assert_true(n >= 4);
    assert_int_equal(s[1].since, 0x55555555);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(handbook_cusum),
        cmocka_unit_test(handbook_ewma),
        cmocka_unit_test(known_run_lengths),
        cmocka_unit_test(chart_agrees_with_its_recurrence),
        cmocka_unit_test(quiet_decks_are_left_alone),
        cmocka_unit_test(seven_quiet_decks),
        cmocka_unit_test(a_jump_is_found_with_date_and_size),
        cmocka_unit_test(a_slow_drift_is_found),
        cmocka_unit_test(a_misentry_is_no_change),
        cmocka_unit_test(a_reset_begins_again),
        cmocka_unit_test(one_a_tape_and_day),
        cmocka_unit_test(too_few_results_say_nothing),
        cmocka_unit_test(many_changes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
