/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows into a deck: the state, then its dials, setups and counter by further questions.
 */
#include "history.h"
#include "inside.h"

#include <string.h>

#define SHOWN_DECK                                                                                                                         \
    "SELECT " STAMP_COLUMNS                                                                                                                \
    ", d.slug, x.name, x.model, x.medium, x.heads, x.tracks, x.per_channel, x.counter, x.turns_per_count, x.low_hz,"                       \
    " x.high_hz, x.tone_db, x.reference_nwb_m, x.meter_step_db, x.warm_up_minutes, x.notes"
#define NAMES       " LEFT JOIN member m ON m.id = x.member LEFT JOIN member a ON a.id = x.author"
#define SELECT_DECK SHOWN_DECK " FROM deck d CROSS JOIN deck_state x ON x.deck = d.id AND x.replaced_by IS NULL" NAMES

static void take_deck(struct columns *k, struct deck *d, struct stamp *stamp)
{
    memset(d, 0, sizeof *d);
    take_stamp(k, stamp, false);
    take_text(k, d->id, sizeof d->id);
    take_text(k, d->name, sizeof d->name);
    take_text(k, d->model, sizeof d->model);
    d->medium = (enum medium)take_word(k, WORDS_MEDIUM, MEDIUM_NONE);
    d->heads = take_count(k);
    d->tracks = take_count(k);
    d->per_channel = take_flag(k);
    d->counter.kind = (enum counter_kind)take_word(k, WORDS_COUNTER, COUNTER_NONE);
    d->counter.turns_per_count = take_real(k);
    d->low_hz = take_real(k);
    d->high_hz = take_real(k);
    d->tone_db = take_real(k);
    d->reference_nwb_m = take_real(k);
    d->meter_step_db = take_real(k);
    d->warm_up_minutes = take_real(k);
    d->notes = take_long(k);
}

/* A question for the parts of one state. */
static sqlite3_stmt *ask_parts(struct reader *r, enum sql which, const char *text, int64_t seq, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, which, text, f);
    if (q)
        sqlite3_bind_int64(q, 1, seq);
    return q;
}

static struct dial *dial_of(struct deck *d, const char *name)
{
    return strcmp(name, "bias") == 0 ? &d->bias_dial : strcmp(name, "level") == 0 ? &d->level_dial : &d->eq_dial;
}

static void absent_dial(struct dial *d)
{
    d->low = d->high = d->step = d->zero = d->db_per_unit = ABSENT;
    d->scale = SCALE_NONE;
}

static bool read_dials(struct reader *r, int64_t seq, struct deck *d, struct fault *f)
{
    absent_dial(&d->bias_dial);
    absent_dial(&d->level_dial);
    absent_dial(&d->eq_dial);
    sqlite3_stmt *q =
        ask_parts(r, SQL_DIALS, "SELECT dial, unit, low, high, step, zero, plus, scale, db_per_unit FROM deck_dial WHERE seq = ?", seq, f);
    int got = -1;
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        struct columns k = columns(q);
        struct dial *t = dial_of(d, take_long(&k));
        t->present = true;
        take_text(&k, t->unit, sizeof t->unit);
        t->low = take_real(&k);
        t->high = take_real(&k);
        t->step = take_real(&k);
        t->zero = take_real(&k);
        t->plus = (enum dial_plus)take_word(&k, WORDS_PLUS, PLUS_MORE);
        t->scale = (enum dial_scale)take_word(&k, WORDS_SCALE, SCALE_NONE);
        t->db_per_unit = take_real(&k);
    }
    return got == 0;
}

static bool read_points(struct reader *r, int64_t seq, struct deck *d, struct fault *f)
{
    sqlite3_stmt *q = ask_parts(r, SQL_DIAL_POINTS, "SELECT dial, reading, db FROM deck_dial_point WHERE seq = ? ORDER BY dial, n", seq, f);
    int got = -1;
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        struct columns k = columns(q);
        struct dial *t = dial_of(d, take_long(&k));
        if (t->point_count < LIMIT_DIAL_POINTS) {
            t->points[t->point_count][0] = take_real(&k);
            t->points[t->point_count++][1] = take_real(&k);
        }
    }
    return got == 0;
}

static bool read_setups(struct reader *r, int64_t seq, struct deck *d, struct fault *f)
{
    sqlite3_stmt *q = ask_parts(
        r, SQL_SETUPS, "SELECT id, speed_mm_s, equalisation, selector, direction FROM deck_setup WHERE seq = ? ORDER BY n", seq, f);
    int got = -1;
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        if (d->setup_count == LIMIT_SETUPS)
            continue;
        struct setup *u = &d->setups[d->setup_count++];
        struct columns k = columns(q);
        take_text(&k, u->id, sizeof u->id);
        u->speed_mm_s = take_real(&k);
        take_text(&k, u->equalisation, sizeof u->equalisation);
        take_text(&k, u->selector, sizeof u->selector);
        u->direction = (enum direction)take_word(&k, WORDS_DIRECTION, DIRECTION_FORWARD);
    }
    return got == 0;
}

static bool read_counter(struct reader *r, int64_t seq, struct deck *d, struct fault *f)
{
    sqlite3_stmt *q =
        ask_parts(r, SQL_COUNTERS, "SELECT side_minutes, c1, t1_s, c2, t2_s FROM deck_counter_point WHERE seq = ? ORDER BY n", seq, f);
    int got = -1;
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        if (d->counter.point_count == LIMIT_COUNTER_POINTS)
            continue;
        struct counter_point *p = &d->counter.points[d->counter.point_count++];
        struct columns k = columns(q);
        p->side_minutes = take_real(&k);
        p->c1 = take_real(&k);
        p->t1_s = take_real(&k);
        p->c2 = take_real(&k);
        p->t2_s = take_real(&k);
    }
    return got == 0;
}

static bool read_parts(struct reader *r, int64_t seq, struct deck *d, struct fault *f)
{
    return read_dials(r, seq, d, f) && read_points(r, seq, d, f) && read_setups(r, seq, d, f) && read_counter(r, seq, d, f);
}

enum read_result read_deck(struct reader *r, const char *id, struct arena *a, struct deck *out, struct stamp *stamp, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_DECK_GET, SELECT_DECK " WHERE d.slug = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_text(&b, id);
    int got = bind_step(&b, &r->c, f);
    if (got != 1)
        return read_end(got);
    struct columns k = columns(q);
    take_deck(&k, out, stamp);
    if (out->notes && !(out->notes = arena_text(a, out->notes, strlen(out->notes)))) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a deck");
        got = -1;
    }
    if (got == 1 && !read_parts(r, stamp->seq, out, f))
        got = -1;
    sqlite3_reset(q);
    return read_end(got);
}

enum read_result walk_decks(struct reader *r, const char *after_id, int limit, deck_row row, void *user, struct fault *f)
{
    struct deck *d = mem_alloc(sizeof *d);
    sqlite3_stmt *q = d ? sql_get(&r->c, SQL_DECK_WALK, SELECT_DECK " WHERE d.slug > ? ORDER BY d.slug LIMIT ?", f) : NULL;
    if (!d)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading decks");
    int got = -1;
    if (q) {
        struct stamp stamp;
        struct binder b = bind(q);
        bind_text(&b, after_id ? after_id : "");
        bind_int(&b, limit ? limit : -1);
        while ((got = bind_step(&b, &r->c, f)) == 1) {
            struct columns k = columns(q);
            take_deck(&k, d, &stamp);
            if (!read_parts(r, stamp.seq, d, f)) {
                got = -1;
                break;
            }
            if (!row(user, d, &stamp))
                break;
        }
        sqlite3_reset(q);
    }
    mem_free(d);
    return got < 0 ? READ_FAILED : READ_OK;
}

/* ---- states ---- */

enum read_result walk_deck_states(struct reader *r, const char *id, deck_state_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&r->c, SQL_DECK_CHAIN,
                "WITH RECURSIVE chain (seq, before) AS (SELECT x.seq, x.replaces FROM deck d CROSS JOIN deck_state x ON x.deck = d.id"
                " AND x.replaced_by IS NULL WHERE d.slug = ?1 UNION ALL SELECT o.seq, o.replaces FROM chain CROSS JOIN deck_state o"
                " ON o.seq = chain.before LIMIT ?2) " SHOWN_DECK
                " FROM chain p CROSS JOIN deck_state x ON x.seq = p.seq CROSS JOIN deck d ON d.id = x.deck" NAMES " ORDER BY x.seq DESC",
                f);
    struct deck *d = q ? mem_alloc(sizeof *d) : NULL;
    if (q && !d)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a deck");
    if (!d)
        return READ_FAILED;
    struct stamp stamp;
    struct binder b = bind(q);
    bind_text(&b, id);
    bind_int(&b, LIMIT_REVISIONS);
    int got, count = 0;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        take_deck(&k, d, &stamp);
        count++;
        if (!read_parts(r, stamp.seq, d, f)) {
            got = -1;
            break;
        }
        if (!row(user, d, &stamp, stamp.member))
            break;
    }
    sqlite3_reset(q);
    mem_free(d);
    return got < 0 ? READ_FAILED : count ? READ_OK : READ_NONE;
}
