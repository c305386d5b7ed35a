/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members' keys and the changes of members: see people.h. Each change is one transaction together with the event that tells of it.
 */
#include "inside.h"

#include <stdio.h>
#include <string.h>

enum role role_within(enum role role, enum key_scope scope)
{
    enum role most = scope == SCOPE_READ ? ROLE_READER : scope == SCOPE_LOG ? ROLE_LOGGER : ROLE_STEWARD;
    return role < most ? role : most;
}

/* ---- reading ---- */

#define KEY_COLUMNS    "k.id, k.member, k.hash, k.name, k.scope, k.made_us, k.expires_us, k.last_used_us, k.revoked_us"
#define MEMBER_COLUMNS "m.id, m.name, m.role, m.added_us"

static int64_t take_instant(struct columns *c)
{
    bool none = take_is_null(c);
    int64_t us = take_int(c);
    return none ? CLOCK_NONE : us;
}

static void take_key(struct columns *c, struct key_record *k)
{
    k->id = take_int(c);
    k->member = take_int(c);
    take_bytes(c, k->hash, sizeof k->hash);
    take_text(c, k->name, sizeof k->name);
    k->scope = (enum key_scope)take_word(c, WORDS_SCOPE, SCOPE_READ);
    k->made_us = take_int(c);
    k->expires_us = take_instant(c);
    k->last_used_us = take_instant(c);
    k->revoked_us = take_instant(c);
}

static void take_member(struct columns *c, struct member_record *m)
{
    m->id = take_int(c);
    take_text(c, m->name, sizeof m->name);
    m->role = (enum role)take_word(c, WORDS_ROLE, ROLE_NONE);
    m->added_us = take_int(c);
}

static enum read_result walk(struct reader *r, struct binder *b, key_row row, void *user, struct fault *f)
{
    int got;
    while ((got = bind_step(b, &r->c, f)) == 1) {
        struct key_record key;
        struct member_record member;
        struct columns k = columns(b->s);
        take_key(&k, &key);
        take_member(&k, &member);
        if (!row(user, &key, &member))
            break;
    }
    sqlite3_reset(b->s);
    return got < 0 ? READ_FAILED : READ_OK;
}

enum read_result walk_keys(struct reader *r, key_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&r->c, SQL_KEYS,
                "SELECT " KEY_COLUMNS ", " MEMBER_COLUMNS " FROM key k JOIN member m ON m.id = k.member"
                " WHERE k.revoked_us IS NULL AND (k.expires_us IS NULL OR k.expires_us > ?) AND m.role <> 'none' ORDER BY k.id",
                f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_int(&b, clock_now_us());
    return walk(r, &b, row, user, f);
}

enum read_result walk_member_keys(struct reader *r, int64_t member, key_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_MEMBER_KEYS,
                              "SELECT " KEY_COLUMNS ", " MEMBER_COLUMNS " FROM key k JOIN member m ON m.id = k.member"
                              " WHERE ?1 IS NULL OR k.member = ?1 ORDER BY m.name, k.id",
                              f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_id(&b, member);
    return walk(r, &b, row, user, f);
}

enum read_result walk_members(struct reader *r, member_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(
        &r->c, SQL_MEMBERS,
        "SELECT " MEMBER_COLUMNS ","
        " (SELECT count(*) FROM key k WHERE k.member = m.id AND k.revoked_us IS NULL AND (k.expires_us IS NULL OR k.expires_us > ?)),"
        " (SELECT max(last_used_us) FROM key k WHERE k.member = m.id)"
        " FROM member m WHERE m.origin = '' AND (m.role <> 'none' OR EXISTS (SELECT 1 FROM key k WHERE k.member = m.id))"
        " ORDER BY m.name",
        f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_int(&b, clock_now_us());
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct member_record m;
        struct columns k = columns(q);
        take_member(&k, &m);
        int keys = (int)take_int(&k);
        if (!row(user, &m, keys, take_instant(&k)))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}

enum read_result read_member(struct reader *r, int64_t id, struct member_record *out, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_MEMBER_GET, "SELECT " MEMBER_COLUMNS " FROM member m WHERE m.origin = '' AND m.id = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_int(&b, id);
    int got = bind_step(&b, &r->c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_member(&k, out);
        sqlite3_reset(q);
    }
    return read_end(got);
}

/* ---- events ---- */

bool event_add(struct store *s, int64_t by, int64_t now_us, const char *what, const char *subject, const char *detail, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_EVENT_ADD, "INSERT INTO event (at_us, member, what, subject, detail) VALUES (?, ?, ?, ?, ?)", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, now_us);
    bind_id(&b, by);
    bind_text(&b, what);
    bind_text(&b, subject);
    bind_text(&b, detail);
    return bind_run(&b, &s->writer, f);
}

/* ---- one change ---- */

/* What a change needs; each of the steps below is run between BEGIN and COMMIT with it. */
struct change {
    bool (*step)(struct store *s, struct change *c, struct fault *f);
    int64_t by, now_us;
    int64_t member, key;
    const char *name;
    enum role role;
    const struct key_wish *wish;
    int64_t new_key;
    const struct key_use *uses;
    int use_count;
    const char *what, *detail;
};

static bool run_change(struct store *s, void *argument, struct fault *f)
{
    struct change *c = argument;
    c->now_us = clock_now_us();
    if (!group_begin(s, f))
        return false;
    bool ok = c->step(s, c, f);
    return group_end(s, ok, f) && ok;
}

static bool event_of(struct store *s, const struct change *c, const char *what, const char *detail, struct fault *f)
{
    char subject[LIMIT_NAME + 1];
    return member_name(s, c->member, subject, f) && event_add(s, c->by, c->now_us, what, subject, detail, f);
}

static const char *key_detail(const char *name, enum key_scope scope, char out[LIMIT_SHORT_TEXT + 40])
{
    snprintf(out, LIMIT_SHORT_TEXT + 40, "%s%s%s", *name ? name : "key without a name", scope == SCOPE_ALL ? "" : ", may only ",
             scope == SCOPE_READ  ? "read"
             : scope == SCOPE_LOG ? "read and log"
                                  : "");
    return out;
}

static bool insert_key(struct store *s, struct change *c, struct fault *f)
{
    const struct key_wish *w = c->wish;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_KEY_ADD, "INSERT INTO key (member, hash, name, scope, made_us, expires_us) VALUES (?, ?, ?, ?, ?, ?)", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, c->member);
    bind_bytes(&b, w->hash, DIGEST_BYTES);
    bind_text(&b, w->name ? w->name : "");
    bind_word(&b, WORDS_SCOPE, (int)w->scope);
    bind_int(&b, c->now_us);
    if (w->expires_us == CLOCK_NONE)
        bind_null(&b);
    else
        bind_int(&b, w->expires_us);
    if (!bind_run(&b, &s->writer, f))
        return false;
    c->new_key = sqlite3_last_insert_rowid(s->writer.db);
    return true;
}

static bool name_fits(const char *name, struct fault *f)
{
    size_t n = strlen(name);
    return (n > 0 && n <= LIMIT_NAME) || fault_add(f, FAULT_UNACCEPTABLE, "name", "length", "a name has 1 to %d bytes", LIMIT_NAME);
}

static bool name_taken(const char *name, struct fault *f)
{
    return fault_add(f, FAULT_CONFLICT, "name", "name-taken", "there is a member named '%s' already; choose another name", name);
}

/* ---- members ---- */

static bool set_member(struct store *s, int64_t id, const char *name, enum role role, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_CHANGE, "UPDATE member SET name = ?, role = ? WHERE id = ?", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_text(&b, name);
    bind_word(&b, WORDS_ROLE, (int)role);
    bind_int(&b, id);
    memset(s->caches->members, 0, sizeof s->caches->members); /* the name may be another now */
    return bind_run(&b, &s->writer, f);
}

static bool join(struct store *s, struct change *c, struct fault *f)
{
    static const char *const details[] = {"", "as a reader", "as a logger", "as a steward"};
    enum role role = ROLE_NONE;
    int got = person_find(s, "", c->name, &c->member, &role, f);
    if (got < 0)
        return false;
    if (got == 1 && role != ROLE_NONE)
        return name_taken(c->name, f);
    bool ok = got == 1 ? set_member(s, c->member, c->name, c->role, f) : person_new(s, "", c->name, c->role, c->now_us, &c->member, f);
    return ok && insert_key(s, c, f) && event_of(s, c, "member-added", details[c->role], f);
}

bool store_member_join(struct store *s, int64_t by, const char *name, enum role role, const struct key_wish *key, int64_t *id,
                       int64_t *key_id, struct fault *f)
{
    struct change c = {.step = join, .by = by, .name = name, .role = role, .wish = key};
    if (!name_fits(name, f) || !writer_job(s, run_change, &c, f))
        return false;
    if (id)
        *id = c.member;
    if (key_id)
        *key_id = c.new_key;
    return true;
}

bool store_member_add(struct store *s, const char *name, enum role role, const uint8_t key_hash[32], int64_t *id, struct fault *f)
{
    struct key_wish wish = {.hash = key_hash, .expires_us = CLOCK_NONE};
    return store_member_join(s, 0, name, role, &wish, id, NULL, f);
}

/* 1 and *out, 0 and FAULT_UNKNOWN, -1. */
static int get_member(struct store *s, int64_t id, struct member_record *out, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_MEMBER_GET, "SELECT " MEMBER_COLUMNS " FROM member m WHERE m.origin = '' AND m.id = ?", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_int(&b, id);
    int got = bind_step(&b, &s->writer, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_member(&k, out);
        sqlite3_reset(q);
    } else if (got == 0) {
        fault_add(f, FAULT_UNKNOWN, "id", "unknown-member", "the club has no such member");
    }
    return got;
}

/* Somebody has to be able to mend things. */
static bool stewards_left(struct store *s, int64_t without, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_STEWARDS,
                "SELECT count(*) FROM member m WHERE m.role = 'steward' AND m.origin = '' AND m.id <> ? AND EXISTS (SELECT 1 FROM key k"
                " WHERE k.member = m.id AND k.revoked_us IS NULL AND k.expires_us IS NULL)",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, without);
    if (bind_step(&b, &s->writer, f) != 1)
        return false;
    int64_t left = sqlite3_column_int64(q, 0);
    sqlite3_reset(q);
    return left > 0 ||
           fault_add(f, FAULT_CONFLICT, "role", "last-steward", "nobody else with a lasting key is a steward; make another one first");
}

static bool change_member(struct store *s, struct change *c, struct fault *f)
{
    static const char *const roles[] = {"none", "reader", "logger", "steward"};
    struct member_record m;
    char detail[2 * LIMIT_NAME];
    if (get_member(s, c->member, &m, f) != 1)
        return false;
    const char *name = c->name ? c->name : m.name;
    enum role role = c->role ? c->role : m.role, held;
    int64_t other;
    if (strcmp(name, m.name) == 0 && role == m.role)
        return true;
    int got = strcmp(name, m.name) ? person_find(s, "", name, &other, &held, f) : 0;
    if (got)
        return got > 0 ? name_taken(name, f) : false;
    if (m.role == ROLE_STEWARD && role != ROLE_STEWARD && !stewards_left(s, m.id, f))
        return false;
    snprintf(detail, sizeof detail, "%s%s%s%s%s", role == m.role ? "" : "now a ", role == m.role ? "" : roles[role],
             role != m.role && strcmp(name, m.name) ? ", " : "", strcmp(name, m.name) ? "before: " : "",
             strcmp(name, m.name) ? m.name : "");
    return set_member(s, m.id, name, role, f) && event_of(s, c, "member-changed", detail, f);
}

bool store_member_change(struct store *s, int64_t by, int64_t id, const char *name, enum role role, struct fault *f)
{
    struct change c = {.step = change_member, .by = by, .member = id, .name = name, .role = role};
    return (!name || name_fits(name, f)) && writer_job(s, run_change, &c, f);
}

/* ---- keys ---- */

static bool add_key(struct store *s, struct change *c, struct fault *f)
{
    struct member_record m;
    char detail[LIMIT_SHORT_TEXT + 40];
    return get_member(s, c->member, &m, f) == 1 &&
           (m.role != ROLE_NONE ||
            fault_add(f, FAULT_UNKNOWN, "id", "unknown-member", "this name is known as an author only; add the member first")) &&
           insert_key(s, c, f) && event_of(s, c, "key-added", key_detail(c->wish->name ? c->wish->name : "", c->wish->scope, detail), f);
}

bool store_key_add(struct store *s, int64_t by, int64_t member, const struct key_wish *key, int64_t *key_id, struct fault *f)
{
    struct change c = {.step = add_key, .by = by, .member = member, .wish = key};
    bool ok = writer_job(s, run_change, &c, f);
    if (ok && key_id)
        *key_id = c.new_key;
    return ok;
}

static bool get_key(struct store *s, const struct change *c, struct key_record *out, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_KEY_GET, "SELECT " KEY_COLUMNS " FROM key k WHERE k.member = ? AND k.id = ?", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, c->member);
    bind_int(&b, c->key);
    int got = bind_step(&b, &s->writer, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_key(&k, out);
        sqlite3_reset(q);
    } else if (got == 0) {
        fault_add(f, FAULT_UNKNOWN, "key", "unknown-key", "this member has no such key");
    }
    return got == 1;
}

static bool end_key(struct store *s, const struct change *c, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_KEY_REVOKE, "UPDATE key SET revoked_us = ? WHERE id = ?", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, c->now_us);
    bind_int(&b, c->key);
    return bind_run(&b, &s->writer, f);
}

static bool revoke(struct store *s, struct change *c, struct fault *f)
{
    struct key_record k;
    char detail[LIMIT_SHORT_TEXT + 40];
    if (!get_key(s, c, &k, f))
        return false;
    return k.revoked_us != CLOCK_NONE || (end_key(s, c, f) && event_of(s, c, "key-revoked", key_detail(k.name, k.scope, detail), f));
}

bool store_key_revoke(struct store *s, int64_t by, int64_t member, int64_t key, struct fault *f)
{
    struct change c = {.step = revoke, .by = by, .member = member, .key = key};
    return writer_job(s, run_change, &c, f);
}

static bool rotate(struct store *s, struct change *c, struct fault *f)
{
    struct key_record k;
    char detail[LIMIT_SHORT_TEXT + 40];
    if (!get_key(s, c, &k, f))
        return false;
    if (k.revoked_us != CLOCK_NONE || (k.expires_us != CLOCK_NONE && k.expires_us <= c->now_us))
        return fault_add(f, FAULT_CONFLICT, "key", "key-ended", "this key is revoked or has expired; a steward makes a new one");
    struct key_wish wish = {.hash = c->wish->hash, .name = k.name, .scope = k.scope, .expires_us = k.expires_us};
    c->wish = &wish;
    bool ok = end_key(s, c, f) && insert_key(s, c, f) && event_of(s, c, "key-rotated", key_detail(k.name, k.scope, detail), f);
    c->wish = NULL;
    return ok;
}

bool store_key_rotate(struct store *s, int64_t by, int64_t member, int64_t key, const uint8_t hash[32], int64_t *key_id, struct fault *f)
{
    struct key_wish wish = {.hash = hash};
    struct change c = {.step = rotate, .by = by, .member = member, .key = key, .wish = &wish};
    bool ok = writer_job(s, run_change, &c, f);
    if (ok && key_id)
        *key_id = c.new_key;
    return ok;
}

static bool used(struct store *s, struct change *c, struct fault *f)
{
    bool ok = true;
    for (int i = 0; i < c->use_count && ok; i++) {
        sqlite3_stmt *q = sql_get(&s->writer, SQL_KEY_USED,
                                  "UPDATE key SET last_used_us = ?1 WHERE id = ?2 AND (last_used_us IS NULL OR last_used_us < ?1)", f);
        struct binder b = bind(q);
        if (q) {
            bind_int(&b, c->uses[i].at_us);
            bind_int(&b, c->uses[i].key);
        }
        ok = q && bind_run(&b, &s->writer, f);
    }
    return ok;
}

bool store_keys_used(struct store *s, const struct key_use *uses, int count, struct fault *f)
{
    struct change c = {.step = used, .uses = uses, .use_count = count};
    return count == 0 || writer_job(s, run_change, &c, f);
}

static bool tell(struct store *s, struct change *c, struct fault *f)
{
    return event_add(s, c->by, c->now_us, c->what, c->name, c->detail, f);
}

bool store_event_add(struct store *s, int64_t by, const char *what, const char *subject, const char *detail, struct fault *f)
{
    struct change c = {.step = tell, .by = by, .what = what, .name = subject, .detail = detail};
    return writer_job(s, run_change, &c, f);
}
