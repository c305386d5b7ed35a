/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each of SQLite's allocations failing in turn, once and for ever after, while rows are written, read, copied. Whatever is answered agrees with
 * the rows: a row said to be stored is there with its moves, a refused one is not, numbers stay gapless, and the store goes on afterwards.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>

/* ---- SQLite's allocator with a fuse ---- */
static sqlite3_mem_methods plain;
static atomic_long fuse; /* calls until the failing one; 0 = off, -1 = all fail */
static atomic_bool ever;

static bool blown(void)
{
    long left = atomic_load(&fuse);
    if (left == 0)
        return false;
    if (left < 0)
        return true;
    left = atomic_fetch_sub(&fuse, 1);
    if (left == 1 && atomic_load(&ever))
        atomic_store(&fuse, -1);
    return left == 1;
}

static void *fused_malloc(int n)
{
    return blown() ? NULL : plain.xMalloc(n);
}

static void *fused_realloc(void *p, int n)
{
    return blown() ? NULL : plain.xRealloc(p, n);
}

static void set_fuse(long n, bool for_ever)
{
    atomic_store(&ever, for_ever);
    atomic_store(&fuse, n);
}

#define ROWS 5
#define MOST 20000 /* allocations of one round at most */

struct batch {
    struct calibration c[ROWS];
    struct write w[ROWS];
};

static void fill(struct batch *x, int round)
{
    memset(x, 0, sizeof *x);
    for (int i = 0; i < ROWS; i++) {
        x->c[i] = a_calibration("deck-a", "stock-a");
        x->c[i].bias = round;
        x->c[i].move_count = i;
        x->c[i].proof_count = 1;
        for (int k = 0; k < i; k++)
            x->c[i].moves[k] = (struct move){k, k, k, k};
        x->c[i].proof[0].hz = 1000;
        x->w[i] = (struct write){.kind = WRITE_CALIBRATION, .calibration = &x->c[i], .may_correct_others = true};
    }
}

/* Do rows and answers agree? */
static void agree(struct scratch *s, const struct batch *x)
{
    struct reader *r = reader_take(s->store, NULL);
    assert_non_null(r);
    for (int i = 0; i < ROWS; i++) {
        struct calibration c;
        struct stamp stamp;
        arena_reset(s->arena);
        enum read_result got = read_calibration(r, &x->c[i].id, s->arena, &c, &stamp, NULL);
        if (x->w[i].outcome == WRITE_CREATED) {
            assert_int_equal(got, READ_OK);
            assert_int_equal(stamp.seq, x->w[i].stamp.seq);
            assert_int_equal(c.move_count, i);
            assert_int_equal(c.proof_count, 1);
        } else {
            assert_int_equal(x->w[i].outcome, WRITE_REFUSED);
            assert_true(fault_set(&x->w[i].fault));
            assert_int_equal(got, READ_NONE);
        }
    }
    reader_give(r);
}

static void writing(void **state, bool for_ever)
{
    struct scratch *s = *state;
    struct batch x;
    make_pair(s->store);
    int failed_rounds = 0;
    for (int n = 1; n < MOST; n++) {
        scratch_reopen(s); /* statements are prepared anew, so that preparing fails too */
        fill(&x, n);
        set_fuse(n, for_ever);
        store_apply(s->store, x.w, ROWS, false, false, NULL);
        bool untouched = atomic_load(&fuse) > 0;
        set_fuse(0, false);
        agree(s, &x);
        assert_int_equal(ask(s->path, "SELECT count(*) - max(seq) FROM change"), 0);
        struct calibration after = a_calibration("deck-a", "stock-a");
        assert_outcome(put_calibration(s->store, &after, NULL), WRITE_CREATED);
        if (untouched) {
            assert_true(failed_rounds > 10);
            return;
        }
        for (int i = 0; i < ROWS; i++)
            failed_rounds += x.w[i].outcome == WRITE_REFUSED;
        if (n > 60)
            n += 6; /* the later ones are much alike; each remainder is met over the two runs */
    }
    fail();
}

static void writing_once(void **state)
{
    writing(state, false);
}

static void writing_for_ever(void **state)
{
    writing(state, true);
}

static bool count(void *user, const struct calibration *c, const struct stamp *stamp)
{
    (void)stamp;
    assert_int_equal(c->move_count, 3);
    ++*(int *)user;
    return true;
}

static void reading(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    for (int i = 0; i < 20; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        c.move_count = 3;
        put_calibration(s->store, &c, NULL);
    }
    struct calibration_filter filter = {.deck = "deck-a", .since_us = CLOCK_NONE};
    for (int n = 1; n < MOST; n++) {
        int rows = 0;
        struct fault f = {.kind = FAULT_NONE};
        scratch_reopen(s);
        set_fuse(n, n % 2);
        struct reader *r = reader_take(s->store, &f);
        bool ok = r && walk_calibrations(r, &filter, true, count, &rows, &f) == READ_OK;
        bool untouched = atomic_load(&fuse) > 0;
        reader_give(r);
        set_fuse(0, false);
        if (ok)
            assert_int_equal(rows, 20); /* a walk that says it is through is through */
        else
            assert_int_equal(f.kind, FAULT_MEMORY);
        if (untouched)
            return;
    }
    fail();
}

static void opening(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    for (int n = 1; n < MOST; n += n < 100 ? 1 : 5) {
        struct fault f = {.kind = FAULT_NONE};
        set_fuse(n, true);
        struct store *o = store_open(&(struct store_options){.path = s->path}, &f);
        bool untouched = atomic_load(&fuse) > 0;
        set_fuse(0, false);
        if (!o)
            assert_int_equal(f.kind, FAULT_MEMORY);
        store_close(o);
        if (o && untouched)
            return;
    }
    fail();
}

static void copying(void **state)
{
    struct scratch *s = *state;
    char copy[128];
    snprintf(copy, sizeof copy, "%s/copy.db", s->folder);
    make_pair(s->store);
    bool there = false;
    for (int n = 1; n < MOST; n += 1 + n / 20) {
        struct fault f = {.kind = FAULT_NONE};
        set_fuse(n, true);
        bool ok = store_backup(s->store, copy, &f);
        bool untouched = atomic_load(&fuse) > 0;
        set_fuse(0, false);
        there = there || ok;
        if (!ok)
            assert_true(fault_set(&f));
        if (there)
            assert_true(store_verify_file(copy, NULL)); /* under its name only whole ones */
        if (ok && untouched)
            return;
    }
    fail();
}

int main(void)
{
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &plain) != SQLITE_OK)
        return 1;
    sqlite3_mem_methods fused = plain;
    fused.xMalloc = fused_malloc;
    fused.xRealloc = fused_realloc;
    if (sqlite3_config(SQLITE_CONFIG_MALLOC, &fused) != SQLITE_OK)
        return 1;
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(writing_once, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(writing_for_ever, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(reading, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(opening, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(copying, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
