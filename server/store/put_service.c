/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Services and checks of a deck into their rows, and looking back along any thing's history.
 */
#include "inside.h"

static int state_by_id(struct store *s, enum sql which, const char *text, const struct uuid *id, struct state *out, struct fault *f)
{
    struct connection *c = &s->writer;
    sqlite3_stmt *q = sql_get(c, which, text, f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_bytes(&b, id->bytes, sizeof id->bytes);
    int got = bind_step(&b, c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_state(&k, out);
        sqlite3_reset(q);
    }
    return got;
}

int service_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f)
{
    return state_by_id(s, SQL_SERVICE_STATE, "SELECT " STATE_COLUMNS ", member FROM service WHERE uuid = ? AND replaced_by IS NULL", id,
                       out, f);
}

int check_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f)
{
    return state_by_id(s, SQL_CHECK_STATE, "SELECT " STATE_COLUMNS ", member FROM deck_check WHERE uuid = ? AND replaced_by IS NULL", id,
                       out, f);
}

static void bind_state(struct binder *b, const struct uuid *id, const struct next_state *n)
{
    bind_int(b, n->seq);
    bind_bytes(b, id->bytes, sizeof id->bytes);
    bind_int(b, n->revision);
    bind_id(b, n->replaces);
    bind_int(b, n->stored_us);
    bind_id(b, n->writer);
    bind_id(b, n->author);
    bind_given(b, n->origin);
    bind_bytes(b, n->digest, DIGEST_BYTES);
    bind_int(b, n->deck);
}

bool service_put(struct store *s, const struct service *v, const struct next_state *n, struct fault *f)
{
    if (!state_replaced(s, SQL_SERVICE_REPLACE, "UPDATE service SET replaced_by = ? WHERE seq = ?", n->replaces, n->seq, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_SERVICE_PUT,
                "INSERT INTO service (seq, uuid, revision, replaces, stored_us, member, author, origin, digest, deck, made_at_us,"
                " made_at_offset_minutes, kind, resets, bias_shift_db, level_shift_db, notes)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_state(&b, &v->id, n);
    bind_int(&b, v->made_at_us);
    bind_int(&b, v->made_at_offset_minutes);
    bind_text(&b, v->kind);
    bind_int(&b, v->resets);
    bind_real(&b, v->bias_shift_db);
    bind_real(&b, v->level_shift_db);
    bind_given(&b, v->notes);
    return bind_run(&b, &s->writer, f);
}

bool check_put(struct store *s, const struct deck_check *k, const struct next_state *n, struct fault *f)
{
    if (!state_replaced(s, SQL_CHECK_REPLACE, "UPDATE deck_check SET replaced_by = ? WHERE seq = ?", n->replaces, n->seq, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_CHECK_PUT,
                "INSERT INTO deck_check (seq, uuid, revision, replaces, stored_us, member, author, origin, digest, deck, made_at_us,"
                " made_at_offset_minutes, kind, low_db, high_db, low_balance_db, high_balance_db, notes)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_state(&b, &k->id, n);
    bind_int(&b, k->made_at_us);
    bind_int(&b, k->made_at_offset_minutes);
    bind_word(&b, WORDS_CHECK, (int)k->kind);
    bind_real(&b, k->low_db);
    bind_real(&b, k->high_db);
    bind_real(&b, k->low_balance_db);
    bind_real(&b, k->high_balance_db);
    bind_given(&b, k->notes);
    return bind_run(&b, &s->writer, f);
}

/* Walks from a standing state back to the first. */
#define HISTORY(table)                                                                                                                     \
    "WITH RECURSIVE past (seq, digest, replaces) AS (SELECT seq, digest, replaces FROM " table " WHERE seq = ?"                            \
    " UNION ALL SELECT t.seq, t.digest, t.replaces FROM past JOIN " table " t ON t.seq = past.replaces)"                                   \
    " SELECT 1 FROM past WHERE digest = ? LIMIT 1"

int history_has(struct store *s, enum write_kind kind, int64_t seq, const uint8_t digest[DIGEST_BYTES], struct fault *f)
{
    static const struct {
        enum sql which;
        const char *text;
    } texts[] = {
        [WRITE_DECK] = {SQL_DECK_HISTORY, HISTORY("deck_state")},
        [WRITE_STOCK] = {SQL_STOCK_HISTORY, HISTORY("stock_state")},
        [WRITE_CALIBRATION] = {SQL_CALIBRATION_HISTORY, HISTORY("calibration")},
        [WRITE_VOID] = {SQL_CALIBRATION_HISTORY, HISTORY("calibration")},
        [WRITE_SERVICE] = {SQL_SERVICE_HISTORY, HISTORY("service")},
        [WRITE_CHECK] = {SQL_CHECK_HISTORY, HISTORY("deck_check")},
    };
    sqlite3_stmt *q = sql_get(&s->writer, texts[kind].which, texts[kind].text, f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_int(&b, seq);
    bind_bytes(&b, digest, DIGEST_BYTES);
    int got = bind_step(&b, &s->writer, f);
    if (got == 1)
        sqlite3_reset(q);
    return got;
}
