/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One transaction around many writes. A refused row leaves nothing behind and takes no neighbour down.
 *
 * A savepoint a row costs a third of the writer's speed, and nearly no row needs one: the rules look before they write, and SQLite undoes
 * a failed statement by itself. So a group is first written without; should a row fail half-way after all, the whole group is
 * undone and written again with a savepoint a row.
 *
 * What was acknowledged is present. What was answered with a failed commit may be present all the same (the disk decides); asking again with
 * the same id tells.
 */
#include "inside.h"

#include <string.h>

/* The highest change over all tables that carry one. */
bool group_last_change(struct connection *c, int64_t *seq, int64_t *stored_us, struct fault *f)
{
    sqlite3_stmt *q = sql_get(
        c, SQL_LAST_CHANGE,
        "SELECT max((SELECT coalesce(max(seq), 0) FROM deck_state), (SELECT coalesce(max(seq), 0) FROM stock_state),"
        " (SELECT coalesce(max(seq), 0) FROM calibration), (SELECT coalesce(max(seq), 0) FROM service),"
        " (SELECT coalesce(max(seq), 0) FROM deck_check)),"
        " max((SELECT coalesce(max(stored_us), -9223372036854775808) FROM deck_state WHERE seq = (SELECT max(seq) FROM deck_state)),"
        " (SELECT coalesce(max(stored_us), -9223372036854775808) FROM stock_state WHERE seq = (SELECT max(seq) FROM stock_state)),"
        " (SELECT coalesce(max(stored_us), -9223372036854775808) FROM calibration WHERE seq = (SELECT max(seq) FROM calibration)),"
        " (SELECT coalesce(max(stored_us), -9223372036854775808) FROM service WHERE seq = (SELECT max(seq) FROM service)),"
        " (SELECT coalesce(max(stored_us), -9223372036854775808) FROM deck_check WHERE seq = (SELECT max(seq) FROM deck_check)))",
        f);
    if (!q || sql_step(c, q, f) != 1)
        return false;
    *seq = sqlite3_column_int64(q, 0);
    *stored_us = sqlite3_column_int64(q, 1);
    sqlite3_reset(q);
    return true;
}

/* Texts of the transaction's own statements, prepared before anything can be short of memory. */
static const struct {
    enum sql which;
    const char *text;
} TEXTS[] = {
    {SQL_BEGIN, "BEGIN IMMEDIATE"},
    {SQL_COMMIT, "COMMIT"},
    {SQL_ROLLBACK, "ROLLBACK"},
    {SQL_SAVE, "SAVEPOINT one"},
    {SQL_SAVE_RELEASE, "RELEASE one"},
    {SQL_SAVE_ROLLBACK, "ROLLBACK TO one"},
    {SQL_DATA_VERSION, "PRAGMA data_version"},
};

bool group_prepare(struct store *s, struct fault *f)
{
    for (size_t i = 0; i < sizeof TEXTS / sizeof *TEXTS; i++)
        if (!sql_get(&s->writer, TEXTS[i].which, TEXTS[i].text, f))
            return false;
    return true;
}

static bool plain(struct store *s, enum sql which, struct fault *f)
{
    return sql_run(&s->writer, s->writer.ready[which], f);
}

static bool in_transaction(const struct store *s)
{
    return !sqlite3_get_autocommit(s->writer.db);
}

static void undo(struct store *s)
{
    if (in_transaction(s))
        plain(s, SQL_ROLLBACK, NULL);
    memset(s->caches, 0, sizeof *s->caches); /* an id found meanwhile may be of a row that was undone */
}

bool group_look_outside(struct store *s, struct fault *f)
{
    sqlite3_stmt *q = s->writer.ready[SQL_DATA_VERSION];
    if (sql_step(&s->writer, q, f) != 1)
        return false;
    int64_t version = sqlite3_column_int64(q, 0), seq, stored_us;
    sqlite3_reset(q);
    if (version == s->data_version)
        return true;
    int64_t format;
    if (!group_last_change(&s->writer, &seq, &stored_us, f) || !sql_number(&s->writer, "PRAGMA user_version", &format, f))
        return false;
    s->data_version = version;
    s->outgrown = format != s->version;
    memset(s->caches, 0, sizeof *s->caches);
    atomic_store(&s->last_seq, seq);
    atomic_store(&s->last_commit_us, stored_us);
    atomic_store(&s->changed_outside, true);
    return true;
}

static bool begin(struct store *s, int64_t *seq, int64_t *now_us, struct fault *f)
{
    if (!plain(s, SQL_BEGIN, f))
        return false;
    bool known = group_look_outside(s, f);
    if (known && s->outgrown)
        known = fault_add(f, FAULT_STORE, "", "newer-file", "a newer biasbook has taken this file over; restart with that one");
    if (!known) {
        undo(s);
        return false;
    }
    *seq = atomic_load(&s->last_seq);
    *now_us = clock_now_us();
    int64_t last_us = atomic_load(&s->last_commit_us);
    if (*now_us < last_us) /* a clock that was set back: commit times never fall */
        *now_us = last_us;
    return true;
}

bool group_begin(struct store *s, struct fault *f)
{
    int64_t seq, now_us;
    return begin(s, &seq, &now_us, f);
}

bool group_end(struct store *s, bool keep, struct fault *f)
{
    if (keep && plain(s, SQL_COMMIT, f))
        return true;
    undo(s);
    return false;
}

/* ---- one pass over the writes ---- */
struct pass {
    struct write **writes;
    int count;
    bool careful; /* with a savepoint a row */
    int64_t seq, now_us;
    int refused;
    bool broken; /* the transaction is gone */
    bool half;   /* a row failed half-way: do it again, carefully */
};

static void pass_one(struct store *s, struct pass *p, struct write *w)
{
    struct fault *f = &w->fault;
    w->outcome = WRITE_REFUSED;
    fault_clear(f);
    bool saved = p->careful && plain(s, SQL_SAVE, f);
    enum rule_result got = p->careful && !saved ? RULE_REFUSED : rules_apply(s, w, p->seq + 1, p->now_us);
    if (got == RULE_FAILED || got == RULE_REFUSED) {
        w->outcome = WRITE_REFUSED;
        p->refused++;
        if (!fault_set(f))
            fault_add(f, FAULT_INTERNAL, "", "store", "the store could not take this row");
    }
    if (got == RULE_CHANGED)
        p->seq++;
    if (!in_transaction(s)) {
        p->broken = true; /* SQLite gave the whole transaction up */
    } else if (saved) {
        if (got == RULE_FAILED && !plain(s, SQL_SAVE_ROLLBACK, NULL))
            p->broken = true;
        if (!plain(s, SQL_SAVE_RELEASE, NULL))
            p->broken = true;
        if (got == RULE_FAILED)
            memset(s->caches, 0, sizeof *s->caches);
    } else if (got == RULE_FAILED) {
        p->half = true;
    }
}

static void pass_all(struct store *s, struct pass *p)
{
    int64_t first = p->seq;
    for (int i = 0; i < p->count && !p->broken && !p->half; i++)
        pass_one(s, p, p->writes[i]);
    if (p->half && !p->broken) {
        undo(s);
        *p = (struct pass){.writes = p->writes, .count = p->count, .careful = true, .now_us = p->now_us, .seq = first};
        struct fault ignored;
        fault_clear(&ignored);
        if (!begin(s, &p->seq, &p->now_us, &ignored))
            p->broken = true;
        for (int i = 0; i < p->count && !p->broken; i++)
            pass_one(s, p, p->writes[i]);
    }
}

/* ---- after it ---- */

/* Nothing of the group was kept: every write says so. */
static void all_refused(const struct pass *p, const struct fault *f)
{
    for (int i = 0; i < p->count; i++) {
        p->writes[i]->outcome = WRITE_REFUSED;
        p->writes[i]->fault = *f;
    }
}

static void all_undone(const struct pass *p)
{
    for (int i = 0; i < p->count; i++)
        if (p->writes[i]->outcome != WRITE_REFUSED)
            p->writes[i]->outcome = WRITE_PENDING;
}

static void tell_hook(struct store *s, const struct pass *p)
{
    pthread_mutex_lock(&s->lock);
    commit_hook hook = s->hook;
    void *user = s->hook_user;
    pthread_mutex_unlock(&s->lock);
    int n = 0;
    for (int i = 0; i < p->count && hook; i++) {
        enum write_outcome o = p->writes[i]->outcome;
        if (o == WRITE_CREATED || o == WRITE_REVISED)
            s->changed[n++] = p->writes[i];
        if (n == LIMIT_GROUP_ROWS) {
            hook(user, s->changed, n);
            n = 0;
        }
    }
    if (n && hook)
        hook(user, s->changed, n);
}

static void count_commit(struct store *s, const struct pass *p, int64_t first)
{
    int64_t rows = p->seq - first;
    atomic_store(&s->last_seq, p->seq);
    if (rows)
        atomic_store(&s->last_commit_us, p->now_us);
    atomic_fetch_add(&s->commits, 1);
    atomic_fetch_add(&s->rows_written, rows);
    if (rows > atomic_load(&s->largest_group))
        atomic_store(&s->largest_group, rows);
}

bool group_commit(struct store *s, struct write **writes, int count, enum group_kind kind, struct fault *f)
{
    struct pass p = {.writes = writes, .count = count};
    struct fault whole;
    fault_clear(&whole);
    bool dry = kind == GROUP_DRY || kind == GROUP_DRY_ATOMIC, atomic = kind == GROUP_ATOMIC || kind == GROUP_DRY_ATOMIC;
    if (!begin(s, &p.seq, &p.now_us, &whole)) {
        all_refused(&p, &whole);
        fault_merge(f, &whole, "");
        return false;
    }
    int64_t first = p.seq;
    pass_all(s, &p);
    if (p.broken) {
        fault_add(&whole, FAULT_STORE, "", "commit", "the club's file could not be written; nothing of this was kept, try again");
        undo(s);
        all_refused(&p, &whole);
        fault_merge(f, &whole, "");
        return false;
    }
    if (dry) {
        undo(s);
        return !(atomic && p.refused);
    }
    if (atomic && p.refused) {
        undo(s);
        all_undone(&p);
        return fault_add(f, FAULT_UNACCEPTABLE, "", "atomic", "%d of %d rows were refused, so none was taken", p.refused, count);
    }
    if (!plain(s, SQL_COMMIT, &whole)) {
        undo(s);
        whole.kind = FAULT_STORE;
        all_refused(&p, &whole);
        fault_merge(f, &whole, "");
        return false;
    }
    count_commit(s, &p, first);
    tell_hook(s, &p);
    return true;
}
