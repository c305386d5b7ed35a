/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Class names round, and equalisation turnovers against published figures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/classes.h"

#include <string.h>

static void names_round(void **state)
{
    (void)state;
    static const char *const contract[] = {"type-1",        "type-2",           "type-3",           "type-4",
                                           "reel-standard", "reel-high-output", "reel-extra-output"};
    for (int c = 0; c < CLASS_COUNT; c++) {
        const struct class_info *info = class_info((enum tape_class)c);
        assert_string_equal(info->id, contract[c]);
        assert_int_equal(class_from_id(info->id), c);
        assert_int_equal(info->medium, strncmp(info->id, "reel", 4) ? MEDIUM_CASSETTE : MEDIUM_REEL);
        assert_true(given(equalisation_time_constant_us(info->equalisation)));
    }
    assert_null(class_info(CLASS_NONE));
    assert_null(class_info(CLASS_COUNT));
    assert_int_equal(class_from_id("type-5"), CLASS_NONE);
    assert_int_equal(class_from_id(NULL), CLASS_NONE);
    assert_int_equal(medium_from_id("reel"), MEDIUM_REEL);
    assert_int_equal(medium_from_id("cassette"), MEDIUM_CASSETTE);
    assert_int_equal(medium_from_id(""), MEDIUM_NONE);
    assert_string_equal(medium_id(MEDIUM_NONE), "");
}

/* 120 µs = 1326 Hz and 70 µs = 2274 Hz: "Tape Guide", Audio, June 1984. 3180 µs = 50 Hz: IEC 94-1, from memory. */
static void published_turnovers(void **state)
{
    (void)state;
    assert_true(fabs(equalisation_turnover_hz(120) - 1326) < 0.5);
    assert_true(fabs(equalisation_turnover_hz(70) - 2274) < 0.5);
    assert_true(fabs(equalisation_turnover_hz(3180) - 50) < 0.1);
}

/* Playing with the wrong equalisation: 4.5 dB at 10 kHz, 4.68 dB in the limit (arithmetic from the two time constants). */
static void wrong_equalisation(void **state)
{
    (void)state;
    double f1 = equalisation_turnover_hz(120), f2 = equalisation_turnover_hz(70);
    double at_10k = 10 * log10((1 + pow(10000 / f1, 2)) / (1 + pow(10000 / f2, 2)));
    assert_true(fabs(at_10k - 4.5) < 0.05);
    assert_true(fabs(20 * log10(120.0 / 70) - 4.68) < 0.005);
}

static void time_constants(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double us;
    } fine[] = {{"120us", 120},       {"70 us", 70},       {"17.5us", 17.5},   {"3180+50us", 50},
                {"3180 + 90 us", 90}, {"35\xC2\xB5s", 35}, {"35\xCE\xBCs", 35}};
    static const char *const none[] = {"", "us", "120", "120ms", "-70us", "0us", "1e2us", "chrome"};
    for (size_t i = 0; i < sizeof fine / sizeof *fine; i++)
        assert_true(fabs(equalisation_time_constant_us(fine[i].text) - fine[i].us) < 1e-9);
    for (size_t i = 0; i < sizeof none / sizeof *none; i++)
        assert_false(given(equalisation_time_constant_us(none[i])));
    assert_false(given(equalisation_time_constant_us(NULL)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_round),
        cmocka_unit_test(published_turnovers),
        cmocka_unit_test(wrong_equalisation),
        cmocka_unit_test(time_constants),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
