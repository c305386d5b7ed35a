/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The log of what stewards did, and reviews: see history.h. Corrections and voids are read out of the rows' own history, so that nothing is told
 * twice; the other events have a table of their own.
 */
#include "history.h"

#include "inside.h"

#include <stdio.h>
#include <string.h>

/* ---- the log ---- */

/* Changes of things that carry an author, by somebody else. The unique index on `replaces` finds them without reading the rest. */
#define CHANGES(number, table, id, name)                                                                                                   \
    "SELECT x.stored_us AS at, " number " AS source, x.seq AS n, m.name AS who, '" name "' AS what, a.name AS subject, '' AS detail, " id  \
    " FROM " table " x LEFT JOIN member m ON m.id = x.member LEFT JOIN member a ON a.id = x.author"                                        \
    " WHERE x.replaces IS NOT NULL AND x.member IS NOT x.author"

#define JOURNAL                                                                                                                            \
    "SELECT at, source, n, who, what, subject, detail, uuid, slug FROM ("                                                                  \
    "SELECT x.stored_us AS at, 0 AS source, x.seq AS n, m.name AS who, CASE WHEN x.void_reason IS NOT NULL AND o.void_reason IS NULL "     \
    "THEN 'void'"                                                                                                                          \
    " WHEN x.void_reason IS NULL AND o.void_reason IS NOT NULL THEN 'unvoid' ELSE 'correction' END AS what, a.name AS subject,"            \
    " coalesce(x.void_reason, '') AS detail, x.uuid AS uuid, '' AS slug"                                                                   \
    " FROM calibration x CROSS JOIN calibration o ON o.seq = x.replaces LEFT JOIN member m ON m.id = x.member LEFT JOIN member a ON a.id " \
    "= x.author"                                                                                                                           \
    " WHERE x.replaces IS NOT NULL AND (x.member IS NOT x.author OR (x.void_reason IS NULL) <> (o.void_reason IS NULL))"                   \
    " UNION ALL " CHANGES("1", "deck_state", "NULL, (SELECT slug FROM deck WHERE id = x.deck)", "deck") " UNION ALL " CHANGES(             \
        "2", "stock_state", "NULL, (SELECT slug FROM stock WHERE id = x.stock)",                                                           \
        "stock") " UNION ALL " CHANGES("3", "service", "uuid, (SELECT slug FROM deck WHERE id = x.deck)",                                  \
                                       "service") " UNION ALL " CHANGES("4", "deck_check",                                                 \
                                                                        "uuid, (SELECT slug FROM deck WHERE id = x.deck)",                 \
                                                                        "check") " UNION ALL SELECT e.at_us, 5, e.id, m.name, e.what, "    \
                                                                                 "e.subject, e.detail, NULL, '' FROM event e LEFT JOIN "   \
                                                                                 "member m ON m.id = e.member)"                            \
                                                                                 " WHERE (at, source, n) < (?1, ?2, ?3) ORDER BY at "      \
                                                                                 "DESC, source DESC, n DESC LIMIT ?4"

static void take_entry(struct columns *k, struct journal_entry *e)
{
    struct uuid id;
    char slug[LIMIT_SLUG + 1];
    e->at_us = take_int(k);
    e->source = (int)take_int(k);
    e->number = take_int(k);
    take_text(k, e->who, sizeof e->who);
    take_text(k, e->what, sizeof e->what);
    take_text(k, e->subject, sizeof e->subject);
    take_text(k, e->detail, sizeof e->detail);
    bool row = !take_is_null(k);
    take_bytes(k, id.bytes, sizeof id.bytes);
    take_text(k, slug, sizeof slug);
    if (row)
        uuid_format(&id, e->about);
    else
        snprintf(e->about, sizeof e->about, "%s", slug);
}

enum read_result walk_journal(struct reader *r, const struct journal_entry *after, int limit, journal_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_JOURNAL, JOURNAL, f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_int(&b, after ? after->at_us : INT64_MAX);
    bind_int(&b, after ? after->source : INT32_MAX);
    bind_int(&b, after ? after->number : INT64_MAX);
    bind_int(&b, limit ? limit : -1);
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct journal_entry e;
        struct columns k = columns(q);
        take_entry(&k, &e);
        if (!row(user, &e))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}

/* ---- reviews ---- */

struct accepting {
    const struct uuid *id;
    int64_t by;
};

static bool accept(struct store *s, void *argument, struct fault *f)
{
    struct accepting *a = argument;
    struct state t;
    if (!group_begin(s, f))
        return false;
    int found = calibration_find(s, a->id, &t, f);
    bool ok = found == 1;
    if (found == 0)
        fault_add(f, FAULT_UNKNOWN, "id", "unknown-calibration", "the club has no calibration of this id");
    sqlite3_stmt *q =
        ok ? sql_get(&s->writer, SQL_REVIEW_PUT, "INSERT OR REPLACE INTO review (uuid, seq, member, at_us) VALUES (?, ?, ?, ?)", f) : NULL;
    if (q) {
        struct binder b = bind(q);
        bind_bytes(&b, a->id->bytes, sizeof a->id->bytes);
        bind_int(&b, t.seq);
        bind_id(&b, a->by);
        bind_int(&b, clock_now_us());
        ok = bind_run(&b, &s->writer, f);
    }
    ok = ok && q;
    return group_end(s, ok, f) && ok;
}

bool store_review_accept(struct store *s, int64_t by, const struct uuid *id, struct fault *f)
{
    struct accepting a = {id, by};
    return writer_job(s, accept, &a, f);
}

enum read_result walk_reviews(struct reader *r, review_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(
        &r->c, SQL_REVIEW_WALK,
        "SELECT v.uuid, v.seq FROM review v CROSS JOIN calibration c ON c.uuid = v.uuid AND c.replaced_by IS NULL WHERE c.seq = v.seq", f);
    if (!q)
        return READ_FAILED;
    int got;
    while ((got = sql_step(&r->c, q, f)) == 1) {
        struct uuid id;
        struct columns k = columns(q);
        take_bytes(&k, id.bytes, sizeof id.bytes);
        if (!row(user, &id, take_int(&k)))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}
