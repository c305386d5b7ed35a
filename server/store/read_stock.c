/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows into a stock.
 */
#include "history.h"
#include "inside.h"

#include <string.h>

#define SHOWN_STOCK                                                                                                                        \
    "SELECT " STAMP_COLUMNS                                                                                                                \
    ", d.slug, x.name, x.family, x.class, x.medium, x.wrapper, x.made_from, x.made_to, x.side_minutes, x.length_m,"                        \
    " x.thickness_um, x.hub_mm, x.sheet_bias_db, x.sheet_level_db, x.notes"
#define NAMES        " LEFT JOIN member m ON m.id = x.member LEFT JOIN member a ON a.id = x.author"
#define SELECT_STOCK SHOWN_STOCK " FROM stock d CROSS JOIN stock_state x ON x.stock = d.id AND x.replaced_by IS NULL" NAMES

static void take_stock(struct columns *k, struct stock *t, struct stamp *stamp)
{
    memset(t, 0, sizeof *t);
    take_stamp(k, stamp, false);
    take_text(k, t->id, sizeof t->id);
    take_text(k, t->name, sizeof t->name);
    take_text(k, t->family, sizeof t->family);
    t->tape_class = (enum tape_class)take_word(k, WORDS_CLASS, CLASS_NONE);
    t->medium = (enum medium)take_word(k, WORDS_MEDIUM, MEDIUM_NONE);
    take_text(k, t->wrapper, sizeof t->wrapper);
    take_text(k, t->made_from, sizeof t->made_from);
    take_text(k, t->made_to, sizeof t->made_to);
    t->side_minutes = take_real(k);
    t->length_m = take_real(k);
    t->thickness_um = take_real(k);
    t->hub_mm = take_real(k);
    t->sheet_bias_db = take_real(k);
    t->sheet_level_db = take_real(k);
    t->notes = take_long(k);
}

static bool read_aliases(struct reader *r, int64_t seq, struct stock *t, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_ALIASES, "SELECT name FROM stock_alias WHERE seq = ? ORDER BY n", f);
    if (!q)
        return false;
    sqlite3_bind_int64(q, 1, seq);
    int got;
    while ((got = sql_step(&r->c, q, f)) == 1) {
        struct columns k = columns(q);
        if (t->alias_count < LIMIT_ALIASES)
            take_text(&k, t->aliases[t->alias_count++], sizeof t->aliases[0]);
    }
    return got == 0;
}

enum read_result read_stock(struct reader *r, const char *id, struct arena *a, struct stock *out, struct stamp *stamp, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_STOCK_GET, SELECT_STOCK " WHERE d.slug = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_text(&b, id);
    int got = bind_step(&b, &r->c, f);
    if (got != 1)
        return read_end(got);
    struct columns k = columns(q);
    take_stock(&k, out, stamp);
    if (out->notes && !(out->notes = arena_text(a, out->notes, strlen(out->notes)))) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a stock");
        got = -1;
    }
    if (got == 1 && !read_aliases(r, stamp->seq, out, f))
        got = -1;
    sqlite3_reset(q);
    return read_end(got);
}

enum read_result walk_stocks(struct reader *r, const char *after_id, int limit, stock_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_STOCK_WALK, SELECT_STOCK " WHERE d.slug > ? ORDER BY d.slug LIMIT ?", f);
    if (!q)
        return READ_FAILED;
    struct stock t;
    struct stamp stamp;
    struct binder b = bind(q);
    bind_text(&b, after_id ? after_id : "");
    bind_int(&b, limit ? limit : -1);
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        take_stock(&k, &t, &stamp);
        if (!read_aliases(r, stamp.seq, &t, f)) {
            got = -1;
            break;
        }
        if (!row(user, &t, &stamp))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}

/* ---- states ---- */

enum read_result walk_stock_states(struct reader *r, const char *id, stock_state_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&r->c, SQL_STOCK_CHAIN,
                "WITH RECURSIVE chain (seq, before) AS (SELECT x.seq, x.replaces FROM stock d CROSS JOIN stock_state x ON x.stock = d.id"
                " AND x.replaced_by IS NULL WHERE d.slug = ?1 UNION ALL SELECT o.seq, o.replaces FROM chain CROSS JOIN stock_state o"
                " ON o.seq = chain.before LIMIT ?2) " SHOWN_STOCK
                " FROM chain p CROSS JOIN stock_state x ON x.seq = p.seq CROSS JOIN stock d ON d.id = x.stock" NAMES " ORDER BY x.seq DESC",
                f);
    struct stock *t = q ? mem_alloc(sizeof *t) : NULL;
    if (q && !t)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a stock");
    if (!t)
        return READ_FAILED;
    struct stamp stamp;
    struct binder b = bind(q);
    bind_text(&b, id);
    bind_int(&b, LIMIT_REVISIONS);
    int got, count = 0;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        take_stock(&k, t, &stamp);
        count++;
        if (!read_aliases(r, stamp.seq, t, f)) {
            got = -1;
            break;
        }
        if (!row(user, t, &stamp, stamp.member))
            break;
    }
    sqlite3_reset(q);
    mem_free(t);
    return got < 0 ? READ_FAILED : count ? READ_OK : READ_NONE;
}
