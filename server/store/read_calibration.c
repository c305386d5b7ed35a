/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows into calibrations, one or many. Lists with a filter run along the narrow index calibration_list and look up only what passes;
 * lists without one run along the table.
 */
#include "history.h"
#include "inside.h"

#include <string.h>

#define SHOWN                                                                                                                              \
    "SELECT " STAMP_COLUMNS                                                                                                                \
    ", x.void_reason, x.uuid, x.readings, d.slug, t.slug, x.setup, x.channel, x.side, x.batch, x.tape, x.made_at_us,"                      \
    " x.made_at_offset_minutes, x.position_kind, x.position_typed, x.position_s, x.recordings, x.bias, x.level, x.eq, x.bias_stop, "       \
    "x.level_stop,"                                                                                                                        \
    " x.bias_method, x.drop_db, x.drop_hz, x.low_db, x.high_db, x.low_balance_db, x.high_balance_db, x.low_hz, x.high_hz, x.tone_db,"      \
    " x.treble_db, x.unsteady_db, x.settled, x.noise_reduction, x.mpx_filter, x.for_noise_reduction, x.peak_db, x.notes"
#define NAMES                                                                                                                              \
    " CROSS JOIN deck d ON d.id = x.deck CROSS JOIN stock t ON t.id = x.stock"                                                             \
    " LEFT JOIN member m ON m.id = x.writer LEFT JOIN member a ON a.id = x.author"

static int64_t take_calibration(struct columns *k, struct calibration *c, struct stamp *stamp)
{
    memset(c, 0, sizeof *c);
    take_stamp(k, stamp, true);
    take_bytes(k, c->id.bytes, sizeof c->id.bytes);
    int64_t readings = take_int(k);
    take_text(k, c->deck, sizeof c->deck);
    take_text(k, c->stock, sizeof c->stock);
    take_text(k, c->setup, sizeof c->setup);
    c->channel = (enum channel)take_word(k, WORDS_CHANNEL, CHANNEL_BOTH);
    c->side = (enum side)take_word(k, WORDS_SIDE, SIDE_NONE);
    take_text(k, c->batch, sizeof c->batch);
    take_text(k, c->tape, sizeof c->tape);
    c->made_at_us = take_int(k);
    c->made_at_offset_minutes = (int)take_int(k);
    c->position_kind = (enum position_kind)take_word(k, WORDS_POSITION, POSITION_NONE);
    c->position_typed = take_real(k);
    c->position_s = take_real(k);
    c->recordings = take_count(k);
    c->bias = take_real(k);
    c->level = take_real(k);
    c->eq = take_real(k);
    c->bias_stop = (enum stop)take_word(k, WORDS_STOP, STOP_NONE);
    c->level_stop = (enum stop)take_word(k, WORDS_STOP, STOP_NONE);
    c->bias_method = (enum bias_method)take_word(k, WORDS_METHOD, METHOD_FLAT);
    c->drop_db = take_real(k);
    c->drop_hz = take_real(k);
    c->low_db = take_real(k);
    c->high_db = take_real(k);
    c->low_balance_db = take_real(k);
    c->high_balance_db = take_real(k);
    c->low_hz = take_real(k);
    c->high_hz = take_real(k);
    c->tone_db = take_real(k);
    c->treble_db = take_real(k);
    c->unsteady_db = take_real(k);
    c->settled = take_flag(k);
    c->noise_reduction = take_flag(k);
    c->mpx_filter = take_flag(k);
    c->for_noise_reduction = take_flag(k);
    c->peak_db = take_real(k);
    c->notes = take_long(k);
    return readings;
}

static bool read_moves(struct reader *r, int64_t seq, struct calibration *c, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_MOVES, "SELECT bias, level, low_db, high_db FROM calibration_move WHERE seq = ? ORDER BY n", f);
    int got = -1;
    if (q)
        sqlite3_bind_int64(q, 1, seq);
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        if (c->move_count == LIMIT_MOVES)
            continue;
        struct move *m = &c->moves[c->move_count++];
        struct columns k = columns(q);
        m->bias = take_real(&k);
        m->level = take_real(&k);
        m->low_db = take_real(&k);
        m->high_db = take_real(&k);
    }
    return got == 0;
}

static bool read_proof(struct reader *r, int64_t seq, struct calibration *c, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_PROOF, "SELECT hz, left_db, right_db FROM calibration_proof WHERE seq = ? ORDER BY n", f);
    int got = -1;
    if (q)
        sqlite3_bind_int64(q, 1, seq);
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        if (c->proof_count == LIMIT_PROOF)
            continue;
        struct proof *p = &c->proof[c->proof_count++];
        struct columns k = columns(q);
        p->hz = take_real(&k);
        p->left_db = take_real(&k);
        p->right_db = take_real(&k);
    }
    return got == 0;
}

enum read_result read_calibration(struct reader *r, const struct uuid *id, struct arena *a, struct calibration *out, struct stamp *stamp,
                                  struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&r->c, SQL_CALIBRATION_GET, SHOWN " FROM calibration x" NAMES " WHERE x.uuid = ? AND x.replaced_by IS NULL", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_bytes(&b, id->bytes, sizeof id->bytes);
    int got = bind_step(&b, &r->c, f);
    if (got != 1)
        return read_end(got);
    struct columns k = columns(q);
    int64_t readings = take_calibration(&k, out, stamp);
    if (out->notes && !(out->notes = arena_text(a, out->notes, strlen(out->notes)))) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a calibration");
        got = -1;
    }
    if (got == 1 && !(read_moves(r, readings, out, f) && read_proof(r, readings, out, f)))
        got = -1;
    sqlite3_reset(q);
    return read_end(got);
}

/* ---- states ---- */

/* From the one that stands back along `replaces`; older states have no index by uuid. */
#define CHAIN                                                                                                                              \
    "WITH RECURSIVE chain (seq, before) AS (SELECT seq, replaces FROM calibration WHERE uuid = ?1 AND replaced_by IS NULL"                 \
    " UNION ALL SELECT o.seq, o.replaces FROM chain CROSS JOIN calibration o ON o.seq = chain.before LIMIT ?2) "

enum read_result walk_calibration_states(struct reader *r, const struct uuid *id, calibration_state_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_CALIBRATION_CHAIN,
                              CHAIN SHOWN ", w.name FROM chain p CROSS JOIN calibration x ON x.seq = p.seq" NAMES
                                          " LEFT JOIN member w ON w.id = x.member ORDER BY x.seq DESC",
                              f);
    if (!q)
        return READ_FAILED;
    struct calibration c;
    struct stamp stamp;
    char by[LIMIT_NAME + 1];
    struct binder b = bind(q);
    bind_bytes(&b, id->bytes, sizeof id->bytes);
    bind_int(&b, LIMIT_REVISIONS);
    int got, count = 0;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        int64_t readings = take_calibration(&k, &c, &stamp);
        take_text(&k, by, sizeof by);
        count++;
        if (!(read_moves(r, readings, &c, f) && read_proof(r, readings, &c, f))) {
            got = -1;
            break;
        }
        if (!row(user, &c, &stamp, by))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : count ? READ_OK : READ_NONE;
}

/* ---- lists ---- */

/* Along the table: everything, or everything that stands. ?1 after, ?2 all revisions, ?3 deck, ?4 stock, ?5 member, ?6 since, ?7 limit. */
#define WANTED(row)                                                                                                                        \
    " AND (?3 IS NULL OR " row "deck = ?3) AND (?4 IS NULL OR " row "stock = ?4)"                                                          \
    " AND (?5 IS NULL OR " row "author IN (SELECT id FROM member WHERE name = ?5)) AND (?6 IS NULL OR " row "made_at_us >= ?6)"
#define ALONG_TABLE(after, order)                                                                                                          \
    SHOWN " FROM calibration x" NAMES " WHERE x.seq " after " ?1 AND (?2 OR x.replaced_by IS NULL)" WANTED("x.") " ORDER BY x.seq " order  \
                                                                                                                 " LIMIT ?7"
/* The same for rows of one club, which no index tells. ?8 the club, "" = this one. */
#define OF_CLUB(after, order)                                                                                                              \
    SHOWN " FROM calibration x" NAMES " WHERE x.seq " after                                                                                \
          " ?1 AND (?2 OR x.replaced_by IS NULL)" WANTED("x.") " AND coalesce(x.origin, '') = ?8 ORDER BY x.seq " order " LIMIT ?7"
/* Along the index: the inner question finds the seqs in order, the outer one looks each up. */
#define ALONG_INDEX(after, order)                                                                                                          \
    SHOWN " FROM (SELECT seq FROM calibration INDEXED BY calibration_list WHERE replaced_by IS NULL AND seq " after                        \
          " ?1 AND ?2 = 0" WANTED("") " ORDER BY seq " order " LIMIT ?7) p CROSS JOIN calibration x ON x.seq = p.seq" NAMES

/* Id of a filter's slug, -1 (no row has it) when there is no such thing. */
static bool bind_slug(struct reader *r, struct binder *b, enum sql which, const char *text, const char *slug, struct fault *f)
{
    if (!slug) {
        bind_null(b);
        return true;
    }
    sqlite3_stmt *q = sql_get(&r->c, which, text, f);
    if (!q)
        return false;
    struct binder inner = bind(q);
    bind_text(&inner, slug);
    int got = bind_step(&inner, &r->c, f);
    bind_int(b, got == 1 ? sqlite3_column_int64(q, 0) : -1);
    sqlite3_reset(q);
    return got >= 0;
}

static sqlite3_stmt *list_statement(struct reader *r, const struct calibration_filter *w, struct fault *f)
{
    if (w->origin)
        return w->newest_first ? sql_get(&r->c, SQL_CALIBRATION_FROM_DOWN, OF_CLUB("<", "DESC"), f)
                               : sql_get(&r->c, SQL_CALIBRATION_FROM_UP, OF_CLUB(">", ""), f);
    bool narrow = !w->all_revisions && (w->deck || w->stock || w->member || w->since_us != CLOCK_NONE);
    if (narrow)
        return w->newest_first ? sql_get(&r->c, SQL_CALIBRATION_LIST_DOWN, ALONG_INDEX("<", "DESC"), f)
                               : sql_get(&r->c, SQL_CALIBRATION_LIST_UP, ALONG_INDEX(">", ""), f);
    return w->newest_first ? sql_get(&r->c, SQL_CALIBRATION_DOWN, ALONG_TABLE("<", "DESC"), f)
                           : sql_get(&r->c, SQL_CALIBRATION_UP, ALONG_TABLE(">", ""), f);
}

static bool bind_filter(struct reader *r, struct binder *b, const struct calibration_filter *w, struct fault *f)
{
    bind_int(b, w->newest_first && w->after_seq == 0 ? INT64_MAX : w->after_seq);
    bind_int(b, w->all_revisions);
    if (!bind_slug(r, b, SQL_DECK_ID, "SELECT id FROM deck WHERE slug = ?", w->deck, f) ||
        !bind_slug(r, b, SQL_STOCK_ID, "SELECT id FROM stock WHERE slug = ?", w->stock, f))
        return false;
    bind_text(b, w->member);
    if (w->since_us == CLOCK_NONE)
        bind_null(b);
    else
        bind_int(b, w->since_us);
    bind_int(b, w->limit ? w->limit : -1);
    if (w->origin)
        bind_text(b, w->origin);
    return true;
}

enum read_result walk_calibrations(struct reader *r, const struct calibration_filter *filter, bool with_moves, calibration_row row,
                                   void *user, struct fault *f)
{
    sqlite3_stmt *q = list_statement(r, filter, f);
    if (!q)
        return READ_FAILED;
    struct calibration c;
    struct stamp stamp;
    struct binder b = bind(q);
    if (!bind_filter(r, &b, filter, f))
        return READ_FAILED;
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        int64_t readings = take_calibration(&k, &c, &stamp);
        if (with_moves && !(read_moves(r, readings, &c, f) && read_proof(r, readings, &c, f))) {
            got = -1;
            break;
        }
        if (!row(user, &c, &stamp))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}
