/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One transaction: a refused row takes no neighbour down, not even one that fails half-way; atomic and dry slices; other processes;
 * memory and disk that fail.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>

#define ROWS 6

/* Six calibrations as one slice; `spoil` is the one that will not do. */
struct six {
    struct calibration c[ROWS];
    struct write w[ROWS];
};

static void six_rows(struct six *x)
{
    memset(x, 0, sizeof *x);
    for (int i = 0; i < ROWS; i++) {
        x->c[i] = a_calibration("deck-a", "stock-a");
        x->c[i].move_count = 2;
        x->c[i].moves[0] = x->c[i].moves[1] = (struct move){i, 1, 2, 3};
        x->w[i] = (struct write){.kind = WRITE_CALIBRATION, .calibration = &x->c[i], .may_correct_others = true};
    }
}

static void refused_by_a_rule(void **state)
{
    struct scratch *s = *state;
    struct six x;
    make_pair(s->store);
    six_rows(&x);
    snprintf(x.c[2].deck, sizeof x.c[2].deck, "nowhere");
    assert_true(store_apply(s->store, x.w, ROWS, false, false, NULL));
    for (int i = 0; i < ROWS; i++) {
        if (i == 2)
            assert_refused(x.w[i], FAULT_UNACCEPTABLE, "unknown-deck");
        else
            assert_outcome(x.w[i], WRITE_CREATED);
    }
    assert_int_equal(x.w[5].stamp.seq, 7); /* 3, 4, refused, 5, 6, 7 */
}

/* A row whose second statement breaks a CHECK after its first was written: only a savepoint undoes the first. */
static void failing_half_way(void **state)
{
    struct scratch *s = *state;
    struct six x;
    make_pair(s->store);
    six_rows(&x);
    x.c[3].proof_count = 1;
    x.c[3].proof[0] = (struct proof){ABSENT, 1, 1}; /* never passes the checks above the store */
    assert_true(store_apply(s->store, x.w, ROWS, false, false, NULL));
    for (int i = 0; i < ROWS; i++)
        if (i != 3)
            assert_outcome(x.w[i], WRITE_CREATED);
    assert_int_equal(x.w[3].outcome, WRITE_REFUSED);
    assert_int_equal(x.w[3].fault.kind, FAULT_INTERNAL);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration"), ROWS - 1);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration_move"), 2 * (ROWS - 1));
    assert_int_equal(store_last_seq(s->store), 2 + ROWS - 1);
    /* a revision that fails half-way leaves the state before it standing */
    struct calibration c = x.c[0];
    c.proof_count = 1;
    c.proof[0].hz = ABSENT;
    struct write w = put_calibration(s->store, &c, "*");
    assert_int_equal(w.outcome, WRITE_REFUSED);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration WHERE replaced_by IS NOT NULL"), 0);
}

static void atomic_is_all_or_none(void **state)
{
    struct scratch *s = *state;
    struct six x;
    struct fault f = {.kind = FAULT_NONE};
    make_pair(s->store);
    six_rows(&x);
    snprintf(x.c[4].stock, sizeof x.c[4].stock, "nowhere");
    assert_false(store_apply(s->store, x.w, ROWS, true, false, &f));
    assert_string_equal(f.items[0].code, "atomic");
    assert_refused(x.w[4], FAULT_UNACCEPTABLE, "unknown-stock");
    for (int i = 0; i < ROWS; i++)
        if (i != 4)
            assert_outcome(x.w[i], WRITE_PENDING); /* nothing became of it */
    assert_int_equal(store_last_seq(s->store), 2);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration"), 0);
    snprintf(x.c[4].stock, sizeof x.c[4].stock, "stock-a");
    assert_true(store_apply(s->store, x.w, ROWS, true, false, &f));
    assert_int_equal(store_last_seq(s->store), 2 + ROWS);
}

static int hook_calls;
static void count_hook(void *user, struct write *const *writes, int count)
{
    (void)user, (void)writes, (void)count;
    hook_calls++;
}

static void dry_run_tells_and_leaves_nothing(void **state)
{
    struct scratch *s = *state;
    struct six x;
    make_pair(s->store);
    hook_calls = 0;
    store_on_commit(s->store, count_hook, NULL);
    six_rows(&x);
    struct deck d = a_deck("deck-b");
    x.w[0] = (struct write){.kind = WRITE_DECK, .deck = &d, .may_correct_others = true};
    snprintf(x.c[1].deck, sizeof x.c[1].deck, "deck-b"); /* known only inside the dry run */
    snprintf(x.c[2].deck, sizeof x.c[2].deck, "nowhere");
    x.c[5] = x.c[4];
    assert_true(store_apply(s->store, x.w, ROWS, false, true, NULL));
    assert_outcome(x.w[0], WRITE_CREATED);
    assert_outcome(x.w[1], WRITE_CREATED);
    assert_refused(x.w[2], FAULT_UNACCEPTABLE, "unknown-deck");
    assert_outcome(x.w[5], WRITE_SAME);
    assert_false(store_apply(s->store, x.w, ROWS, true, true, NULL));
    assert_int_equal(hook_calls, 0);
    assert_int_equal(store_last_seq(s->store), 2);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM deck"), 1);
    struct calibration c = a_calibration("deck-b", "stock-a"); /* and the id of an undone deck is not remembered */
    assert_refused(put_calibration(s->store, &c, NULL), FAULT_UNACCEPTABLE, "unknown-deck");
    store_on_commit(s->store, NULL, NULL);
}

/* Twice the same in one group: the second sees the first. */
static void doubles_inside_a_group(void **state)
{
    struct scratch *s = *state;
    struct six x;
    make_pair(s->store);
    six_rows(&x);
    for (int i = 1; i < ROWS; i++)
        x.c[i] = x.c[0];
    x.c[3].bias = 9;
    x.c[4].bias = 9;
    x.w[4].if_match = "*";
    assert_true(store_apply(s->store, x.w, ROWS, false, false, NULL));
    assert_outcome(x.w[0], WRITE_CREATED);
    assert_outcome(x.w[1], WRITE_SAME);
    assert_int_equal(x.w[1].stamp.seq, 3);
    assert_refused(x.w[3], FAULT_CONFLICT, "other-content");
    assert_outcome(x.w[4], WRITE_REVISED);
    assert_refused(x.w[5], FAULT_CONFLICT, "other-content"); /* the first content again, but no longer what stands */
}

static void another_process_writes_meanwhile(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    assert_false(store_changed_outside(s->store));
    struct store *other = store_open(&(struct store_options){.path = s->path}, NULL);
    assert_non_null(other);
    struct calibration c = a_calibration("deck-a", "stock-a"), d = a_calibration("deck-a", "stock-a");
    assert_int_equal(put_calibration(other, &c, NULL).stamp.seq, 3);
    assert_int_equal(put_calibration(s->store, &d, NULL).stamp.seq, 4); /* numbers stay gapless over both */
    assert_true(store_changed_outside(s->store));
    assert_false(store_changed_outside(s->store));
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_SAME);
    store_close(other);
}

static void noticed_within_a_second_without_writing(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct store *other = store_open(&(struct store_options){.path = s->path}, NULL);
    member_called(other, "New", ROLE_LOGGER);
    store_close(other);
    bool noticed = false;
    for (int64_t until = clock_monotonic_us() + 5000000; !noticed && clock_monotonic_us() < until;) {
        struct timespec t = {.tv_nsec = 20000000};
        nanosleep(&t, NULL);
        noticed = store_changed_outside(s->store);
    }
    assert_true(noticed);
}

static void a_newer_program_took_over(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    char back[60];
    snprintf(back, sizeof back, "PRAGMA user_version = %d", s->store->version);
    tell(s->path, "PRAGMA user_version = 9");
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_refused(put_calibration(s->store, &c, NULL), FAULT_STORE, "newer-file");
    assert_null(reader_take(s->store, NULL));
    tell(s->path, back);
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
}

/* A transaction of somebody else that does not end: the group is refused as busy or, should it end in time, written. */
static void commit_times_never_fall(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    tell(s->path, "UPDATE stock_state SET stored_us = 32503680000000000"); /* a clock that ran far ahead, once */
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write w = put_calibration(s->store, &c, NULL);
    assert_outcome(w, WRITE_CREATED);
    assert_int_equal(w.stamp.stored_us, 32503680000000000);
    assert_int_equal(store_last_commit_us(s->store), 32503680000000000);
}

/* The hard way for SQLite's own memory: a limit that a growing row hits. Whatever happens, rows and answers agree. */
static void our_own_memory_fails(void **state)
{
    struct scratch *s = *state;
    struct six x;
    make_pair(s->store);
    for (long n = 1; n < 50; n++) {
        struct fault f = {.kind = FAULT_NONE};
        six_rows(&x);
        mem_fail_at(n, 1);
        bool ok = store_apply(s->store, x.w, ROWS, false, false, &f);
        mem_fail_at(0, 0);
        if (ok) {
            assert_int_equal(store_last_seq(s->store), 2 + ROWS);
            return;
        }
        assert_int_equal(f.kind, FAULT_MEMORY);
        assert_int_equal(store_last_seq(s->store), 2);
    }
    fail();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(refused_by_a_rule, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(failing_half_way, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(atomic_is_all_or_none, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(dry_run_tells_and_leaves_nothing, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(doubles_inside_a_group, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(another_process_writes_meanwhile, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(noticed_within_a_second_without_writing, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(a_newer_program_took_over, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(commit_times_never_fall, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(our_own_memory_fails, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
