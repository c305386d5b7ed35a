/* SPDX-License-Identifier: GPL-3.0-or-later
 * Coatings under a gap behave as the trade says they do. Shapes: "common practice, no source" except where a source stands beside the check. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "workbench.h"

#include "trade/records.h"

static const double CASSETTE = 47.625, GAPS[3] = {1.6, 2.5, 3.5};

static double slope(const struct coat *c, double gap, double wavelength, double at)
{
    return (tape_output_db(c, gap, wavelength, at + 0.05) - tape_output_db(c, gap, wavelength, at - 0.05)) / 0.1;
}

static double peak(const struct coat *c, double gap, double wavelength)
{
    double best = -1e9, at = 0;
    for (double b = c->need_db + 2; b < c->need_db + 30; b += 0.05) {
        double out = tape_output_db(c, gap, wavelength, b);
        if (out > best) {
            best = out;
            at = b;
        }
    }
    return at;
}

/* More bias, less treble; the high tone moves much faster than the low one (public discussion of 1983); its peak lies at lower bias and is narrower. */
static void treble_falls_with_bias(void **state)
{
    (void)state;
    for (int c = 0; c <= CLASS_TYPE_4; c++)
        for (int g = 0; g < 3; g++) {
            struct coat k = tape_reference((enum tape_class)c);
            double low = tape_wavelength_um(CASSETTE, 315), high = tape_wavelength_um(CASSETTE, 10000);
            double at = tape_preset_db(&k, GAPS[g], low, -0.03);
            double a = slope(&k, GAPS[g], low, at), b = -slope(&k, GAPS[g], high, at);
            assert_true(a > -0.3 && a < 0.3);
            assert_true(b > 0.8 && b < 2.5);
            assert_true(-slope(&k, GAPS[g], high, at + 2) > b); /* steeper further on */
            double pl = peak(&k, GAPS[g], low), ph = peak(&k, GAPS[g], high);
            assert_true(ph < pl - 1.0);
            double wide = tape_output_db(&k, GAPS[g], low, pl) - tape_output_db(&k, GAPS[g], low, pl + 2);
            double narrow = tape_output_db(&k, GAPS[g], high, ph) - tape_output_db(&k, GAPS[g], high, ph + 2);
            assert_true(narrow > wide);
        }
}

/* A tone between the two has a slope between the two, and one above is steeper still. */
static void slope_grows_with_the_tone(void **state)
{
    (void)state;
    struct coat k = tape_reference(CLASS_TYPE_1);
    double at = tape_preset_db(&k, 2.5, tape_wavelength_um(CASSETTE, 315), -0.03), before = -9;
    static const double hz[5] = {315, 3150, 6300, 10000, 14000};
    for (int i = 0; i < 5; i++) {
        double b = -slope(&k, 2.5, tape_wavelength_um(CASSETTE, hz[i]), at);
        assert_true(b > before);
        before = b;
    }
}

/* Wallace, Bell Syst. Tech. J. 30 (1951): 54.6 dB a wavelength of spacing. Spacing that grows in playback and record alike costs at least that. */
static void spacing_costs_treble(void **state)
{
    (void)state;
    struct coat k = tape_reference(CLASS_TYPE_1), off = k;
    double high = tape_wavelength_um(CASSETTE, 10000), low = tape_wavelength_um(CASSETTE, 315);
    off.spacing_um += 0.5;
    double at = tape_preset_db(&k, 2.5, low, -0.03);
    double lost = tape_output_db(&k, 2.5, high, at) - tape_output_db(&off, 2.5, high, at);
    assert_true(fabs(lost - 54.6 * 0.5 / high) < 1.2);
    assert_true(tape_output_db(&k, 2.5, low, at) - tape_output_db(&off, 2.5, low, at) < 2.0); /* less field reaches it, too */
}

/* A harder coating wants more bias by about as much, and nothing jumps. */
static void need_shifts_the_curve(void **state)
{
    (void)state;
    struct coat k = tape_reference(CLASS_TYPE_2), hard = k;
    hard.need_db += 1.5;
    double low = tape_wavelength_um(CASSETTE, 315);
    for (double b = 6; b < 22; b += 0.25) {
        assert_true(fabs(tape_output_db(&k, 2.5, low, b) - tape_output_db(&hard, 2.5, low, b + 1.5)) < 1e-9);
        assert_true(fabs(tape_output_db(&k, 2.5, low, b + 0.01) - tape_output_db(&k, 2.5, low, b)) < 0.05);
    }
}

/* Recorded over and over a tape loses treble and wants less bias, ever more slowly. */
static void wear_saturates(void **state)
{
    (void)state;
    struct coat fresh = tape_reference(CLASS_TYPE_1);
    struct coat one = tape_worn(fresh, 1, 1), fifteen = tape_worn(fresh, 15, 1), sixty = tape_worn(fresh, 60, 1),
                tough = tape_worn(fresh, 15, 1.6);
    assert_true(fresh.need_db > one.need_db && one.need_db > fifteen.need_db && fifteen.need_db > sixty.need_db);
    assert_true(sixty.spacing_um - fifteen.spacing_um < fifteen.spacing_um - fresh.spacing_um);
    assert_true(tough.spacing_um < fifteen.spacing_um);
}

static struct bench_deck plain_deck(void)
{
    struct bench_deck d = {.gap_um = 2.6, .contact = 1, .preset_slope = -0.03, .unsteadiness = 1};
    deck_init(&d.record);
    d.record.medium = MEDIUM_CASSETTE;
    struct dial dial = {.present = true, .low = -5, .high = 5, .step = 0.25, .zero = 0, .scale = SCALE_DB, .db_per_unit = 1};
    d.record.bias_dial = d.record.level_dial = dial;
    bench_deck_ready(&d);
    return d;
}

/* The reference tape on a deck without errors is flat at the detents; errors and the truth answer each other. */
static void truth_is_flat(void **state)
{
    (void)state;
    struct bench_deck d = plain_deck();
    struct bench_stock s = {.coat = tape_reference(CLASS_TYPE_2), .durability = 1};
    struct bench_tape t = bench_tape_of(&s, 1, 0, -1, -1);
    struct bench_place p = {.selector = CLASS_TYPE_2, .position_s = 1e6, .part = 0.5};
    t.weave = 0;
    double truth[2];
    s.coat.need_db += 0;
    for (int i = 0; i < 4; i++) {
        bench_truth(&d, &t, &p, i, truth);
        assert_true(fabs(bench_tone_db(&d, &t, &p, BENCH_LOW, truth[0], truth[1])) < 1e-3);
        assert_true(fabs(bench_tone_db(&d, &t, &p, BENCH_HIGH, truth[0], truth[1]) - i) < 1e-3);
        if (i == 0)
            assert_true(fabs(truth[0]) < 0.12 && fabs(truth[1]) < 0.12); /* the coating weaves by 0.05 dB */
    }
    d.bias_error_db[0][CLASS_TYPE_2] = 0.8; /* a preset 0.8 dB high asks for 0.8 less */
    double off[2];
    bench_truth(&d, &t, &p, 0, truth);
    d.bias_error_db[0][CLASS_TYPE_2] = 0;
    bench_truth(&d, &t, &p, 0, off);
    assert_true(fabs(off[0] - truth[0] - 0.8) < 1e-3);
    d.dial[0] = (struct bench_dial){0, 0.05, 0.06, 1.0}; /* uneven marks */
    bench_truth(&d, &t, &p, -2, truth);
    assert_true(fabs(bench_tone_db(&d, &t, &p, BENCH_HIGH, truth[0], truth[1]) + 2) < 1e-3);
    assert_true(fabs(bench_real_db(&d, BENCH_BIAS, 0)) < 1e-12);
}

/* Handbook practice for reels: come up from below the peak and past it until the tone has dropped. */
static void overbias_passes_the_peak(void **state)
{
    (void)state;
    struct bench_deck d = plain_deck();
    struct bench_stock s = {.coat = tape_reference(CLASS_TYPE_1), .durability = 1};
    struct bench_tape t = bench_tape_of(&s, 1, 0, -1, -1);
    struct bench_place p = {.selector = CLASS_TYPE_1, .position_s = 1e6, .part = 0.5};
    double three = bench_overbias_db(&d, &t, &p, 3), two = bench_overbias_db(&d, &t, &p, 2);
    assert_true(two < three);
    assert_true(bench_tone_db(&d, &t, &p, BENCH_HIGH, three + 0.25, 0) < bench_tone_db(&d, &t, &p, BENCH_HIGH, three - 0.25, 0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(treble_falls_with_bias),   cmocka_unit_test(slope_grows_with_the_tone),
        cmocka_unit_test(spacing_costs_treble),     cmocka_unit_test(need_shifts_the_curve),
        cmocka_unit_test(wear_saturates),           cmocka_unit_test(truth_is_flat),
        cmocka_unit_test(overbias_passes_the_peak),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
