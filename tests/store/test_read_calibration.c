/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Lists of calibrations: every filter, both directions and every page agree with a plain filter over all rows.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>

#define ROWS 240

/* What was written, by seq. */
struct row {
    int64_t seq, made_at_us;
    int deck, stock, member;
    bool stands;
};
static struct row rows[2 * ROWS];
static int row_count;

static void name(char *out, size_t size, const char *what, int i)
{
    snprintf(out, size, "%s-%d", what, i);
}

static void fill(struct scratch *s)
{
    int64_t members[3];
    char text[32];
    row_count = 0;
    for (int i = 0; i < 3; i++) {
        name(text, sizeof text, "deck", i);
        struct deck d = a_deck(text);
        put_deck(s->store, &d, NULL);
        name(text, sizeof text, "stock", i);
        struct stock t = a_stock(text);
        put_stock(s->store, &t, NULL);
        name(text, sizeof text, "member", i);
        members[i] = member_called(s->store, text, ROLE_LOGGER);
    }
    for (int i = 0; i < ROWS; i++) {
        int deck = i * 7 % 3, stock = i * 11 / 5 % 3, member = i / 3 % 3;
        char ds[32], ts[32];
        name(ds, sizeof ds, "deck", deck);
        name(ts, sizeof ts, "stock", stock);
        struct calibration c = a_calibration(ds, ts);
        c.made_at_us = 1000 + (i * 37 % 100);
        struct write w = {.kind = WRITE_CALIBRATION, .calibration = &c, .member = members[member]};
        write_now(s->store, &w);
        assert_outcome(w, WRITE_CREATED);
        rows[row_count++] = (struct row){w.stamp.seq, c.made_at_us, deck, stock, member, true};
        if (i % 5 == 0) { /* some are corrected, some voided */
            rows[row_count - 1].stands = false;
            c.bias = 3;
            w = i % 2 ? (struct write){.kind = WRITE_VOID, .calibration = &c, .member = members[member], .void_reason = "x"}
                      : (struct write){.kind = WRITE_CALIBRATION, .calibration = &c, .if_match = "*", .member = members[member]};
            write_now(s->store, &w);
            assert_outcome(w, WRITE_REVISED);
            rows[row_count++] = (struct row){w.stamp.seq, c.made_at_us, deck, stock, member, true};
        }
    }
}

struct expected {
    int64_t seqs[2 * ROWS];
    int count, at;
};

static bool wanted(const struct row *r, const struct calibration_filter *f)
{
    char text[32];
    if (!r->stands && !f->all_revisions)
        return false;
    if (f->since_us != CLOCK_NONE && r->made_at_us < f->since_us)
        return false;
    name(text, sizeof text, "deck", r->deck);
    if (f->deck && strcmp(f->deck, text) != 0)
        return false;
    name(text, sizeof text, "stock", r->stock);
    if (f->stock && strcmp(f->stock, text) != 0)
        return false;
    name(text, sizeof text, "member", r->member);
    return !f->member || strcmp(f->member, text) == 0;
}

static void expect_all(struct expected *e, const struct calibration_filter *f)
{
    e->count = e->at = 0;
    for (int i = 0; i < row_count; i++) {
        const struct row *r = &rows[f->newest_first ? row_count - 1 - i : i];
        if (wanted(r, f))
            e->seqs[e->count++] = r->seq;
    }
}

static bool next_is(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct expected *e = user;
    (void)c;
    assert_true(e->at < e->count);
    assert_int_equal(stamp->seq, e->seqs[e->at++]);
    return true;
}

static void all_pages(struct scratch *s, struct calibration_filter f, int limit)
{
    struct expected e;
    expect_all(&e, &f);
    f.limit = limit;
    struct reader *r = reader_take(s->store, NULL);
    for (int before = -1; before != e.at;) {
        before = e.at;
        assert_int_equal(walk_calibrations(r, &f, false, next_is, &e, NULL), READ_OK);
        if (limit)
            assert_true(e.at - before <= limit);
        if (e.at)
            f.after_seq = e.seqs[e.at - 1];
    }
    reader_give(r);
    assert_int_equal(e.at, e.count);
}

static void every_filter_both_ways_every_page(void **state)
{
    struct scratch *s = *state;
    fill(s);
    static const int limits[] = {0, 1, 7, 1000};
    for (int mask = 0; mask < 64; mask++) {
        struct calibration_filter f = {.since_us = mask & 8 ? 1060 : CLOCK_NONE, .newest_first = mask & 16, .all_revisions = mask & 32};
        if (mask & 1)
            f.deck = "deck-1";
        if (mask & 2)
            f.stock = "stock-2";
        if (mask & 4)
            f.member = "member-0";
        for (int k = 0; k < 4; k++)
            all_pages(s, f, limits[k]);
    }
    struct calibration_filter unknown = {.deck = "deck-9", .since_us = CLOCK_NONE};
    assert_int_equal(count_calibrations(s->store, &unknown), 0);
    unknown = (struct calibration_filter){.member = "nobody", .since_us = CLOCK_NONE};
    assert_int_equal(count_calibrations(s->store, &unknown), 0);
}

static bool stop_at_three(void *user, const struct calibration *c, const struct stamp *stamp)
{
    (void)c, (void)stamp;
    return ++*(int *)user < 3;
}

static bool has_moves(void *user, const struct calibration *c, const struct stamp *stamp)
{
    (void)stamp;
    assert_int_equal(c->move_count, *(int *)user);
    return true;
}

static void stops_when_told_and_reads_moves_when_asked(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    for (int i = 0; i < 5; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        c.move_count = 2;
        c.moves[1].bias = i;
        put_calibration(s->store, &c, NULL);
        if (i == 2)
            put_void(s->store, &c, "keeps its moves");
    }
    struct calibration_filter all = {.since_us = CLOCK_NONE};
    struct reader *r = reader_take(s->store, NULL);
    int n = 0, none = 0, two = 2;
    walk_calibrations(r, &all, false, stop_at_three, &n, NULL);
    assert_int_equal(n, 3);
    assert_int_equal(walk_calibrations(r, &all, false, has_moves, &none, NULL), READ_OK);
    assert_int_equal(walk_calibrations(r, &all, true, has_moves, &two, NULL), READ_OK);
    reader_give(r);
}

/* Lists come in order as they are read: nothing is gathered and sorted first, so memory does not grow with the list. */
static void nothing_is_sorted(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    static const enum sql slots[] = {SQL_CALIBRATION_UP, SQL_CALIBRATION_DOWN, SQL_CALIBRATION_LIST_UP, SQL_CALIBRATION_LIST_DOWN};
    struct calibration c = a_calibration("deck-a", "stock-a");
    put_calibration(s->store, &c, NULL);
    struct reader *r = reader_take(s->store, NULL);
    for (int i = 0; i < 4; i++) {
        struct calibration_filter f = {.deck = i & 2 ? "deck-a" : NULL, .since_us = CLOCK_NONE, .newest_first = i & 1};
        int n = 0;
        walk_calibrations(r, &f, false, stop_at_three, &n, NULL);
        assert_int_equal(n, 1);
        assert_non_null(r->c.ready[slots[i]]);
        assert_int_equal(sqlite3_stmt_status(r->c.ready[slots[i]], SQLITE_STMTSTATUS_SORT, 0), 0);
        assert_int_equal(sqlite3_stmt_status(r->c.ready[slots[i]], SQLITE_STMTSTATUS_AUTOINDEX, 0), 0);
    }
    reader_give(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(every_filter_both_ways_every_page, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(stops_when_told_and_reads_moves_when_asked, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(nothing_is_sorted, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
