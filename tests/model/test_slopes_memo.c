/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is kept of a deck's slopes is what the table says, also after the deck was changed, without memory, and asked by several threads at once. (slopes_memo.c)
 */
#include "../../server/model/slopes_memo.h"

#include "../../server/ground/memory.h"
#include "../../server/trade/check.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static struct deck a_deck(enum dial_scale scale)
{
    struct deck d;
    deck_init(&d);
    strcpy(d.id, "one");
    strcpy(d.name, "One");
    d.bias_dial =
        (struct dial){.present = true, .low = -5, .high = 5, .scale = scale, .step = ABSENT, .zero = ABSENT, .db_per_unit = ABSENT};
    d.level_dial = d.bias_dial;
    return d;
}

static const struct slope_kind cassette = {.tape_class = CLASS_TYPE_2, .speed_mm_s = 47.625, .low_hz = 315, .high_hz = 10000};
static const struct dial_worth nothing[2], known[2] = {{0.7, 0.1}, {0.5, 0.1}};

static void check(struct slopes_memo *m, int place, const struct deck *d, struct slope_kind kind, const struct dial_worth shared[2])
{
    struct slopes_at want, got;
    slope_table_ask(NULL, d, kind, shared, &want);
    slopes_memo_ask(m, place, NULL, d, kind, shared, &got);
    assert_true(want.slopes.a == got.slopes.a && want.slopes.b == got.slopes.b && want.slopes.a_se == got.slopes.a_se);
    assert_true(want.seen.a == got.seen.a && want.seen.b_se == got.seen.b_se);
    for (int r = 0; r < 2; r++)
        assert_true(want.worth[r].db_per_unit == got.worth[r].db_per_unit && want.worth[r].se == got.worth[r].se &&
                    want.reading_sd[r] == got.reading_sd[r]);
}

static void says_what_the_table_says(void **state)
{
    (void)state;
    struct slopes_memo *m = slopes_memo_new(3);
    struct deck db = a_deck(SCALE_DB), learn = a_deck(SCALE_LEARN);
    db.bias_dial.db_per_unit = db.level_dial.db_per_unit = 0.5;
    struct slope_kind high = cassette;
    high.high_hz = 12500;
    for (int i = 0; i < 3; i++) {
        check(m, 0, &db, cassette, nothing);
        check(m, 1, &learn, cassette, known);
        check(m, 0, &learn, cassette, known); /* the deck was changed */
        check(m, 0, &db, high, nothing);      /* other tones */
        check(m, 1, &learn, cassette, nothing);
        db.meter_step_db = 0.5 + i;
        check(m, 0, &db, cassette, nothing); /* another meter */
        check(m, -1, &db, cassette, nothing);
        check(m, 3, &db, cassette, nothing);
        check(NULL, 0, &db, cassette, nothing);
    }
    slopes_memo_free(m);
    slopes_memo_free(NULL);
    assert_int_equal(mem_alive(), 0);
}

static void memory_runs_out(void **state)
{
    (void)state;
    struct deck learn = a_deck(SCALE_LEARN);
    mem_fail_at(1, 1);
    assert_null(slopes_memo_new(3));
    mem_fail_at(0, 0);
    struct slopes_memo *m = slopes_memo_new(3);
    mem_fail_at(1, 1);
    check(m, 0, &learn, cassette, known);
    mem_fail_at(0, 0);
    check(m, 0, &learn, cassette, known);
    check(m, 0, &learn, cassette, known);
    slopes_memo_free(m);
    assert_int_equal(mem_alive(), 0);
}

static struct slopes_memo *shared_memo;

static void *many_asks(void *user)
{
    struct deck learn = a_deck(SCALE_LEARN);
    for (int i = 0; i < 2000; i++)
        check(shared_memo, i % 50, &learn, cassette, i % 50 % 2 ? known : nothing);
    return user;
}

static void asked_at_once(void **state)
{
    (void)state;
    pthread_t t[4];
    shared_memo = slopes_memo_new(50);
    for (int i = 0; i < 4; i++)
        assert_int_equal(pthread_create(&t[i], NULL, many_asks, NULL), 0);
    for (int i = 0; i < 4; i++)
        pthread_join(t[i], NULL);
    slopes_memo_free(shared_memo);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_what_the_table_says),
        cmocka_unit_test(memory_runs_out),
        cmocka_unit_test(asked_at_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
