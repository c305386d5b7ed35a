/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members and their keys. A member may be known only as the author of imported rows (role none); a role can be granted to such a name later.
 */
#include "inside.h"

#include <stdio.h>
#include <string.h>

bool member_name(struct store *s, int64_t id, char out[LIMIT_NAME + 1], struct fault *f)
{
    out[0] = '\0';
    if (id == 0)
        return true;
    struct cached_name *slot = &s->caches->members[(uint64_t)id % CACHE_SLOTS];
    if (slot->id != id) {
        sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_NAME, "SELECT name FROM member WHERE id = ?", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, id);
        int got = bind_step(&b, &s->writer, f);
        if (got < 0)
            return false;
        if (got == 0) /* the foreign key will refuse the row, with this as the reason */
            return fault_add(f, FAULT_NO_KEY, "", "unknown-member", "this member is not in the club's file");
        struct columns k = columns(q);
        take_text(&k, slot->name, sizeof slot->name);
        sqlite3_reset(q);
        slot->id = id;
    }
    memcpy(out, slot->name, sizeof slot->name);
    return true;
}

/* 1 found, 0 none, -1 failed. */
static int find_member(struct store *s, const char *origin, const char *name, int64_t *id, enum role *role, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_FIND, "SELECT id, role FROM member WHERE origin = ? AND name = ?", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_text(&b, origin);
    bind_text(&b, name);
    int got = bind_step(&b, &s->writer, f);
    if (got == 1) {
        struct columns k = columns(q);
        *id = take_int(&k);
        *role = (enum role)take_word(&k, WORDS_ROLE, ROLE_NONE);
        sqlite3_reset(q);
    }
    return got;
}

static bool new_member(struct store *s, const char *origin, const char *name, enum role role, int64_t now_us, int64_t *id, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_ADD, "INSERT INTO member (origin, name, role, added_us) VALUES (?, ?, ?, ?)", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_text(&b, origin);
    bind_text(&b, name);
    bind_word(&b, WORDS_ROLE, (int)role);
    bind_int(&b, now_us);
    if (!bind_run(&b, &s->writer, f))
        return false;
    *id = sqlite3_last_insert_rowid(s->writer.db);
    return true;
}

bool member_author(struct store *s, const char *origin, const char *name, int64_t now_us, int64_t *id, struct fault *f)
{
    enum role role;
    int got = find_member(s, origin, name, id, &role, f);
    return got > 0 || (got == 0 && new_member(s, origin, name, ROLE_NONE, now_us, id, f));
}

/* ---- adding one ---- */
struct adding {
    const char *name;
    enum role role;
    const uint8_t *hash;
    int64_t *id;
};

static bool grant(struct store *s, int64_t id, enum role role, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_GRANT, "UPDATE member SET role = ? WHERE id = ?", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_word(&b, WORDS_ROLE, (int)role);
    bind_int(&b, id);
    return bind_run(&b, &s->writer, f);
}

static bool add_key(struct store *s, int64_t member, const uint8_t hash[32], int64_t now_us, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_KEY_ADD, "INSERT INTO key (member, hash, made_us) VALUES (?, ?, ?)", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, member);
    bind_bytes(&b, hash, DIGEST_BYTES);
    bind_int(&b, now_us);
    return bind_run(&b, &s->writer, f);
}

static bool add_member(struct store *s, void *argument, struct fault *f)
{
    struct adding *a = argument;
    enum role role = ROLE_NONE;
    int64_t now_us = clock_now_us();
    if (!group_begin(s, f))
        return false;
    int got = find_member(s, "", a->name, a->id, &role, f);
    bool ok = got >= 0;
    if (got == 1 && role != ROLE_NONE)
        ok = fault_add(f, FAULT_CONFLICT, "name", "name-taken", "there is a member named '%s' already; choose another name", a->name);
    else if (got == 1)
        ok = grant(s, *a->id, a->role, f);
    else if (got == 0)
        ok = new_member(s, "", a->name, a->role, now_us, a->id, f);
    ok = ok && add_key(s, *a->id, a->hash, now_us, f);
    return group_end(s, ok, f) && ok;
}

bool store_member_add(struct store *s, const char *name, enum role role, const uint8_t key_hash[32], int64_t *id, struct fault *f)
{
    int64_t unused;
    struct adding a = {name, role, key_hash, id ? id : &unused};
    size_t n = strlen(name);
    if (n == 0 || n > LIMIT_NAME)
        return fault_add(f, FAULT_UNACCEPTABLE, "name", "length", "a name has 1 to %d bytes", LIMIT_NAME);
    return writer_job(s, add_member, &a, f);
}

enum read_result walk_keys(struct reader *r, key_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&r->c, SQL_KEYS,
                "SELECT k.hash, m.id, m.name, m.role, m.added_us FROM key k JOIN member m ON m.id = k.member"
                " WHERE k.revoked_us IS NULL AND (k.expires_us IS NULL OR k.expires_us > ?) AND m.role <> 'none' ORDER BY k.id",
                f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_int(&b, clock_now_us());
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        uint8_t hash[DIGEST_BYTES];
        struct member_record m;
        struct columns k = columns(q);
        take_bytes(&k, hash, sizeof hash);
        m.id = take_int(&k);
        take_text(&k, m.name, sizeof m.name);
        m.role = (enum role)take_word(&k, WORDS_ROLE, ROLE_NONE);
        m.added_us = take_int(&k);
        if (!row(user, hash, &m))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}

/* ---- facts ---- */
struct setting {
    const char *name, *value;
};

static bool set_fact(struct store *s, void *argument, struct fault *f)
{
    struct setting *t = argument;
    if (!group_begin(s, f))
        return false;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_FACT_SET, "INSERT OR REPLACE INTO fact (name, value) VALUES (?, ?)", f);
    bool ok = q != NULL;
    if (ok) {
        struct binder b = bind(q);
        bind_text(&b, t->name);
        bind_text(&b, t->value);
        ok = bind_run(&b, &s->writer, f);
    }
    return group_end(s, ok, f) && ok;
}

bool store_set_fact(struct store *s, const char *name, const char *value, struct fault *f)
{
    struct setting t = {name, value};
    return writer_job(s, set_fact, &t, f);
}
