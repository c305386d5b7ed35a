/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members and their keys. Every change is one short transaction on the writer's connection, and leaves an event that says who did it. Of a key
 * only the hash is ever stored.
 *
 * `by` is the member who does it; 0 = somebody at the club's file, or an open club.
 */
#ifndef BIASBOOK_STORE_PEOPLE_H
#define BIASBOOK_STORE_PEOPLE_H

#include "reader.h"

enum key_scope { SCOPE_ALL, SCOPE_READ, SCOPE_LOG }; /* what a key may do of what its member may: all, read, read and log */

/* The lesser of both. */
enum role role_within(enum role role, enum key_scope scope);

struct key_record {
    int64_t id, member;
    uint8_t hash[32];
    char name[LIMIT_SHORT_TEXT + 1]; /* what it is for */
    enum key_scope scope;
    int64_t made_us;
    int64_t expires_us, last_used_us, revoked_us; /* CLOCK_NONE = never, not yet, valid */
};

/* ---- reading ---- */
typedef bool (*key_row)(void *user, const struct key_record *key, const struct member_record *member);
enum read_result walk_keys(struct reader *r, key_row row, void *user, struct fault *f); /* keys that are valid now */
/* All keys of one member (0 = of everybody), revoked and expired ones too, in the order in which they were made. */
enum read_result walk_member_keys(struct reader *r, int64_t member, key_row row, void *user, struct fault *f);
/* This club's own members, by name; authors of other clubs' rows are none. `keys`: how many are valid; `last_used_us`: of any, CLOCK_NONE = never. */
typedef bool (*member_row)(void *user, const struct member_record *member, int keys, int64_t last_used_us);
enum read_result walk_members(struct reader *r, member_row row, void *user, struct fault *f);
enum read_result read_member(struct reader *r, int64_t id, struct member_record *out, struct fault *f);

/* ---- writing ---- */
struct key_wish {
    const uint8_t *hash;
    const char *name; /* NULL = "" */
    enum key_scope scope;
    int64_t expires_us; /* CLOCK_NONE = never */
};
/* A member with the first key. FAULT_CONFLICT when the name is taken. */
bool store_member_join(struct store *s, int64_t by, const char *name, enum role role, const struct key_wish *key, int64_t *id,
                       int64_t *key_id, struct fault *f);
/* `name` NULL and `role` ROLE_NONE leave those alone. FAULT_UNKNOWN, or FAULT_CONFLICT: the name is taken, or nobody would be left as a steward. */
bool store_member_change(struct store *s, int64_t by, int64_t id, const char *name, enum role role, struct fault *f);
bool store_key_add(struct store *s, int64_t by, int64_t member, const struct key_wish *key, int64_t *key_id, struct fault *f);
/* Revoked already: true. FAULT_UNKNOWN when the member has no such key. */
bool store_key_revoke(struct store *s, int64_t by, int64_t member, int64_t key, struct fault *f);
/* Revokes it and adds one of the same name, scope and expiry. FAULT_CONFLICT when it is revoked or expired already. */
bool store_key_rotate(struct store *s, int64_t by, int64_t member, int64_t key, const uint8_t hash[32], int64_t *key_id, struct fault *f);
struct key_use {
    int64_t key, at_us;
};
bool store_keys_used(struct store *s, const struct key_use *uses, int count, struct fault *f); /* leaves no event */

/* One line of the club's own log that no row tells by itself, e.g. an import. */
bool store_event_add(struct store *s, int64_t by, const char *what, const char *subject, const char *detail, struct fault *f);

#endif
