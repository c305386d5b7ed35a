/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members' keys: several, with scope and expiry; revoked, rotated, used; each change leaves its event. RFC 6750 asks no more than that a revoked
 * token is refused; the rest is the club's own rule.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>

static const uint8_t *hash_of(int n)
{
    static uint8_t hash[DIGEST_BYTES];
    char text[20];
    snprintf(text, sizeof text, "bb1_%d", n);
    key_hash(text, hash);
    return hash;
}

struct seen {
    int valid, all;
    struct key_record last;
    enum role role;
};

static bool count_key(void *user, const struct key_record *k, const struct member_record *m)
{
    struct seen *s = user;
    s->valid++;
    s->last = *k;
    s->role = m->role;
    return true;
}

static bool count_all(void *user, const struct key_record *k, const struct member_record *m)
{
    struct seen *s = user;
    (void)m;
    s->all++;
    s->last = *k;
    return true;
}

static struct seen look(struct store *s, int64_t member)
{
    struct seen seen = {0};
    struct reader *r = reader_take(s, NULL);
    assert_int_equal(walk_keys(r, count_key, &seen, NULL), READ_OK);
    assert_int_equal(walk_member_keys(r, member, count_all, &seen, NULL), READ_OK);
    reader_give(r);
    return seen;
}

static int64_t joined(struct store *s, const char *name, enum role role, int n)
{
    struct key_wish wish = {.hash = hash_of(n), .name = "first", .expires_us = CLOCK_NONE};
    int64_t id, key;
    assert_true(store_member_join(s, 0, name, role, &wish, &id, &key, NULL));
    return id;
}

static void scopes_are_bounds(void **state)
{
    (void)state;
    static const enum role want[3][4] = {{ROLE_NONE, ROLE_READER, ROLE_LOGGER, ROLE_STEWARD},
                                         {ROLE_NONE, ROLE_READER, ROLE_READER, ROLE_READER},
                                         {ROLE_NONE, ROLE_READER, ROLE_LOGGER, ROLE_LOGGER}};
    for (int scope = SCOPE_ALL; scope <= SCOPE_LOG; scope++)
        for (int role = ROLE_NONE; role <= ROLE_STEWARD; role++)
            assert_int_equal(role_within((enum role)role, (enum key_scope)scope), want[scope][role]);
}

static void several_a_member(void **state)
{
    struct scratch *s = *state;
    struct fault f = {.kind = FAULT_NONE};
    int64_t id = joined(s->store, "Anna", ROLE_STEWARD, 1), key = 0;
    struct key_wish wish = {.hash = hash_of(2), .name = "phone", .scope = SCOPE_LOG, .expires_us = clock_now_us() + 3600000000LL};
    assert_true(store_key_add(s->store, id, id, &wish, &key, &f));
    struct seen seen = look(s->store, id);
    assert_int_equal(seen.valid, 2);
    assert_int_equal(seen.last.id, key);
    assert_string_equal(seen.last.name, "phone");
    assert_int_equal(seen.last.scope, SCOPE_LOG);
    assert_int_equal(seen.last.expires_us, wish.expires_us);
    assert_true(seen.last.revoked_us == CLOCK_NONE && seen.last.last_used_us == CLOCK_NONE);

    wish.hash = hash_of(3);
    assert_false(store_key_add(s->store, 0, id + 1, &wish, &key, &f));
    assert_int_equal(f.kind, FAULT_UNKNOWN);
    fault_clear(&f);

    /* rotated: the old one is over, the new one like it */
    int64_t fresh = 0;
    assert_true(store_key_rotate(s->store, id, id, seen.last.id, hash_of(4), &fresh, &f));
    seen = look(s->store, id);
    assert_int_equal(seen.valid, 2);
    assert_int_equal(seen.all, 3);
    assert_int_equal(seen.last.id, fresh);
    assert_string_equal(seen.last.name, "phone");
    assert_int_equal(seen.last.scope, SCOPE_LOG);
    assert_memory_equal(seen.last.hash, hash_of(4), DIGEST_BYTES);

    assert_true(store_key_revoke(s->store, id, id, fresh, &f));
    assert_true(store_key_revoke(s->store, id, id, fresh, &f)); /* again: nothing happens */
    assert_int_equal(look(s->store, id).valid, 1);
    assert_false(store_key_rotate(s->store, id, id, fresh, hash_of(5), NULL, &f));
    assert_string_equal(f.items[0].code, "key-ended");
    fault_clear(&f);
    assert_false(store_key_revoke(s->store, id, id + 1, fresh, &f)); /* of another member */
    assert_string_equal(f.items[0].code, "unknown-key");
    assert_int_equal(ask(s->path, "SELECT count(*) FROM event"), 4); /* member-added, key-added, key-rotated, key-revoked */
    assert_int_equal(ask(s->path, "SELECT count(*) FROM event WHERE what = 'key-revoked' AND member = 1 AND subject = 'Anna'"), 1);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM event WHERE detail LIKE '%bb1_%'"), 0);
}

static void members_change(void **state)
{
    struct scratch *s = *state;
    struct fault f = {.kind = FAULT_NONE};
    int64_t anna = joined(s->store, "Anna", ROLE_STEWARD, 1), bert = joined(s->store, "Bert", ROLE_READER, 2);
    assert_false(store_member_change(s->store, anna, anna, NULL, ROLE_READER, &f));
    assert_string_equal(f.items[0].code, "last-steward");
    fault_clear(&f);
    assert_true(store_member_change(s->store, anna, bert, NULL, ROLE_STEWARD, &f));
    assert_true(store_member_change(s->store, anna, anna, NULL, ROLE_READER, &f)); /* now there is another */
    assert_false(store_member_change(s->store, anna, anna, "Bert", ROLE_NONE, &f));
    assert_string_equal(f.items[0].code, "name-taken");
    fault_clear(&f);
    assert_true(store_member_change(s->store, bert, anna, "Anne", ROLE_NONE, &f));
    struct member_record m;
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(read_member(r, anna, &m, NULL), READ_OK);
    assert_int_equal(read_member(r, 77, &m, NULL), READ_NONE);
    reader_give(r);
    assert_string_equal(m.name, "Anne");
    assert_int_equal(m.role, ROLE_READER);
    /* rows written from now on carry the new name: no cache keeps the old one */
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write w = {.kind = WRITE_CALIBRATION, .calibration = &c, .member = anna};
    write_now(s->store, &w);
    assert_string_equal(w.stamp.author, "Anne");
    assert_false(store_member_change(s->store, bert, 77, NULL, ROLE_READER, &f));
    assert_int_equal(f.kind, FAULT_UNKNOWN);
}

static void uses_only_go_forward(void **state)
{
    struct scratch *s = *state;
    int64_t id = joined(s->store, "Anna", ROLE_STEWARD, 1);
    struct key_use uses[] = {{look(s->store, id).last.id, 5000}, {999, 1}};
    assert_true(store_keys_used(s->store, uses, 2, NULL));
    assert_int_equal(look(s->store, id).last.last_used_us, 5000);
    uses[0].at_us = 4000;
    assert_true(store_keys_used(s->store, uses, 1, NULL));
    assert_int_equal(look(s->store, id).last.last_used_us, 5000);
    assert_true(store_keys_used(s->store, NULL, 0, NULL));
    assert_int_equal(ask(s->path, "SELECT count(*) FROM event"), 1);
}

static bool list_member(void *user, const struct member_record *m, int keys, int64_t last_used_us)
{
    char *out = user;
    (void)last_used_us;
    size_t n = strlen(out);
    snprintf(out + n, 200 - n, "%s:%d:%d ", m->name, (int)m->role, keys);
    return true;
}

static void authors_of_other_clubs_are_no_members(void **state)
{
    struct scratch *s = *state;
    joined(s->store, "Bert", ROLE_LOGGER, 1);
    joined(s->store, "Anna", ROLE_STEWARD, 2);
    make_pair(s->store);
    struct calibration c = a_calibration("deck-a", "stock-a");
    struct write w = {.kind = WRITE_CALIBRATION,
                      .calibration = &c,
                      .imported = true,
                      .origin = "club-b",
                      .member_name = "Zoe",
                      .may_correct_others = true};
    write_now(s->store, &w);
    char list[200] = "";
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(walk_members(r, list_member, list, NULL), READ_OK);
    reader_give(r);
    assert_string_equal(list, "Anna:3:1 Bert:2:1 ");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scopes_are_bounds),
        cmocka_unit_test_setup_teardown(several_a_member, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(members_change, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(uses_only_go_forward, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(authors_of_other_clubs_are_no_members, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
