/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Members by name, and the club's own facts. A member may be known only as the author of imported rows (role none); a role can be granted to such
 * a name later. Keys are in keys.c.
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
int person_find(struct store *s, const char *origin, const char *name, int64_t *id, enum role *role, struct fault *f)
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

bool person_new(struct store *s, const char *origin, const char *name, enum role role, int64_t now_us, int64_t *id, struct fault *f)
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
    int got = person_find(s, origin, name, id, &role, f);
    return got > 0 || (got == 0 && person_new(s, origin, name, ROLE_NONE, now_us, id, f));
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
