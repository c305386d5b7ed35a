/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A calibration into its rows. This is the path every logged result takes: one insertion, and one a move.
 */
#include "inside.h"

/* Everything as typed, or its digest would not be that of what is stored; in the order of binding below; a void copies these columns from the state before. */
#define CONTENT                                                                                                                            \
    "deck, stock, setup, channel, side, batch, tape, made_at_us, made_at_offset_minutes, position_kind, position_typed, position_s, "      \
    "recordings,"                                                                                                                          \
    " bias, level, eq, bias_stop, level_stop, bias_method, drop_db, drop_hz, low_db, high_db, low_balance_db, high_balance_db, low_hz, "   \
    "high_hz,"                                                                                                                             \
    " tone_db, treble_db, unsteady_db, settled, noise_reduction, mpx_filter, for_noise_reduction, peak_db, notes"

int calibration_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f)
{
    struct connection *c = &s->writer;
    sqlite3_stmt *q = sql_get(c, SQL_CALIBRATION_STATE,
                              "SELECT " STATE_COLUMNS ", writer, void_reason FROM calibration WHERE uuid = ? AND replaced_by IS NULL", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_bytes(&b, id->bytes, sizeof id->bytes);
    int got = bind_step(&b, c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_state(&k, out);
        out->is_void = !take_is_null(&k);
        take_text(&k, out->void_reason, sizeof out->void_reason);
        sqlite3_reset(q);
    }
    return got;
}

static void bind_content(struct binder *b, const struct calibration *r, const struct next_state *n)
{
    bind_int(b, n->deck);
    bind_int(b, n->stock);
    bind_given(b, r->setup);
    bind_word(b, WORDS_CHANNEL, (int)r->channel);
    bind_word(b, WORDS_SIDE, (int)r->side);
    bind_given(b, r->batch);
    bind_given(b, r->tape);
    bind_int(b, r->made_at_us);
    bind_int(b, r->made_at_offset_minutes);
    bind_word(b, WORDS_POSITION, (int)r->position_kind);
    bind_real(b, r->position_typed);
    bind_real(b, r->position_s);
    bind_count(b, r->recordings);
    bind_real(b, r->bias);
    bind_real(b, r->level);
    bind_real(b, r->eq);
    bind_word(b, WORDS_STOP, (int)r->bias_stop);
    bind_word(b, WORDS_STOP, (int)r->level_stop);
    bind_word(b, WORDS_METHOD, (int)r->bias_method);
    bind_real(b, r->drop_db);
    bind_real(b, r->drop_hz);
    bind_real(b, r->low_db);
    bind_real(b, r->high_db);
    bind_real(b, r->low_balance_db);
    bind_real(b, r->high_balance_db);
    bind_real(b, r->low_hz);
    bind_real(b, r->high_hz);
    bind_real(b, r->tone_db);
    bind_real(b, r->treble_db);
    bind_real(b, r->unsteady_db);
    bind_int(b, r->settled);
    bind_int(b, r->noise_reduction);
    bind_int(b, r->mpx_filter);
    bind_int(b, r->for_noise_reduction);
    bind_real(b, r->peak_db);
    bind_given(b, r->notes);
}

static bool put_moves(struct store *s, int64_t seq, const struct calibration *r, struct fault *f)
{
    for (int i = 0; i < r->move_count; i++) {
        const struct move *m = &r->moves[i];
        sqlite3_stmt *q = sql_get(&s->writer, SQL_MOVE_PUT, "INSERT INTO calibration_move VALUES (?, ?, ?, ?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_int(&b, i);
        bind_real(&b, m->bias);
        bind_real(&b, m->level);
        bind_real(&b, m->low_db);
        bind_real(&b, m->high_db);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

static bool put_proof(struct store *s, int64_t seq, const struct calibration *r, struct fault *f)
{
    for (int i = 0; i < r->proof_count; i++) {
        const struct proof *p = &r->proof[i];
        sqlite3_stmt *q = sql_get(&s->writer, SQL_PROOF_PUT, "INSERT INTO calibration_proof VALUES (?, ?, ?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_int(&b, i);
        bind_real(&b, p->hz);
        bind_real(&b, p->left_db);
        bind_real(&b, p->right_db);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

static bool replace(struct store *s, const struct next_state *n, struct fault *f)
{
    return state_replaced(s, SQL_CALIBRATION_REPLACE, "UPDATE calibration SET replaced_by = ? WHERE seq = ?", n->replaces, n->seq, f);
}

bool calibration_put(struct store *s, const struct calibration *r, const struct next_state *n, struct fault *f)
{
    if (!replace(s, n, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_CALIBRATION_PUT,
                "INSERT INTO calibration (seq, uuid, revision, replaces, readings, stored_us, member, writer, author, origin, digest,"
                " void_reason, " CONTENT ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
                " ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, n->seq);
    bind_bytes(&b, r->id.bytes, sizeof r->id.bytes);
    bind_int(&b, n->revision);
    bind_id(&b, n->replaces);
    bind_int(&b, n->seq);
    bind_int(&b, n->stored_us);
    bind_id(&b, n->member);
    bind_id(&b, n->writer);
    bind_id(&b, n->author);
    bind_given(&b, n->origin);
    bind_bytes(&b, n->digest, DIGEST_BYTES);
    bind_text(&b, n->void_reason);
    bind_content(&b, r, n);
    return bind_run(&b, &s->writer, f) && put_moves(s, n->seq, r, f) && put_proof(s, n->seq, r, f);
}

bool calibration_void(struct store *s, int64_t old, const struct next_state *n, struct fault *f)
{
    struct next_state next = *n;
    next.replaces = old;
    if (!replace(s, &next, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_CALIBRATION_VOID,
                "INSERT INTO calibration (seq, uuid, revision, replaces, readings, stored_us, member, writer, author, origin, digest,"
                " void_reason, " CONTENT ") SELECT ?, uuid, revision, seq, readings, ?, ?, writer, author, origin, digest, ?, " CONTENT
                " FROM calibration WHERE seq = ?",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, n->seq);
    bind_int(&b, n->stored_us);
    bind_id(&b, n->member);
    bind_text(&b, n->void_reason);
    bind_int(&b, old);
    return bind_run(&b, &s->writer, f);
}

int calibration_before(struct store *s, int64_t seq, struct state *out, struct fault *f)
{
    sqlite3_stmt *q = sql_get(
        &s->writer, SQL_CALIBRATION_BEFORE,
        "SELECT o.seq, o.digest, o.writer, o.void_reason FROM calibration x CROSS JOIN calibration o ON o.seq = x.replaces WHERE x.seq = ?",
        f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_int(&b, seq);
    int got = bind_step(&b, &s->writer, f);
    if (got == 1) {
        struct columns k = columns(q);
        out->seq = take_int(&k);
        take_bytes(&k, out->digest, sizeof out->digest);
        out->writer = take_int(&k);
        out->is_void = !take_is_null(&k);
        take_text(&k, out->void_reason, sizeof out->void_reason);
        sqlite3_reset(q);
    }
    return got;
}

bool calibration_restore(struct store *s, int64_t from, const struct next_state *n, struct fault *f)
{
    if (!replace(s, n, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_CALIBRATION_UNDO,
                "INSERT INTO calibration (seq, uuid, revision, replaces, readings, stored_us, member, writer, author, origin, digest,"
                " void_reason, " CONTENT ") SELECT ?, uuid, ?, ?, readings, ?, ?, writer, author, origin, digest, void_reason, " CONTENT
                " FROM calibration WHERE seq = ?",
                f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, n->seq);
    bind_int(&b, n->revision);
    bind_int(&b, n->replaces);
    bind_int(&b, n->stored_us);
    bind_id(&b, n->member);
    bind_int(&b, from);
    return bind_run(&b, &s->writer, f);
}
