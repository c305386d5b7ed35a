/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What becomes of one write: the contract's 201, 200, 409, 412, 403 as the store decides them, and RFC 9110's entity tags.
 */
#include "scratch.h"

#include "ground/etag.h"

#include <stdio.h>
#include <string.h>

static void new_same_other_revised(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write first = put_calibration(s->store, &c, NULL);
    assert_outcome(first, WRITE_CREATED);
    assert_int_equal(first.stamp.seq, 3);
    assert_int_equal(first.stamp.revision, 1);

    struct write again = put_calibration(s->store, &c, NULL);
    assert_outcome(again, WRITE_SAME);
    assert_int_equal(again.stamp.seq, 3);
    assert_string_equal(again.stamp.etag, first.stamp.etag);

    c.bias = 2;
    struct write other = put_calibration(s->store, &c, NULL);
    assert_refused(other, FAULT_CONFLICT, "other-content");
    assert_non_null(strstr(other.fault.items[0].detail, "If-Match"));
    struct write wrong = put_calibration(s->store, &c, "\"1-0000000000000000\"");
    assert_refused(wrong, FAULT_PRECONDITION, "wrong-etag");

    struct write revised = put_calibration(s->store, &c, quoted(&first.stamp));
    assert_outcome(revised, WRITE_REVISED);
    assert_int_equal(revised.stamp.seq, 4); /* refusals take no number */
    assert_int_equal(revised.stamp.revision, 2);
    assert_string_not_equal(revised.stamp.etag, first.stamp.etag);

    struct write retried = put_calibration(s->store, &c, quoted(&first.stamp)); /* the reply was lost */
    assert_outcome(retried, WRITE_SAME);
    assert_int_equal(retried.stamp.seq, 4);

    c.bias = 2.5;
    assert_refused(put_calibration(s->store, &c, quoted(&first.stamp)), FAULT_PRECONDITION, "wrong-etag"); /* two people, one state */
    c.bias = 1.5; /* back to what it was: a third revision, not the first again */
    struct write back = put_calibration(s->store, &c, quoted(&revised.stamp));
    assert_outcome(back, WRITE_REVISED);
    assert_int_equal(back.stamp.revision, 3);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration"), 3); /* the old ones are kept */
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration WHERE replaced_by IS NULL"), 1);
}

static void star_matches_what_is_there(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_refused(put_calibration(s->store, &c, "*"), FAULT_PRECONDITION, "wrong-etag");
    assert_refused(put_calibration(s->store, &c, "\"1-00\""), FAULT_PRECONDITION, "wrong-etag");
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
    c.level = 101;
    assert_outcome(put_calibration(s->store, &c, " * "), WRITE_REVISED);
}

static void every_kind_keeps_the_rule(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct deck d = a_deck("deck-a");
    struct stock t = a_stock("stock-a");
    struct service v = a_service("deck-a");
    struct deck_check k = a_check("deck-a");
    assert_outcome(put_service(s->store, &v, NULL), WRITE_CREATED);
    assert_outcome(put_check(s->store, &k, NULL), WRITE_CREATED);
    struct write same[] = {put_deck(s->store, &d, NULL), put_stock(s->store, &t, NULL), put_service(s->store, &v, NULL),
                           put_check(s->store, &k, NULL)};
    for (int i = 0; i < 4; i++)
        assert_outcome(same[i], WRITE_SAME);
    d.meter_step_db = .5;
    t.hub_mm = 22;
    v.resets = true;
    k.low_db = 1;
    assert_refused(put_deck(s->store, &d, NULL), FAULT_CONFLICT, "other-content");
    assert_refused(put_stock(s->store, &t, NULL), FAULT_CONFLICT, "other-content");
    assert_refused(put_service(s->store, &v, NULL), FAULT_CONFLICT, "other-content");
    assert_refused(put_check(s->store, &k, NULL), FAULT_CONFLICT, "other-content");
    assert_outcome(put_deck(s->store, &d, quoted(&same[0].stamp)), WRITE_REVISED);
    assert_outcome(put_stock(s->store, &t, quoted(&same[1].stamp)), WRITE_REVISED);
    assert_outcome(put_service(s->store, &v, quoted(&same[2].stamp)), WRITE_REVISED);
    struct write last = put_check(s->store, &k, quoted(&same[3].stamp));
    assert_outcome(last, WRITE_REVISED);
    assert_int_equal(last.stamp.seq, 8);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM deck_state"), 2);
}

static void void_and_after(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_refused(put_void(s->store, &c, "never there"), FAULT_UNKNOWN, "unknown-calibration");
    c.move_count = 1;
    c.moves[0] = (struct move){1, 2, 3, 4};
    struct write made = put_calibration(s->store, &c, NULL);
    struct write gone = put_void(s->store, &c, "wrong deck");
    assert_outcome(gone, WRITE_REVISED);
    assert_true(gone.stamp.is_void);
    assert_int_equal(gone.stamp.seq, made.stamp.seq + 1);
    assert_int_equal(gone.stamp.revision, 1);
    assert_string_not_equal(gone.stamp.etag, made.stamp.etag);
    struct write again = put_void(s->store, &c, "once more");
    assert_outcome(again, WRITE_SAME);
    assert_string_equal(again.stamp.void_reason, "wrong deck");
    assert_int_equal(again.stamp.seq, gone.stamp.seq);

    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_SAME); /* a retry of the PUT stays harmless */
    c.bias = 3;
    assert_refused(put_calibration(s->store, &c, quoted(&gone.stamp)), FAULT_CONFLICT, "void");
    assert_refused(put_calibration(s->store, &c, NULL), FAULT_CONFLICT, "void");

    struct reader *r = reader_take(s->store, NULL);
    struct calibration back;
    struct stamp stamp;
    assert_int_equal(read_calibration(r, &c.id, s->arena, &back, &stamp, NULL), READ_OK);
    assert_true(stamp.is_void);
    assert_int_equal(back.move_count, 1);
    assert_true(back.moves[0].high_db == 4);
    reader_give(r);

    struct write w = {.kind = WRITE_VOID, .calibration = &c, .if_match = "\"9-x\"", .may_correct_others = true};
    c = a_calibration("deck-a", "stock-a");
    put_calibration(s->store, &c, NULL);
    write_now(s->store, &w);
    assert_refused(w, FAULT_PRECONDITION, "wrong-etag");
}

static struct write by(struct store *s, int64_t member, const struct calibration *c, const char *if_match, bool steward)
{
    struct write w = {.kind = WRITE_CALIBRATION, .calibration = c, .if_match = if_match, .member = member, .may_correct_others = steward};
    write_now(s, &w);
    return w;
}

static void only_the_author_or_a_steward(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    int64_t anna = member_called(s->store, "Anna", ROLE_LOGGER), bert = member_called(s->store, "Bert", ROLE_LOGGER),
            chief = member_called(s->store, "Chief", ROLE_STEWARD);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write made = by(s->store, anna, &c, NULL, false);
    assert_outcome(made, WRITE_CREATED);
    assert_string_equal(made.stamp.member, "Anna");
    assert_outcome(by(s->store, bert, &c, NULL, false), WRITE_SAME); /* saying the same is nobody's harm */
    c.bias = 0;
    assert_refused(by(s->store, bert, &c, quoted(&made.stamp), false), FAULT_ROLE, "not-the-author");
    assert_refused(by(s->store, bert, &c, NULL, false), FAULT_CONFLICT, "other-content");
    struct write corrected = by(s->store, chief, &c, quoted(&made.stamp), true);
    assert_outcome(corrected, WRITE_REVISED);
    assert_string_equal(corrected.stamp.member, "Chief");
    assert_string_equal(corrected.stamp.author, "Anna");
    c.bias = 1;
    struct write own = by(s->store, anna, &c, quoted(&corrected.stamp), false); /* still hers */
    assert_outcome(own, WRITE_REVISED);
    struct write v = {.kind = WRITE_VOID, .calibration = &c, .member = bert, .void_reason = "no"};
    write_now(s->store, &v);
    assert_refused(v, FAULT_ROLE, "not-the-author");
    v = (struct write){.kind = WRITE_VOID, .calibration = &c, .member = chief, .void_reason = "yes", .may_correct_others = true};
    write_now(s->store, &v);
    assert_outcome(v, WRITE_REVISED);
    assert_string_equal(v.stamp.member, "Anna"); /* who wrote the revision, not who voided it */
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration WHERE member = (SELECT id FROM member WHERE name = 'Chief')"), 2);

    struct calibration open = a_calibration("deck-a", "stock-a"); /* written before the club had members */
    put_calibration(s->store, &open, NULL);
    open.bias = -1;
    assert_refused(by(s->store, anna, &open, "*", false), FAULT_ROLE, "not-the-author");
    assert_refused(by(s->store, 0, &open, "*", false), FAULT_ROLE, "not-the-author");
    struct deck d = a_deck("deck-a"); /* decks belong to all */
    d.heads = 2;
    struct write w = {.kind = WRITE_DECK, .deck = &d, .if_match = "*", .member = bert};
    write_now(s->store, &w);
    assert_outcome(w, WRITE_REVISED);
}

static void unknown_references(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-x", "stock-x");
    struct write w = put_calibration(s->store, &c, NULL);
    assert_refused(w, FAULT_UNACCEPTABLE, "unknown-deck");
    assert_string_equal(w.fault.items[0].field, "deck");
    assert_string_equal(w.fault.items[1].code, "unknown-stock"); /* both are said */
    struct service v = a_service("deck-x");
    assert_refused(put_service(s->store, &v, NULL), FAULT_UNACCEPTABLE, "unknown-deck");
    struct deck_check k = a_check("deck-x");
    assert_refused(put_check(s->store, &k, NULL), FAULT_UNACCEPTABLE, "unknown-deck");
    c = a_calibration("deck-a", "stock-a");
    w = by(s->store, 77, &c, NULL, false);
    assert_int_equal(w.outcome, WRITE_REFUSED); /* a member who is not there */
    assert_int_equal(store_last_seq(s->store), 2);
}

static struct write imported(struct store *s, const struct calibration *c, int revision, const char *origin, const char *member,
                             bool make_void)
{
    struct write w = {.kind = WRITE_CALIBRATION,
                      .calibration = c,
                      .imported = true,
                      .revision = revision,
                      .origin = origin,
                      .member_name = member,
                      .make_void = make_void,
                      .void_reason = make_void ? "misentry" : NULL,
                      .may_correct_others = true};
    assert_true(store_apply(s, &w, 1, false, false, NULL));
    return w;
}

static void imports(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write first = imported(s->store, &c, 2, "club-b", "Zoe", false);
    assert_outcome(first, WRITE_CREATED);
    assert_int_equal(first.stamp.revision, 2);
    assert_string_equal(first.stamp.origin, "club-b");
    assert_string_equal(first.stamp.member, "Zoe");
    assert_outcome(imported(s->store, &c, 2, "club-b", "Zoe", false), WRITE_SAME);

    struct calibration newer = c;
    newer.bias = 4;
    assert_refused(imported(s->store, &newer, 2, "club-b", "Zoe", false), FAULT_CONFLICT, "other-content");
    assert_refused(imported(s->store, &newer, 0, "club-b", "Zoe", false), FAULT_CONFLICT, "other-content");
    struct write revised = imported(s->store, &newer, 5, "club-b", "Yan", false);
    assert_outcome(revised, WRITE_REVISED);
    assert_int_equal(revised.stamp.revision, 5);
    assert_string_equal(revised.stamp.member, "Yan");
    assert_string_equal(revised.stamp.author, "Zoe");
    struct write known = imported(s->store, &c, 2, "club-b", "Zoe", false); /* an older export: a state we had and corrected */
    assert_outcome(known, WRITE_SAME);
    assert_int_equal(known.stamp.revision, 5);

    struct write gone = imported(s->store, &newer, 5, "club-b", "Yan", true);
    assert_outcome(gone, WRITE_REVISED);
    assert_string_equal(gone.stamp.void_reason, "misentry");
    assert_outcome(imported(s->store, &newer, 5, "club-b", "Yan", true), WRITE_SAME);
    assert_outcome(imported(s->store, &newer, 5, "club-b", "Yan", false), WRITE_SAME);
    struct calibration dead = a_calibration("deck-a", "stock-a");
    struct write born_void = imported(s->store, &dead, 1, "club-b", NULL, true);
    assert_outcome(born_void, WRITE_CREATED);
    assert_true(born_void.stamp.is_void);

    struct calibration ours = a_calibration("deck-a", "stock-a"); /* our own export comes home */
    struct write home = imported(s->store, &ours, 1, s->store->club_id, "Zoe", false);
    assert_string_equal(home.stamp.origin, "");
    assert_int_equal(ask(s->path, "SELECT count(*) FROM member WHERE name = 'Zoe'"), 2); /* theirs and ours are two people */
    assert_int_equal(member_called(s->store, "Zoe", ROLE_LOGGER),
                     ask(s->path, "SELECT author FROM calibration WHERE seq = (SELECT max(seq) FROM calibration)"));
}

static void tags(void **state)
{
    (void)state; /* RFC 9110, 8.8.3 and 13.1.1: a list, strong comparison, commas inside a tag */
    assert_true(etag_listed("\"a\"", "a", ETAG_STRONG));
    assert_true(etag_listed("\"x\", \"a\"", "a", ETAG_STRONG));
    assert_true(etag_listed("\"x\",\"a\"", "a", ETAG_STRONG));
    assert_false(etag_listed("W/\"a\"", "a", ETAG_STRONG));
    assert_true(etag_listed("W/\"a\", \"a\"", "a", ETAG_STRONG));
    assert_false(etag_listed("\"x,a\"", "a", ETAG_STRONG));
    assert_false(etag_listed("\"ab\"", "a", ETAG_STRONG));
    assert_false(etag_listed("a", "a", ETAG_STRONG));
    assert_false(etag_listed("\"a", "a", ETAG_STRONG));
    assert_false(etag_listed("", "a", ETAG_STRONG));
    assert_false(etag_listed("\"\"", "a", ETAG_STRONG));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(new_same_other_revised, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(star_matches_what_is_there, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(every_kind_keeps_the_rule, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(void_and_after, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(only_the_author_or_a_steward, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(unknown_references, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(imports, scratch_open, scratch_close),
        cmocka_unit_test(tags),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
