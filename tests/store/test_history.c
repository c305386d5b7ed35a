/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was before: states in order, undo and undo of undo, what travels between clubs, the log, reviews. The tear-down proves the file's histories.
 */
#include "scratch.h"

#include "store/history.h"

#include <stdio.h>
#include <string.h>

static struct write undo(struct store *s, const struct calibration *c, int64_t member, bool others, const char *if_match)
{
    struct write w = {.kind = WRITE_UNDO, .calibration = c, .member = member, .may_correct_others = others, .if_match = if_match};
    write_now(s, &w);
    return w;
}

struct states {
    int count;
    struct calibration c[10];
    struct stamp stamp[10];
    char by[10][LIMIT_NAME + 1];
};

static bool take(void *user, const struct calibration *c, const struct stamp *stamp, const char *by)
{
    struct states *s = user;
    s->c[s->count] = *c;
    s->stamp[s->count] = *stamp;
    snprintf(s->by[s->count++], sizeof s->by[0], "%s", by);
    return true;
}

static struct states states_of(struct store *s, const struct uuid *id)
{
    static struct states all;
    memset(&all, 0, sizeof all);
    struct reader *r = reader_take(s, NULL);
    enum read_result got = walk_calibration_states(r, id, take, &all, NULL);
    reader_give(r);
    assert_int_equal(got, all.count ? READ_OK : READ_NONE);
    return all;
}

static void undone_and_done_again(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a"), other = c;
    c.move_count = 2;
    c.moves[0] = (struct move){0, 0, 1, -1};
    c.moves[1] = (struct move){0.5, 0, 0.2, 0.1};
    other.bias += 0.5;
    other.move_count = 0;
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
    assert_refused(undo(s->store, &c, 0, true, NULL), FAULT_CONFLICT, "nothing-to-undo");
    assert_outcome(put_calibration(s->store, &other, "*"), WRITE_REVISED);
    assert_refused(undo(s->store, &c, 0, true, "\"1-0\""), FAULT_PRECONDITION, "wrong-etag");
    struct write w = undo(s->store, &c, 0, true, NULL);
    assert_outcome(w, WRITE_REVISED);
    assert_int_equal(w.stamp.revision, 3);
    struct states all = states_of(s->store, &c.id);
    assert_int_equal(all.count, 3);
    assert_true(all.c[0].bias == c.bias && all.c[1].bias == other.bias && all.c[2].bias == c.bias);
    assert_int_equal(all.c[0].move_count, 2); /* moves came back with it */
    assert_true(all.c[0].moves[1].bias == 0.5);
    assert_int_equal(all.c[1].move_count, 0);
    for (int i = 0; i < 3; i++)
        assert_int_equal(all.stamp[i].revision, 3 - i);
    assert_outcome(undo(s->store, &c, 0, true, NULL), WRITE_REVISED);
    assert_true(states_of(s->store, &c.id).c[0].bias == other.bias);
    /* the same content as what stands, put anew: nothing new */
    assert_outcome(put_calibration(s->store, &other, NULL), WRITE_SAME);
    struct uuid none = uuid_make();
    assert_int_equal(states_of(s->store, &none).count, 0);
    struct calibration unknown = a_calibration("deck-a", "stock-a");
    assert_refused(undo(s->store, &unknown, 0, true, NULL), FAULT_UNKNOWN, "unknown-calibration");
}

static void a_void_is_undone(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    int64_t anna = member_called(s->store, "Anna", ROLE_LOGGER), bert = member_called(s->store, "Bert", ROLE_STEWARD);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write w = {.kind = WRITE_CALIBRATION, .calibration = &c, .member = anna};
    write_now(s->store, &w);
    struct write v = {.kind = WRITE_VOID, .calibration = &c, .member = bert, .may_correct_others = true, .void_reason = "wrong tape"};
    write_now(s->store, &v);
    assert_true(v.stamp.is_void);
    assert_refused(undo(s->store, &c, anna + 100, false, NULL), FAULT_ROLE, "not-the-author");
    struct write u = undo(s->store, &c, anna, false, NULL); /* the author may */
    assert_outcome(u, WRITE_REVISED);
    assert_false(u.stamp.is_void);
    assert_string_equal(u.stamp.member, "Anna"); /* who wrote the content */
    struct states all = states_of(s->store, &c.id);
    assert_int_equal(all.count, 3);
    assert_string_equal(all.by[0], "Anna");
    assert_string_equal(all.by[1], "Bert");
    assert_true(all.stamp[1].is_void);
    assert_string_equal(all.stamp[1].void_reason, "wrong tape");
    c.bias += 0.5; /* and it may be corrected again */
    assert_outcome(put_calibration(s->store, &c, quoted(&u.stamp)), WRITE_REVISED);
}

static struct write imported(struct store *s, const struct calibration *c, int revision, bool is_void)
{
    struct write w = {.kind = WRITE_CALIBRATION,
                      .calibration = c,
                      .imported = true,
                      .may_correct_others = true,
                      .origin = "club-b",
                      .member_name = "Zoe",
                      .revision = revision,
                      .make_void = is_void,
                      .void_reason = is_void ? "theirs" : NULL};
    write_now(s, &w);
    return w;
}

static void the_larger_revision_knows_better(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_outcome(imported(s->store, &c, 1, false), WRITE_CREATED);
    assert_outcome(imported(s->store, &c, 1, true), WRITE_REVISED); /* voided there */
    assert_outcome(imported(s->store, &c, 1, false), WRITE_SAME);   /* an older file */
    struct write w = imported(s->store, &c, 2, false);              /* undone there */
    assert_outcome(w, WRITE_REVISED);
    assert_false(w.stamp.is_void);
    assert_int_equal(w.stamp.revision, 2);
    assert_outcome(imported(s->store, &c, 1, true), WRITE_SAME); /* the older void does not come back */
    assert_false(imported(s->store, &c, 2, false).stamp.is_void);
    assert_outcome(imported(s->store, &c, 2, true), WRITE_REVISED);
    struct calibration later = c;
    later.bias += 0.5;
    w = imported(s->store, &later, 3, false); /* undone and corrected there: both at once */
    assert_outcome(w, WRITE_REVISED);
    assert_false(w.stamp.is_void);
}

static void a_nameless_foreign_row_is_nobodys(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    int64_t anna = member_called(s->store, "Anna", ROLE_STEWARD);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write w = {
        .kind = WRITE_CALIBRATION, .calibration = &c, .imported = true, .may_correct_others = true, .origin = "club-b", .member = anna};
    write_now(s->store, &w);
    assert_outcome(w, WRITE_CREATED);
    assert_string_equal(w.stamp.author, ""); /* not whoever imported it */
    assert_string_equal(w.stamp.origin, "club-b");
}

static struct write other_stock(struct store *s, const char *origin, int revision, enum write_conflict on_conflict, const char *name)
{
    static struct stock t;
    t = a_stock("stock-a");
    snprintf(t.name, sizeof t.name, "%s", name);
    struct write w = {.kind = WRITE_STOCK,
                      .stock = &t,
                      .imported = true,
                      .may_correct_others = true,
                      .origin = origin,
                      .revision = revision,
                      .on_conflict = on_conflict};
    write_now(s, &w);
    return w;
}

static void the_same_id_in_two_clubs(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    /* ours, of revision 1; theirs has been revised four times and is another thing all the same */
    assert_refused(other_stock(s->store, "club-b", 5, CONFLICT_ASK, "Theirs"), FAULT_CONFLICT, "other-content");
    struct write w = other_stock(s->store, "club-b", 5, CONFLICT_KEEP, "Theirs");
    assert_outcome(w, WRITE_SAME);
    assert_true(w.kept);
    assert_outcome(other_stock(s->store, "club-b", 5, CONFLICT_TAKE, "Theirs"), WRITE_REVISED);
    assert_outcome(other_stock(s->store, "club-b", 5, CONFLICT_ASK, "Theirs"), WRITE_SAME); /* settled */
    /* our own export coming home with a later revision is no stranger */
    assert_outcome(other_stock(s->store, s->store->club_id, 9, CONFLICT_ASK, "Ours, corrected elsewhere"), WRITE_REVISED);
}

struct deck_states {
    int count;
    char names[5][LIMIT_NAME + 1];
    int setups[5];
};

static bool take_deck_state(void *user, const struct deck *d, const struct stamp *stamp, const char *by)
{
    struct deck_states *s = user;
    (void)stamp, (void)by;
    s->setups[s->count] = d->setup_count;
    snprintf(s->names[s->count++], sizeof s->names[0], "%s", d->name);
    return true;
}

static bool take_stock_state(void *user, const struct stock *t, const struct stamp *stamp, const char *by)
{
    (void)t, (void)stamp, (void)by;
    ++*(int *)user;
    return true;
}

static void states_of_decks_and_stocks(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct deck d = a_deck("deck-a");
    snprintf(d.name, sizeof d.name, "Another name");
    int setups = d.setup_count;
    d.setup_count = 0;
    assert_outcome(put_deck(s->store, &d, "*"), WRITE_REVISED);
    struct deck_states seen = {0};
    int stocks = 0;
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(walk_deck_states(r, "deck-a", take_deck_state, &seen, NULL), READ_OK);
    assert_int_equal(walk_stock_states(r, "stock-a", take_stock_state, &stocks, NULL), READ_OK);
    assert_int_equal(walk_deck_states(r, "nowhere", take_deck_state, &seen, NULL), READ_NONE);
    assert_int_equal(walk_stock_states(r, "nowhere", take_stock_state, &stocks, NULL), READ_NONE);
    reader_give(r);
    assert_int_equal(seen.count, 2);
    assert_string_equal(seen.names[0], "Another name");
    assert_int_equal(seen.setups[0], 0);
    assert_int_equal(seen.setups[1], setups); /* each state with its own parts */
    assert_int_equal(stocks, 1);
}

struct log {
    int count;
    struct journal_entry e[20];
};

static bool take_entry(void *user, const struct journal_entry *e)
{
    struct log *l = user;
    l->e[l->count++] = *e;
    return true;
}

static void the_log(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    int64_t anna = member_called(s->store, "Anna", ROLE_LOGGER), bert = member_called(s->store, "Bert", ROLE_STEWARD);
    struct calibration c = a_calibration("deck-a", "stock-a"), own = a_calibration("deck-a", "stock-a");
    struct write w = {.kind = WRITE_CALIBRATION, .calibration = &c, .member = anna};
    write_now(s->store, &w);
    w = (struct write){.kind = WRITE_CALIBRATION, .calibration = &own, .member = anna};
    write_now(s->store, &w);
    own.bias += 0.5; /* Anna's correction of her own row is nobody's business */
    w = (struct write){.kind = WRITE_CALIBRATION, .calibration = &own, .member = anna, .if_match = "*"};
    write_now(s->store, &w);
    c.bias += 0.5;
    w = (struct write){.kind = WRITE_CALIBRATION, .calibration = &c, .member = bert, .may_correct_others = true, .if_match = "*"};
    write_now(s->store, &w);
    assert_true(store_event_add(s->store, bert, "import", "", "3 rows taken", NULL));
    struct log l = {0};
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(walk_journal(r, NULL, 0, take_entry, &l, NULL), READ_OK);
    assert_int_equal(l.count, 4); /* import, correction, two members */
    assert_string_equal(l.e[0].what, "import");
    assert_string_equal(l.e[1].what, "correction");
    assert_string_equal(l.e[1].who, "Bert");
    assert_string_equal(l.e[1].subject, "Anna");
    char id[UUID_TEXT];
    assert_string_equal(l.e[1].about, uuid_format(&c.id, id));
    struct log rest = {0};
    assert_int_equal(walk_journal(r, &l.e[0], 2, take_entry, &rest, NULL), READ_OK);
    assert_int_equal(rest.count, 2);
    assert_int_equal(rest.e[0].number, l.e[1].number);
    assert_int_equal(rest.e[1].number, l.e[2].number);
    reader_give(r);
}

static bool count_review(void *user, const struct uuid *id, int64_t seq)
{
    (void)id, (void)seq;
    ++*(int *)user;
    return true;
}

static int accepted(struct store *s)
{
    int n = 0;
    struct reader *r = reader_take(s, NULL);
    assert_int_equal(walk_reviews(r, count_review, &n, NULL), READ_OK);
    reader_give(r);
    return n;
}

static void a_verdict_is_of_one_state(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct fault f = {.kind = FAULT_NONE};
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
    assert_true(store_review_accept(s->store, 0, &c.id, &f));
    assert_true(store_review_accept(s->store, 0, &c.id, &f));
    assert_int_equal(accepted(s->store), 1);
    c.bias += 0.5;
    assert_outcome(put_calibration(s->store, &c, "*"), WRITE_REVISED);
    assert_int_equal(accepted(s->store), 0); /* corrected since: to be looked at anew */
    struct uuid none = uuid_make();
    assert_false(store_review_accept(s->store, 0, &none, &f));
    assert_int_equal(f.kind, FAULT_UNKNOWN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(undone_and_done_again, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(a_void_is_undone, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(the_larger_revision_knows_better, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(a_nameless_foreign_row_is_nobodys, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(the_same_id_in_two_clubs, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(states_of_decks_and_stocks, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(the_log, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(a_verdict_is_of_one_state, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
