/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members, keys and the club's own facts.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>

struct keys {
    int count;
    struct member_record last;
    uint8_t hash[32];
};

static bool add_key(void *user, const struct key_record *key, const struct member_record *m)
{
    struct keys *k = user;
    k->count++;
    k->last = *m;
    memcpy(k->hash, key->hash, 32);
    return true;
}

static struct keys valid_keys(struct store *s)
{
    struct keys k = {.count = 0};
    struct reader *r = reader_take(s, NULL);
    assert_int_equal(walk_keys(r, add_key, &k, NULL), READ_OK);
    reader_give(r);
    return k;
}

static void members_and_their_keys(void **state)
{
    struct scratch *s = *state;
    uint8_t hash[32];
    int64_t id;
    struct fault f = {.kind = FAULT_NONE};
    assert_int_equal(valid_keys(s->store).count, 0);
    key_hash("bb1_x", hash);
    assert_true(store_member_add(s->store, "Anna", ROLE_STEWARD, hash, &id, &f));
    struct keys k = valid_keys(s->store);
    assert_int_equal(k.count, 1);
    assert_int_equal(k.last.id, id);
    assert_int_equal(k.last.role, ROLE_STEWARD);
    assert_string_equal(k.last.name, "Anna");
    assert_true(k.last.added_us > 0);
    assert_memory_equal(k.hash, hash, 32);

    hash[0] ^= 1;
    assert_false(store_member_add(s->store, "Anna", ROLE_READER, hash, &id, &f));
    assert_int_equal(f.kind, FAULT_CONFLICT);
    assert_string_equal(f.items[0].code, "name-taken");
    assert_int_equal(valid_keys(s->store).count, 1);
    fault_clear(&f);
    hash[0] ^= 1;
    assert_false(store_member_add(s->store, "Bert", ROLE_READER, hash, &id, &f)); /* the same key twice: neither key nor member stays */
    assert_int_equal(ask(s->path, "SELECT count(*) FROM member"), 1);
    fault_clear(&f);
    assert_false(store_member_add(s->store, "", ROLE_READER, hash, &id, &f));
    assert_int_equal(f.kind, FAULT_UNACCEPTABLE);
}

static void revoked_and_expired_keys_are_not_valid(void **state)
{
    struct scratch *s = *state;
    member_called(s->store, "A", ROLE_LOGGER);
    member_called(s->store, "B", ROLE_LOGGER);
    member_called(s->store, "C", ROLE_LOGGER);
    member_called(s->store, "D", ROLE_LOGGER);
    tell(s->path, "UPDATE key SET revoked_us = 1 WHERE member = 1; UPDATE key SET expires_us = 1 WHERE member = 2;"
                  "UPDATE key SET expires_us = 9223372036854775807 WHERE member = 3; UPDATE member SET role = 'none' WHERE id = 4");
    struct keys k = valid_keys(s->store);
    assert_int_equal(k.count, 1);
    assert_string_equal(k.last.name, "C");
}

static void facts(void **state)
{
    struct scratch *s = *state;
    char text[64];
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(read_fact(r, "club_id", text, sizeof text, NULL), READ_OK);
    assert_string_equal(text, s->store->club_id);
    assert_int_equal(read_fact(r, "club_name", text, sizeof text, NULL), READ_OK);
    assert_string_equal(text, "");
    reader_give(r);
    assert_true(store_set_fact(s->store, "club_name", "The Oxide Evening", NULL));
    r = reader_take(s->store, NULL);
    assert_int_equal(read_fact(r, "club_name", text, 10, NULL), READ_OK);
    assert_string_equal(text, "The Oxide");
    reader_give(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(members_and_their_keys, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(revoked_and_expired_keys_are_not_valid, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(facts, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
