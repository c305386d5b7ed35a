/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Spool geometry against worked examples and published playing times. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/check.h"
#include "trade/spool.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool close_to(double x, double wanted, double tolerance)
{
    return fabs(x - wanted) <= tolerance;
}

/* Hub radius 11 mm, thickness 11.5 µm (C90), 47.625 mm/s: worked by hand from L = 2π·r0·n + π·t·n²; the winding model is that of published counter formulas
 * (time a quadratic in the count). */
static void worked_c90(void **state)
{
    (void)state;
    static const double table[][3] = {{100, 7.27, 152.7}, {300, 23.99, 503.6}, {600, 54.48, 1143.8}, {1200, 134.96, 2833.9}};
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        double mm = spool_length_mm(11, 11.5, table[i][0]);
        assert_true(close_to(mm / 1000, table[i][1], 0.006));
        assert_true(close_to(mm / CASSETTE_SPEED_MM_S, table[i][2], 0.06));
        assert_true(close_to(spool_turns(11, 11.5, mm), table[i][0], 1e-9));
    }
}

/* Sensitivity at 600 turns: 10.5/11.5/12.5 µm give 18.67/19.06/19.46 min, hubs of 10.7/11.0/11.1 mm 18.67/19.06/19.20 min: hence ±3 % and no better. */
static void sensitivity(void **state)
{
    (void)state;
    static const double thickness[][2] = {{10.5, 18.67}, {11.5, 19.06}, {12.5, 19.46}},
                        hub[][2] = {{10.7, 18.67}, {11.0, 19.06}, {11.1, 19.20}};
    for (int i = 0; i < 3; i++) {
        double minutes = spool_length_mm(11, thickness[i][0], 600) / CASSETTE_SPEED_MM_S / 60;
        assert_true(close_to(minutes, thickness[i][1], 0.006));
        assert_true(close_to(spool_length_mm(hub[i][0], 11.5, 600) / CASSETTE_SPEED_MM_S / 60, hub[i][1], 0.006));
        assert_true(fabs(minutes / 19.06 - 1) < SPOOL_TOLERANCE);
    }
}

static void turns_and_length_are_inverse(void **state)
{
    (void)state;
    srandom(3);
    for (int i = 0; i < 10000; i++) {
        double r0 = 5 + (double)(random() % 600) / 10, t = 5 + (double)(random() % 600) / 10, n = (double)(random() % 50000) / 10;
        assert_true(close_to(spool_turns(r0, t, spool_length_mm(r0, t, n)), n, 1e-8 * (1 + n)));
    }
}

/* A counter that counts half the turns, read 247 at 15 min and 532 at 40 min: A = 2.8918, B = 0.0030440; then 100 -> 319.6 s (true 320.6) and
 * 500 -> 2206.9 s (true 2209.8), worked by hand. */
static void two_timed_readings(void **state)
{
    (void)state;
    struct counter_point p = {45, 247, 900, 532, 2400};
    assert_true(close_to(counter_points_time_s(&p, 100), 319.6, 0.06));
    assert_true(close_to(counter_points_time_s(&p, 500), 2206.9, 0.06));
    assert_true(close_to(counter_points_time_s(&p, 247), 900, 1e-9));
    assert_true(close_to(counter_points_time_s(&p, 532), 2400, 1e-9));
    assert_true(fabs(counter_points_time_s(&p, 100) / (spool_length_mm(11, 11.5, 200) / CASSETTE_SPEED_MM_S) - 1) < 0.004);
    assert_true(fabs(counter_points_time_s(&p, 500) / (spool_length_mm(11, 11.5, 1000) / CASSETTE_SPEED_MM_S) - 1) < 0.004);
    struct counter_point falling = {45, 532, 2400, 247, 900}, flat = {45, 247, 900, 532, 900}, none = {45, 0, 0, 532, 2400};
    assert_false(given(counter_points_time_s(&falling, 100)));
    assert_false(given(counter_points_time_s(&flat, 100)));
    assert_false(given(counter_points_time_s(&none, 100)));
}

static struct deck cassette_deck(void)
{
    struct deck d;
    deck_init(&d);
    d.medium = MEDIUM_CASSETTE;
    return d;
}

static struct stock cassette(double side_minutes)
{
    struct stock s;
    stock_init(&s);
    s.tape_class = CLASS_TYPE_1;
    s.side_minutes = side_minutes;
    return s;
}

/* Minutes a side of C-30, C-45, C-60, C-90, C-120: US Fed. Spec. W-C-1684 (1977); lengths from 47.625 mm/s: C60 85.7, C90 128.6, C120 171.5 m. */
static void playing_times(void **state)
{
    (void)state;
    static const double table[][3] = {{30, 15, 42.86}, {45, 22.5, 64.29}, {60, 30, 85.7}, {90, 45, 128.6}, {120, 60, 171.5}};
    struct deck d = cassette_deck();
    struct setup setup;
    assert_true(deck_setup(&d, "", &setup));
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        struct stock by_minutes = cassette(table[i][1]), by_length = cassette(ABSENT);
        by_length.length_m = table[i][2];
        assert_true(close_to(side_seconds(&by_minutes, &setup) / 30, table[i][0], 1e-9));
        assert_true(close_to(side_seconds(&by_length, &setup) / 60, table[i][1], 0.02));
    }
    struct setup fast = {.id = "fast", .speed_mm_s = 95.25}; /* twice the speed, half the time */
    struct stock c60 = cassette(30);
    assert_true(close_to(side_seconds(&c60, &fast), 900, 1e-9));
    assert_false(given(side_seconds(NULL, &setup)));
}

/* 1200 ft run 64 / 32 / 16 min at 9.5 / 19 / 38 cm/s, 1800 ft ×1.5, 2400 ft ×2; 2500 ft 33.3 min at 38: feet × 12 / (in/s) / 60. */
static void open_reel_running_times(void **state)
{
    (void)state;
    static const double table[][3] = {{1200, 95.25, 64}, {1200, 190.5, 32}, {1200, 381, 16},
                                      {1800, 190.5, 48}, {2400, 190.5, 64}, {2500, 381, 33.3}};
    struct stock s;
    stock_init(&s);
    s.tape_class = CLASS_REEL_STANDARD;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        struct setup setup = {.id = "main", .speed_mm_s = table[i][1]};
        s.length_m = table[i][0] * 0.3048;
        assert_true(close_to(side_seconds(&s, &setup) / 60, table[i][2], 0.04));
    }
}

static struct reel_place place(enum position_kind kind, double typed, const struct deck *d, const struct stock *s)
{
    struct setup setup;
    assert_true(deck_setup(d, "", &setup));
    return place_on_reel(kind, typed, d, &setup, s);
}

static void places(void **state)
{
    (void)state;
    struct deck d = cassette_deck();
    struct stock c90 = cassette(45), unknown = cassette(ABSENT);
    struct reel_place p = place(POSITION_S, 600, &d, &c90);
    assert_true(close_to(p.position_s, 600, 0) && close_to(p.tolerance_s, 0, 0) && close_to(p.part, 600.0 / 2700, 1e-12));
    p = place(POSITION_TURNS, 600, &d, &c90); /* usual hub and thickness of a C90 */
    assert_true(close_to(p.position_s, 1143.8, 0.06) && close_to(p.tolerance_s, 0.03 * 1143.8, 0.1));
    p = place(POSITION_PART, 0.5, &d, &c90);
    assert_true(close_to(p.position_s, 1350, 1e-9) && close_to(p.part, 0.5, 0));
    p = place(POSITION_PART, 0.5, &d, &unknown);
    assert_false(given(p.position_s));
    assert_true(strlen(p.why) > 0);
    p = place(POSITION_PART, 0.5, &d, NULL); /* a class is asked: a usual tape */
    assert_true(close_to(p.position_s, 1350, 1e-9) && p.tolerance_s > 100);
    p = place(POSITION_TURNS, 600, &d, &unknown);
    assert_true(close_to(p.tolerance_s, SPOOL_TOLERANCE_GUESS * p.position_s, 1e-9));
    p = place(POSITION_NONE, ABSENT, &d, &c90);
    assert_false(given(p.position_s) || given(p.part));
    p = place(POSITION_TURNS, 20000, &d, &c90);
    assert_false(given(p.position_s));
    p = place(POSITION_S, 3000, &d, &c90); /* tapes are a little longer than they say */
    assert_true(close_to(p.part, 1, 0));
}

static void counters(void **state)
{
    (void)state;
    struct deck d = cassette_deck();
    struct stock c90 = cassette(45), c60 = cassette(30), unknown = cassette(ABSENT);
    assert_false(given(place(POSITION_COUNTER, 300, &d, &c90).position_s));
    d.counter.kind = COUNTER_TIME;
    assert_true(close_to(place(POSITION_COUNTER, 300, &d, &c90).position_s, 300, 0));
    d.counter.kind = COUNTER_TURNS;
    d.counter.turns_per_count = 2;
    assert_true(close_to(place(POSITION_COUNTER, 300, &d, &c90).position_s, 1143.8, 0.06));
    d.counter.kind = COUNTER_POINTS;
    d.counter.point_count = 1;
    d.counter.points[0] = (struct counter_point){45, 247, 900, 532, 2400};
    assert_true(close_to(place(POSITION_COUNTER, 100, &d, &c90).position_s, 319.6, 0.06));
    struct reel_place p = place(POSITION_COUNTER, 100, &d, &c60); /* readings belong to a tape length */
    assert_false(given(p.position_s));
    assert_true(strlen(p.why) > 0);
    p = place(POSITION_COUNTER, 100, &d, &unknown); /* the only one there is, with doubt */
    assert_true(close_to(p.position_s, 319.6, 0.06) && p.tolerance_s > 30);
    d.counter.points[1] = (struct counter_point){30, 200, 600, 500, 1750};
    d.counter.point_count = 2;
    assert_true(given(place(POSITION_COUNTER, 100, &d, &c60).position_s));
    assert_false(given(place(POSITION_COUNTER, 100, &d, &unknown).position_s));
    struct setup fast = {.id = "fast", .speed_mm_s = 95.25};
    assert_true(close_to(place_on_reel(POSITION_COUNTER, 100, &d, &fast, &c90).position_s, 319.6 / 2, 0.06));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked_c90),
        cmocka_unit_test(sensitivity),
        cmocka_unit_test(turns_and_length_are_inverse),
        cmocka_unit_test(two_timed_readings),
        cmocka_unit_test(playing_times),
        cmocka_unit_test(open_reel_running_times),
        cmocka_unit_test(places),
        cmocka_unit_test(counters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
