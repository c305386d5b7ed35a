/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The question for the next move, read whole; what is refused of it lies in invalid/. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/next_move.h"

#include <string.h>

static struct next_move_body body;

static bool read_body(const char *json, struct fault *f)
{
    struct arena *a = arena_new(LIMIT_ARENA);
    bool fine = wire_read_next_move(json, strlen(json), a, &body, f);
    arena_free(a);
    return fine;
}

static void as_in_the_contract(void **state)
{
    (void)state;
    assert_true(read_body(
        "{\"deck\":\"shed\",\"stock\":\"blue-90\",\"setup\":\"fast\",\"channel\":\"left\",\"treble_db\":1,\"for_noise_reduction\":true,"
        "\"low_hz\":400,"
        "\"high_hz\":8000,\"moves\":[{\"bias\":0,\"level\":5,\"low_db\":0.1,\"high_db\":-1},{\"bias\":1,\"level\":5}],\"plan\":\"ladder\"}",
        NULL));
    assert_string_equal(body.ask.deck, "shed");
    assert_string_equal(body.ask.stock, "blue-90");
    assert_string_equal(body.ask.setup, "fast");
    assert_int_equal(body.ask.channel, CHANNEL_LEFT);
    assert_true(body.ask.treble_db == 1 && body.ask.for_noise_reduction && body.ask.low_hz == 400 && body.ask.high_hz == 8000);
    assert_int_equal(body.ask.move_count, 2);
    assert_true(body.ask.moves[0].high_db == -1 && !given(body.ask.moves[1].low_db));
    assert_int_equal(body.plan, PLAN_LADDER);
    assert_int_equal(body.tape_class, CLASS_NONE);
}

static void a_class_and_nothing_else(void **state)
{
    (void)state;
    assert_true(read_body("{\"deck\":\"shed\",\"class\":\"reel-high-output\"}", NULL));
    assert_int_equal(body.tape_class, CLASS_REEL_HIGH_OUTPUT);
    assert_int_equal(body.plan, PLAN_SINGLE);
    assert_int_equal(body.ask.move_count, 0);
    assert_false(given(body.ask.treble_db) || given(body.ask.low_hz));
}

static void each_allocation_fails(void **state)
{
    (void)state;
    for (long n = 1;; n++) {
        struct fault f = {0};
        struct arena *a = arena_new(LIMIT_ARENA);
        mem_fail_at(n, 1);
        bool fine = wire_read_next_move("{\"deck\":\"shed\",\"class\":\"type-1\"}", 32, a, &body, &f);
        mem_fail_at(0, 0);
        arena_free(a);
        assert_int_equal(mem_alive(), 0);
        if (fine)
            break;
        assert_int_equal(f.kind, FAULT_MEMORY);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_in_the_contract),
        cmocka_unit_test(a_class_and_nothing_else),
        cmocka_unit_test(each_allocation_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
