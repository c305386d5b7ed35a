/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each write, sync, truncation and reading of a page failing in turn, and power lost at each of them. After an error: what was acknowledged is there, what was refused
 * is whole or absent, the file proves itself, the next result is taken. After power loss: nothing acknowledged is lost.
 */
#include "scratch.h"

#include "faulty_disk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define ROWS 4
#define MOST 2000

struct batch {
    struct calibration c[ROWS];
    struct write w[ROWS];
};

static void fill(struct batch *x)
{
    memset(x, 0, sizeof *x);
    for (int i = 0; i < ROWS; i++) {
        x->c[i] = a_calibration("deck-a", "stock-a");
        x->c[i].move_count = 3;
        x->w[i] = (struct write){.kind = WRITE_CALIBRATION, .calibration = &x->c[i], .may_correct_others = true};
    }
}

static void agree(struct scratch *s, const struct batch *x)
{
    struct reader *r = reader_take(s->store, NULL);
    assert_non_null(r);
    for (int i = 0; i < ROWS; i++) {
        struct calibration c;
        struct stamp stamp;
        arena_reset(s->arena);
        enum read_result got = read_calibration(r, &x->c[i].id, s->arena, &c, &stamp, NULL);
        if (x->w[i].outcome == WRITE_CREATED)
            assert_int_equal(got, READ_OK);
        if (got == READ_OK)
            assert_int_equal(c.move_count, 3); /* present, even though refused: whole */
    }
    reader_give(r);
}

static void each_operation(void **state, enum disk_fault fault, bool ever)
{
    struct scratch *s = *state;
    struct batch x;
    make_pair(s->store);
    for (int n = 1; n < MOST; n++) {
        fill(&x);
        disk_fail_at(n, fault, ever);
        struct fault f = {.kind = FAULT_NONE};
        bool ok = store_apply(s->store, x.w, ROWS, false, false, &f);
        bool came = disk_failed();
        disk_fail_at(0, DISK_ERROR, false);
        if (!ok)
            assert_int_equal(f.kind, FAULT_STORE);
        agree(s, &x);
        struct calibration after = a_calibration("deck-a", "stock-a");
        assert_outcome(put_calibration(s->store, &after, NULL), WRITE_CREATED); /* the disk is well again, and so are we */
        assert_int_equal(ask(s->path, "SELECT count(*) - max(seq) FROM change"), 0);
        if (!came)
            return;
    }
    fail();
}

static void errors_once(void **state)
{
    each_operation(state, DISK_ERROR, false);
}
static void errors_for_ever(void **state)
{
    each_operation(state, DISK_ERROR, true);
}
static void full_once(void **state)
{
    each_operation(state, DISK_FULL, false);
}
static void full_for_ever(void **state)
{
    each_operation(state, DISK_FULL, true);
}
static void short_writes(void **state)
{
    each_operation(state, DISK_SHORT, false);
}

static void opening_on_a_bad_disk(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    for (int n = 1; n < MOST; n++) {
        store_close(s->store);
        struct fault f = {.kind = FAULT_NONE};
        disk_fail_at(n, DISK_ERROR, true);
        s->store = store_open(&(struct store_options){.path = s->path}, &f);
        bool came = disk_failed();
        disk_fail_at(0, DISK_ERROR, false);
        if (!s->store) {
            assert_int_equal(f.kind, FAULT_STORE);
            s->store = store_open(&(struct store_options){.path = s->path}, &f);
        }
        assert_non_null(s->store);
        if (!came)
            return;
    }
    fail();
}

static void copies_on_a_bad_disk(void **state)
{
    struct scratch *s = *state;
    char copy[128];
    snprintf(copy, sizeof copy, "%s/copy.db", s->folder);
    make_pair(s->store);
    for (int n = 1; n < MOST; n++) {
        struct fault f = {.kind = FAULT_NONE};
        disk_fail_at(n, DISK_FULL, true);
        bool ok = store_backup(s->store, copy, &f);
        bool came = disk_failed();
        disk_fail_at(0, DISK_ERROR, false);
        assert_true(ok || f.kind == FAULT_STORE);
        if (ok)
            assert_true(store_verify_file(copy, NULL));
        if (!came)
            return;
    }
    fail();
}

/* What is told of a whole file on a disk that would not give a page: never that it is damaged. */
static void told_apart(bool fine, const struct fault *f)
{
    assert_int_equal(fine, !fault_set(f));
    for (int i = 0; i < f->count; i++)
        if (!strcmp(f->items[i].code, "damaged") || strstr(f->items[i].detail, "restore"))
            fail_msg("told as damage: %s", f->items[i].detail);
}

static void pages_the_disk_would_not_give(void **state, bool ever)
{
    struct scratch *s = *state;
    make_pair(s->store);
    for (int i = 0; i < 40; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        put_calibration(s->store, &c, NULL);
    }
    int refused = 0, step = 1;
    for (int n = 1; n < MOST; n += step) {
        struct fault opening = {.kind = FAULT_NONE}, proving = {.kind = FAULT_NONE}, copied = {.kind = FAULT_NONE};
        store_close(s->store);
        disk_fail_at(n, DISK_READ, ever);
        told_apart(store_verify_file(s->path, &copied), &copied);
        s->store = store_open(&(struct store_options){.path = s->path}, &opening);
        told_apart(s->store != NULL, &opening);
        if (s->store)
            told_apart(store_check(s->store, &proving), &proving);
        refused += fault_set(&copied) || fault_set(&opening) || fault_set(&proving);
        bool came = disk_failed();
        disk_fail_at(0, DISK_ERROR, false);
        if (!s->store)
            s->store = store_open(&(struct store_options){.path = s->path}, &opening);
        assert_non_null(s->store);
        if (!came) {
            assert_true(refused > 10);
            return;
        }
        step = n < 60 ? 1 : 1 + n / 20;
    }
    fail();
}
static void reads_once(void **state)
{
    pages_the_disk_would_not_give(state, false);
}
static void reads_for_ever(void **state)
{
    pages_the_disk_would_not_give(state, true);
}

static void findings(void **state)
{
    static const struct {
        const char *finding, *code;
    } cases[] = {
        {"*** in database main ***\nOn tree page 7 cell 3: unable to get the page. error code=266", "disk"},
        {"*** in database main ***\nPage 9: unable to get the page. error code=8458", "disk"},
        {"*** in database main ***\nMain freelist: failed to get page 7", "disk"},
        {"*** in database main ***\nPage 9: unable to get the page. error code=11", "damaged"},
        {"*** in database main ***\nPage 4 is never used", "damaged"},
        {"row 3 missing from index calibration_now", "damaged"},
        {NULL, "memory"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct fault f = {.kind = FAULT_NONE};
        assert_false(sql_finding(cases[i].finding, &f));
        assert_string_equal(f.items[0].code, cases[i].code);
    }
}

/* ---- power ---- */

/* Some groups of results, then rest, as at a bench; returns the ids that were acknowledged. */
static int log_until_dark(struct store *s, struct uuid *acknowledged, int most)
{
    int count = 0;
    for (int round = 0; round < 6; round++) {
        struct batch x;
        fill(&x);
        store_apply(s, x.w, ROWS, false, false, NULL);
        for (int i = 0; i < ROWS; i++)
            if (x.w[i].outcome == WRITE_CREATED && count < most)
                acknowledged[count++] = x.c[i].id;
        if (round == 3)
            sqlite3_wal_checkpoint_v2(s->keeper.db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL); /* as the keeper does */
    }
    return count;
}

/* A club of a few rows in place of one that has grown: each proof takes as long as the club is large. */
static void begin_anew(struct scratch *s)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    char path[128];
    store_close(s->store);
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%s%s", s->path, ends[i]);
        unlink(path);
    }
    s->store = store_open(&(struct store_options){.path = s->path, .create = true}, NULL);
    assert_non_null(s->store);
    make_pair(s->store);
    for (int i = 0; i < 30; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        put_calibration(s->store, &c, NULL);
    }
    scratch_reopen(s);
}

static void power_lost_at_each_operation(void **state)
{
    struct scratch *s = *state;
    static struct uuid acknowledged[6 * ROWS];
    const char *wanted = getenv("POWER_SEEDS"); /* more by hand: POWER_SEEDS=10000 */
    int seeds = wanted ? (int)strtol(wanted, NULL, 10) : 150;
    for (int seed = 1; seed <= seeds; seed++) {
        if (seed % 50 == 1)
            begin_anew(s);
        disk_watch();
        disk_fail_at(1 + seed % 173, DISK_POWER, true);
        int count = log_until_dark(s->store, acknowledged, 6 * ROWS);
        store_close(s->store); /* nothing of it reaches the disk once it is dark */
        disk_power_off((uint64_t)seed);
        struct fault f = {.kind = FAULT_NONE};
        s->store = store_open(&(struct store_options){.path = s->path}, &f);
        if (!s->store)
            fail_msg("seed %d: %s", seed, f.items[0].detail);
        struct reader *r = reader_take(s->store, NULL);
        for (int i = 0; i < count; i++) {
            struct calibration c;
            struct stamp stamp;
            arena_reset(s->arena);
            if (read_calibration(r, &acknowledged[i], s->arena, &c, &stamp, NULL) != READ_OK)
                fail_msg("seed %d: acknowledged result %d of %d is lost", seed, i, count);
        }
        reader_give(r);
        if (!store_check(s->store, &f))
            fail_msg("seed %d: %s", seed, f.items[0].detail);
    }
    print_message("power lost %d times\n", seeds);
}

int main(void)
{
    if (!disk_install())
        return 1;
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(errors_once, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(errors_for_ever, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(full_once, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(full_for_ever, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(short_writes, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(opening_on_a_bad_disk, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(copies_on_a_bad_disk, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(reads_once, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(reads_for_ever, scratch_open, scratch_close),
        cmocka_unit_test(findings),
        cmocka_unit_test_setup_teardown(power_lost_at_each_operation, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
