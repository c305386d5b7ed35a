/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A stock into its rows: the state and its other names.
 */
#include "inside.h"

static bool put_aliases(struct store *s, int64_t seq, const struct stock *t, struct fault *f)
{
    for (int i = 0; i < t->alias_count; i++) {
        sqlite3_stmt *q = sql_get(&s->writer, SQL_ALIAS_PUT, "INSERT INTO stock_alias VALUES (?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_int(&b, i);
        bind_text(&b, t->aliases[i]);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

/* The stock's id, made when it is new; -1 failed. */
static int64_t ensure_id(struct store *s, const char *slug, struct fault *f)
{
    int64_t id = stock_id(s, slug, f);
    if (id)
        return id;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_STOCK_NEW, "INSERT INTO stock (slug) VALUES (?)", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_text(&b, slug);
    return bind_run(&b, &s->writer, f) ? sqlite3_last_insert_rowid(s->writer.db) : -1;
}

bool stock_put(struct store *s, const struct stock *t, const struct next_state *n, struct fault *f)
{
    int64_t id = ensure_id(s, t->id, f);
    if (id < 0 || !state_replaced(s, SQL_STOCK_REPLACE, "UPDATE stock_state SET replaced_by = ? WHERE seq = ?", n->replaces, n->seq, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_STOCK_PUT,
                "INSERT INTO stock_state (seq, stock, revision, replaces, stored_us, member, author, origin, digest, name, family, class,"
                " medium, wrapper, made_from, made_to, side_minutes, length_m, thickness_um, hub_mm, sheet_bias_db, sheet_level_db, notes)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, n->seq);
    bind_int(&b, id);
    bind_int(&b, n->revision);
    bind_id(&b, n->replaces);
    bind_int(&b, n->stored_us);
    bind_id(&b, n->writer);
    bind_id(&b, n->author);
    bind_given(&b, n->origin);
    bind_bytes(&b, n->digest, DIGEST_BYTES);
    bind_text(&b, t->name);
    bind_text(&b, t->family);
    bind_word(&b, WORDS_CLASS, (int)t->tape_class);
    bind_word(&b, WORDS_MEDIUM, (int)t->medium);
    bind_text(&b, t->wrapper);
    bind_text(&b, t->made_from);
    bind_text(&b, t->made_to);
    bind_real(&b, t->side_minutes);
    bind_real(&b, t->length_m);
    bind_real(&b, t->thickness_um);
    bind_real(&b, t->hub_mm);
    bind_real(&b, t->sheet_bias_db);
    bind_real(&b, t->sheet_level_db);
    bind_given(&b, t->notes);
    return bind_run(&b, &s->writer, f) && put_aliases(s, n->seq, t, f);
}
