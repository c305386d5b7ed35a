/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A fresh record says nothing: every number is not given, whatever lay in memory before. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/records.h"

#include <string.h>

static void nothing_is_given(void **state)
{
    (void)state;
    struct calibration c;
    memset(&c, 0x5a, sizeof c);
    calibration_init(&c);
    const double numbers[] = {c.position_typed, c.position_s,  c.bias,           c.level,           c.eq,     c.drop_db, c.drop_hz,
                              c.low_db,         c.high_db,     c.low_balance_db, c.high_balance_db, c.low_hz, c.high_hz, c.tone_db,
                              c.treble_db,      c.unsteady_db, c.peak_db};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        assert_false(given(numbers[i]));
    assert_true(c.settled);
    assert_false(c.noise_reduction || c.mpx_filter || c.for_noise_reduction);
    assert_int_equal(c.recordings, -1);
    assert_int_equal(c.move_count + c.proof_count, 0);
    assert_true(c.made_at_us == CLOCK_NONE);
    assert_string_equal(c.deck, "");
    assert_null(c.notes);
}

static void decks_and_stocks(void **state)
{
    (void)state;
    struct deck d;
    struct stock s;
    memset(&d, 0x5a, sizeof d);
    memset(&s, 0x5a, sizeof s);
    deck_init(&d);
    stock_init(&s);
    assert_int_equal(d.medium, MEDIUM_NONE);
    assert_int_equal(d.heads, -1);
    assert_false(d.bias_dial.present || d.level_dial.present || d.eq_dial.present);
    assert_int_equal(d.bias_dial.scale, SCALE_NONE);
    assert_false(given(d.bias_dial.low) || given(d.meter_step_db) || given(d.counter.turns_per_count));
    assert_int_equal(s.tape_class, CLASS_NONE);
    assert_false(given(s.length_m) || given(s.sheet_bias_db));
    assert_null(s.notes);
}

static void two_fresh_ones_are_alike(void **state)
{
    (void)state;
    struct service a, b;
    struct deck_check c, d;
    memset(&a, 1, sizeof a), memset(&b, 2, sizeof b), memset(&c, 3, sizeof c), memset(&d, 4, sizeof d);
    service_init(&a), service_init(&b), deck_check_init(&c), deck_check_init(&d);
    assert_memory_equal(&a, &b, sizeof a);
    assert_memory_equal(&c, &d, sizeof c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_given),
        cmocka_unit_test(decks_and_stocks),
        cmocka_unit_test(two_fresh_ones_are_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
