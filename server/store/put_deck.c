/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A deck into its rows: the state, its dials with their points, its setups, its counter's points.
 */
#include "inside.h"

#include <string.h>

/* A slug's place among the cached ones: FNV-1a. */
static size_t slot_of(const char *slug)
{
    uint32_t h = 2166136261u;
    for (; *slug; slug++)
        h = (h ^ (uint8_t)*slug) * 16777619u;
    return h % CACHE_SLOTS;
}

/* Id of a slug through the cache; 0 unknown, -1 failed. */
static int64_t slug_id(struct store *s, struct cached_slug *cache, enum sql which, const char *text, const char *slug, struct fault *f)
{
    struct cached_slug *slot = &cache[slot_of(slug)];
    if (slot->id && strcmp(slot->slug, slug) == 0)
        return slot->id;
    struct connection *c = &s->writer;
    sqlite3_stmt *q = sql_get(c, which, text, f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_text(&b, slug);
    int got = bind_step(&b, c, f);
    if (got <= 0)
        return got;
    slot->id = sqlite3_column_int64(q, 0);
    strncpy(slot->slug, slug, LIMIT_SLUG);
    sqlite3_reset(q);
    return slot->id;
}

int64_t deck_id(struct store *s, const char *slug, struct fault *f)
{
    return slug_id(s, s->caches->decks, SQL_DECK_ID, "SELECT id FROM deck WHERE slug = ?", slug, f);
}

int64_t stock_id(struct store *s, const char *slug, struct fault *f)
{
    return slug_id(s, s->caches->stocks, SQL_STOCK_ID, "SELECT id FROM stock WHERE slug = ?", slug, f);
}

void take_state(struct columns *c, struct state *out)
{
    *out = (struct state){.seq = take_int(c), .revision = (int)take_int(c)};
    take_bytes(c, out->digest, sizeof out->digest);
    out->author = take_int(c);
    out->stored_us = take_int(c);
    take_text(c, out->origin, sizeof out->origin);
    out->writer = take_int(c);
}

/* Runs the one-row question for a thing's standing state. */
static int state_by_slug(struct store *s, enum sql which, const char *text, const char *slug, struct state *out, struct fault *f)
{
    struct connection *c = &s->writer;
    sqlite3_stmt *q = sql_get(c, which, text, f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_text(&b, slug);
    int got = bind_step(&b, c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_state(&k, out);
        sqlite3_reset(q);
    }
    return got;
}

int deck_find(struct store *s, const char *slug, struct state *out, struct fault *f)
{
    return state_by_slug(s, SQL_DECK_STATE,
                         "SELECT " STATE_COLUMNS
                         ", member FROM deck_state WHERE deck = (SELECT id FROM deck WHERE slug = ?) AND replaced_by IS NULL",
                         slug, out, f);
}

int stock_find(struct store *s, const char *slug, struct state *out, struct fault *f)
{
    return state_by_slug(s, SQL_STOCK_STATE,
                         "SELECT " STATE_COLUMNS
                         ", member FROM stock_state WHERE stock = (SELECT id FROM stock WHERE slug = ?) AND replaced_by IS NULL",
                         slug, out, f);
}

bool state_replaced(struct store *s, enum sql which, const char *text, int64_t old, int64_t by, struct fault *f)
{
    if (!old)
        return true;
    sqlite3_stmt *q = sql_get(&s->writer, which, text, f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, by);
    bind_int(&b, old);
    return bind_run(&b, &s->writer, f);
}

/* ---- parts of a deck ---- */

static bool put_points(struct store *s, int64_t seq, const char *name, const struct dial *d, struct fault *f)
{
    for (int i = 0; i < d->point_count; i++) {
        sqlite3_stmt *q = sql_get(&s->writer, SQL_DIAL_POINT_PUT, "INSERT INTO deck_dial_point VALUES (?, ?, ?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_text(&b, name);
        bind_int(&b, i);
        bind_real(&b, d->points[i][0]);
        bind_real(&b, d->points[i][1]);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

static bool put_dial(struct store *s, int64_t seq, const char *name, const struct dial *d, struct fault *f)
{
    if (!d->present)
        return true;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_DIAL_PUT, "INSERT INTO deck_dial VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", f);
    if (!q)
        return false;
    struct binder b = bind(q);
    bind_int(&b, seq);
    bind_text(&b, name);
    bind_text(&b, d->unit);
    bind_real(&b, d->low);
    bind_real(&b, d->high);
    bind_real(&b, d->step);
    bind_real(&b, d->zero);
    bind_word(&b, WORDS_PLUS, (int)d->plus);
    bind_word(&b, WORDS_SCALE, (int)d->scale);
    bind_real(&b, d->db_per_unit);
    return bind_run(&b, &s->writer, f) && put_points(s, seq, name, d, f);
}

static bool put_setups(struct store *s, int64_t seq, const struct deck *d, struct fault *f)
{
    for (int i = 0; i < d->setup_count; i++) {
        const struct setup *u = &d->setups[i];
        sqlite3_stmt *q = sql_get(&s->writer, SQL_SETUP_PUT, "INSERT INTO deck_setup VALUES (?, ?, ?, ?, ?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_int(&b, i);
        bind_text(&b, u->id);
        bind_real(&b, u->speed_mm_s);
        bind_text(&b, u->equalisation);
        bind_text(&b, u->selector);
        bind_word(&b, WORDS_DIRECTION, (int)u->direction);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

static bool put_counter(struct store *s, int64_t seq, const struct counter *r, struct fault *f)
{
    for (int i = 0; i < r->point_count; i++) {
        const struct counter_point *p = &r->points[i];
        sqlite3_stmt *q = sql_get(&s->writer, SQL_COUNTER_PUT, "INSERT INTO deck_counter_point VALUES (?, ?, ?, ?, ?, ?, ?)", f);
        if (!q)
            return false;
        struct binder b = bind(q);
        bind_int(&b, seq);
        bind_int(&b, i);
        bind_real(&b, p->side_minutes);
        bind_real(&b, p->c1);
        bind_real(&b, p->t1_s);
        bind_real(&b, p->c2);
        bind_real(&b, p->t2_s);
        if (!bind_run(&b, &s->writer, f))
            return false;
    }
    return true;
}

/* The deck's id, made when it is new; -1 failed. */
static int64_t ensure_id(struct store *s, const char *slug, struct fault *f)
{
    int64_t id = deck_id(s, slug, f);
    if (id)
        return id;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_DECK_NEW, "INSERT INTO deck (slug) VALUES (?)", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_text(&b, slug);
    return bind_run(&b, &s->writer, f) ? sqlite3_last_insert_rowid(s->writer.db) : -1;
}

bool deck_put(struct store *s, const struct deck *d, const struct next_state *n, struct fault *f)
{
    int64_t id = ensure_id(s, d->id, f);
    if (id < 0 || !state_replaced(s, SQL_DECK_REPLACE, "UPDATE deck_state SET replaced_by = ? WHERE seq = ?", n->replaces, n->seq, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_DECK_PUT,
                "INSERT INTO deck_state (seq, deck, revision, replaces, stored_us, member, author, origin, digest, name, model, medium,"
                " heads, tracks, per_channel, counter, turns_per_count, low_hz, high_hz, tone_db, reference_nwb_m, meter_step_db,"
                " warm_up_minutes, notes) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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
    bind_text(&b, d->name);
    bind_text(&b, d->model);
    bind_word(&b, WORDS_MEDIUM, (int)d->medium);
    bind_count(&b, d->heads);
    bind_count(&b, d->tracks);
    bind_int(&b, d->per_channel);
    bind_word(&b, WORDS_COUNTER, (int)d->counter.kind);
    bind_real(&b, d->counter.turns_per_count);
    bind_real(&b, d->low_hz);
    bind_real(&b, d->high_hz);
    bind_real(&b, d->tone_db);
    bind_real(&b, d->reference_nwb_m);
    bind_real(&b, d->meter_step_db);
    bind_real(&b, d->warm_up_minutes);
    bind_given(&b, d->notes);
    return bind_run(&b, &s->writer, f) && put_dial(s, n->seq, "bias", &d->bias_dial, f) &&
           put_dial(s, n->seq, "level", &d->level_dial, f) && put_dial(s, n->seq, "eq", &d->eq_dial, f) && put_setups(s, n->seq, d, f) &&
           put_counter(s, n->seq, &d->counter, f);
}
