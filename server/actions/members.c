/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members and their keys: for stewards; a member sees, rotates and revokes their own keys. A key is shown once, in the reply that makes it. After a change
 * the keyring is read again before the reply goes out, so that a revoked key is refused from then on.
 */
#include "actions.h"
#include "answer.h"

#include "../ground/secrets.h"
#include "../store/people.h"
#include "../wire/people.h"
#include "../wire/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- the path ---- */

static bool path_number(const struct exchange *x, int capture, const char *what, int64_t *out, struct fault *f)
{
    const char *text = x->request.captures[capture];
    char *end;
    long long n = strtoll(text, &end, 10);
    if (*text < '0' || *text > '9' || *end || strlen(text) > 18 || n < 1)
        return fault_add(f, FAULT_UNKNOWN, "id", what, "the path needs a number from the list of members; there is nothing under '%.40s'",
                         text);
    *out = n;
    return true;
}

static bool is_steward(const struct exchange *x)
{
    return x->request.who.role == ROLE_STEWARD;
}

/* Whoever is no steward finds only themselves; whether others exist is not told. */
static bool path_member(const struct exchange *x, int64_t *id, struct fault *f)
{
    if (!path_number(x, 0, "unknown-member", id, f))
        return false;
    return is_steward(x) || (x->request.who.member && *id == x->request.who.member) ||
           fault_add(f, FAULT_ROLE, "id", "not-yours", "you may see and change your own keys only; ask a steward");
}

static bool no_parameters(const struct exchange *x, struct fault *f)
{
    static const char *const none[] = {NULL};
    return parameters_allowed(&x->request, none, f);
}

/* What was written holds for the next request of anybody. Should the keys not be readable just now, the solver tries again. */
static void take_effect(struct house *house)
{
    live_reload_keys(house->live, NULL);
}

/* ---- the list ---- */

struct list {
    struct buffer *b;
    int count;
    int64_t now_us;
};

static void write_member(struct buffer *b, const struct member_record *m)
{
    buffer_format(b, "{\"id\":%lld", (long long)m->id);
    json_member_text(b, "name", m->name);
    json_member_text(b, "role", role_choice((int)m->role));
    json_member_time(b, "added_at", m->added_us, 0);
}

static bool list_member(void *user, const struct member_record *m, int keys, int64_t last_used_us)
{
    struct list *l = user;
    buffer_text(l->b, l->count++ ? ",\n" : "\n");
    write_member(l->b, m);
    json_member_whole(l->b, "keys", keys);
    json_member_time(l->b, "last_used_at", last_used_us, 0);
    buffer_char(l->b, '}');
    return true;
}

static enum action_result list_members(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct list l = {.b = json_body(x)};
    if (!no_parameters(x, &f))
        return answer_fault(x, &f);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    buffer_text(l.b, "{\"members\":[");
    enum read_result got = walk_members(r, list_member, &l, &f);
    reader_give(r);
    if (got == READ_FAILED)
        return answer_fault(x, &f);
    buffer_text(l.b, "]}\n");
    return answer_json(x);
}

/* ---- one member ---- */

struct fresh_key {
    char text[KEY_TEXT];
    uint8_t hash[DIGEST_BYTES];
    int64_t id;
};

static void make_key(struct fresh_key *k)
{
    key_make(k->text);
    key_hash(k->text, k->hash);
}

static void write_fresh(struct buffer *b, const struct fresh_key *k)
{
    json_name(b, "key");
    buffer_format(b, "{\"id\":%lld", (long long)k->id);
    json_member_text(b, "key", k->text);
    buffer_char(b, '}');
}

static enum action_result add_member(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct person_body body;
    struct fresh_key k;
    int64_t id;
    make_key(&k);
    struct key_wish wish = {.hash = k.hash, .name = body.key_name, .expires_us = CLOCK_NONE};
    if (!no_parameters(x, &f) || !wire_read_person(x->request.body, x->request.body_length, false, &body, &f) ||
        !store_member_join(house->store, x->request.who.member, body.name, (enum role)body.role, &wish, &id, &k.id, &f))
        return answer_fault(x, &f);
    take_effect(house);
    struct buffer *b = json_body(x);
    buffer_format(b, "{\"id\":%lld", (long long)id);
    json_member_text(b, "name", body.name);
    json_member_text(b, "role", role_choice(body.role));
    write_fresh(b, &k);
    buffer_text(b, "}\n");
    x->reply.status = 201;
    snprintf(x->reply.location, sizeof x->reply.location, "/api/members/%lld/keys", (long long)id);
    return answer_json(x);
}

enum action_result action_members(struct house *house, struct exchange *x)
{
    return x->request.method == HTTP_POST ? add_member(house, x) : list_members(house, x);
}

enum action_result action_member_put(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct person_body body;
    struct member_record m;
    int64_t id;
    if (!no_parameters(x, &f) || !path_number(x, 0, "unknown-member", &id, &f) ||
        !wire_read_person(x->request.body, x->request.body_length, true, &body, &f) ||
        !store_member_change(house->store, x->request.who.member, id, *body.name ? body.name : NULL, (enum role)body.role, &f))
        return answer_fault(x, &f);
    take_effect(house);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    enum read_result got = read_member(r, id, &m, &f);
    reader_give(r);
    if (got == READ_NONE)
        fault_add(&f, FAULT_UNKNOWN, "id", "unknown-member", "the club has no such member");
    if (got != READ_OK)
        return answer_fault(x, &f);
    struct buffer *b = json_body(x);
    write_member(b, &m);
    buffer_text(b, "}\n");
    return answer_json(x);
}

/* ---- keys ---- */

static bool list_key(void *user, const struct key_record *k, const struct member_record *m)
{
    struct list *l = user;
    (void)m;
    const char *state = k->revoked_us != CLOCK_NONE                                 ? "revoked"
                        : k->expires_us != CLOCK_NONE && k->expires_us <= l->now_us ? "expired"
                                                                                    : "valid";
    buffer_text(l->b, l->count++ ? ",\n" : "\n");
    buffer_format(l->b, "{\"id\":%lld", (long long)k->id);
    json_member_text(l->b, "name", k->name);
    json_member_text(l->b, "scope", scope_choice((int)k->scope));
    json_member_text(l->b, "state", state);
    json_member_time(l->b, "made_at", k->made_us, 0);
    json_member_time(l->b, "expires_at", k->expires_us, 0);
    json_member_time(l->b, "last_used_at", k->last_used_us, 0);
    json_member_time(l->b, "revoked_at", k->revoked_us, 0);
    buffer_char(l->b, '}');
    return true;
}

static enum action_result list_keys(struct house *house, struct exchange *x, int64_t id)
{
    struct fault f = {0};
    struct member_record m;
    struct list l = {.b = json_body(x), .now_us = x->request.now_us};
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    enum read_result got = read_member(r, id, &m, &f);
    if (got == READ_NONE)
        fault_add(&f, FAULT_UNKNOWN, "id", "unknown-member", "the club has no such member");
    if (got == READ_OK) {
        write_member(l.b, &m);
        buffer_text(l.b, ",\"keys\":[");
        got = walk_member_keys(r, id, list_key, &l, &f);
    }
    reader_give(r);
    if (got != READ_OK)
        return answer_fault(x, &f);
    buffer_text(l.b, "]}\n");
    return answer_json(x);
}

enum action_result action_member_keys(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    int64_t id;
    if (!no_parameters(x, &f) || !path_member(x, &id, &f))
        return answer_fault(x, &f);
    return list_keys(house, x, id);
}

static enum action_result answer_fresh(struct exchange *x, int64_t member, const struct fresh_key *k)
{
    struct buffer *b = json_body(x);
    buffer_format(b, "{\"id\":%lld", (long long)k->id);
    json_member_whole(b, "member", member);
    json_member_text(b, "key", k->text);
    buffer_text(b, "}\n");
    x->reply.status = 201;
    snprintf(x->reply.location, sizeof x->reply.location, "/api/members/%lld/keys/%lld", (long long)member, (long long)k->id);
    return answer_json(x);
}

static bool room_for_key(struct house *house, int64_t member, struct fault *f);

enum action_result action_member_key_add(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct key_body body;
    struct fresh_key k;
    int64_t id;
    if (!no_parameters(x, &f) || !path_number(x, 0, "unknown-member", &id, &f) ||
        !wire_read_key_wish(x->request.body, x->request.body_length, &body, &f))
        return answer_fault(x, &f);
    if (body.expires_us != CLOCK_NONE && body.expires_us <= x->request.now_us) {
        fault_add(&f, FAULT_UNACCEPTABLE, "expires_at", "in-the-past",
                  "this key would never be valid; leave 'expires_at' out or give a later time");
        return answer_fault(x, &f);
    }
    make_key(&k);
    struct key_wish wish = {.hash = k.hash, .name = body.name, .scope = (enum key_scope)body.scope, .expires_us = body.expires_us};
    if (!room_for_key(house, id, &f) || !store_key_add(house->store, x->request.who.member, id, &wish, &k.id, &f))
        return answer_fault(x, &f);
    take_effect(house);
    return answer_fresh(x, id, &k);
}

/* ---- one key ---- */

struct looking {
    int64_t key, now_us;
    bool found;
    enum role worth;
    int valid;
};

static bool look_at_key(void *user, const struct key_record *k, const struct member_record *m)
{
    struct looking *l = user;
    l->valid += k->revoked_us == CLOCK_NONE && (k->expires_us == CLOCK_NONE || k->expires_us > l->now_us);
    if (k->id == l->key) {
        l->found = true;
        l->worth = role_within(m->role, k->scope);
    }
    return true;
}

static bool look_at_keys(struct house *house, int64_t member, struct looking *l, struct fault *f)
{
    struct reader *r = reader_take(house->store, f);
    bool ok = r && walk_member_keys(r, member, look_at_key, l, f) == READ_OK;
    reader_give(r);
    return ok;
}

static bool room_for_key(struct house *house, int64_t member, struct fault *f)
{
    struct looking l = {.now_us = clock_now_us()};
    return look_at_keys(house, member, &l, f) &&
           (l.valid < LIMIT_KEYS ||
            fault_add(f, FAULT_UNACCEPTABLE, "id", "too-many-keys", "a member has at most %d keys; revoke some first", LIMIT_KEYS));
}

/* A member's key of smaller scope may not get hold of one of larger scope. */
static bool path_key(struct house *house, const struct exchange *x, int64_t *member, int64_t *key, struct fault *f)
{
    struct looking l = {.now_us = x->request.now_us};
    if (!no_parameters(x, f) || !path_member(x, member, f) || !path_number(x, 1, "unknown-key", key, f))
        return false;
    l.key = *key;
    if (!look_at_keys(house, *member, &l, f))
        return false;
    if (!l.found)
        return fault_add(f, FAULT_UNKNOWN, "key", "unknown-key", "this member has no such key");
    return is_steward(x) || x->request.who.role >= l.worth ||
           fault_add(f, FAULT_ROLE, "key", "larger-scope", "this key may do more than the one you use; use that one, or ask a steward");
}

enum action_result action_member_key_delete(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    int64_t member, key;
    if (!path_key(house, x, &member, &key, &f) || !store_key_revoke(house->store, x->request.who.member, member, key, &f))
        return answer_fault(x, &f);
    take_effect(house);
    x->reply.status = 204;
    return ACTION_DONE;
}

enum action_result action_member_key_rotate(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct fresh_key k;
    int64_t member, key;
    make_key(&k);
    if (!path_key(house, x, &member, &key, &f) || !store_key_rotate(house->store, x->request.who.member, member, key, k.hash, &k.id, &f))
        return answer_fault(x, &f);
    take_effect(house);
    return answer_fresh(x, member, &k);
}
