/* SPDX-License-Identifier: GPL-3.0-or-later
 * See results.h. */
#include "results.h"

#include "../ground/memory.h"
#include "../trade/check.h"
#include "../wire/wire.h"

#include <stdlib.h>
#include <string.h>

/* ---- names ---- */

struct name_entry {
    uint32_t hash;
    char *text; /* scope, NUL, text */
    size_t scope_length;
};
struct name_table {
    struct name_entry *entries;
    int count, room;
    int *slots;          /* entry + 1 */
    uint32_t slot_count; /* power of two */
};

static uint32_t name_hash(const char *scope, const char *text)
{
    uint32_t h = 2166136261u; /* FNV-1a, 32 bits: a table of one request's own names */
    for (const char *p = scope; *p; p++)
        h = (h ^ (uint8_t)*p) * 16777619u;
    h = (h ^ 0xff) * 16777619u;
    for (const char *p = text; *p; p++)
        h = (h ^ (uint8_t)*p) * 16777619u;
    return h;
}

static bool name_room(struct name_table *t)
{
    if (t->count == t->room) {
        int room = t->room ? t->room * 2 : 64;
        struct name_entry *more = mem_grow(t->entries, (size_t)room, sizeof *more);
        if (!more)
            return false;
        t->entries = more;
        t->room = room;
    }
    if ((uint32_t)t->count * 2 < t->slot_count)
        return true;
    uint32_t slots = t->slot_count ? t->slot_count * 2 : 128;
    int *fresh = mem_zero(slots, sizeof *fresh);
    if (!fresh)
        return false;
    mem_free(t->slots);
    t->slots = fresh;
    t->slot_count = slots;
    for (int i = 0; i < t->count; i++) {
        uint32_t at = t->entries[i].hash & (slots - 1);
        while (fresh[at])
            at = (at + 1) & (slots - 1);
        fresh[at] = i + 1;
    }
    return true;
}

/* -1 for "", -2 when memory is out. */
static int name_of(struct name_table *t, const char *scope, const char *text)
{
    if (!*text)
        return -1;
    if (!name_room(t))
        return -2;
    uint32_t hash = name_hash(scope, text), at = hash & (t->slot_count - 1);
    for (; t->slots[at]; at = (at + 1) & (t->slot_count - 1)) {
        const struct name_entry *e = &t->entries[t->slots[at] - 1];
        if (e->hash == hash && !strcmp(e->text, scope) && !strcmp(e->text + e->scope_length + 1, text))
            return t->slots[at] - 1;
    }
    size_t n = strlen(scope), m = strlen(text);
    char *both = mem_alloc(n + m + 2);
    if (!both)
        return -2;
    memcpy(both, scope, n + 1);
    memcpy(both + n + 1, text, m + 1);
    t->entries[t->count] = (struct name_entry){hash, both, n};
    t->slots[at] = ++t->count;
    return t->count - 1;
}

const char *results_name(const struct results *r, int name)
{
    return name < 0 ? "" : r->names->entries[name].text + r->names->entries[name].scope_length + 1;
}

int results_distinct(const struct results *r, int (*name)(const struct result *row))
{
    unsigned char *seen = mem_zero((size_t)r->names->count + 1, 1);
    int n = seen ? 0 : -1;
    for (int i = 0; seen && i < r->count; i++) {
        int at = name(&r->rows[i]);
        if (at >= 0 && !seen[at]) {
            seen[at] = 1;
            n++;
        }
    }
    mem_free(seen);
    return n;
}

void json_member_text_or_null(struct buffer *b, const char *name, const char *text)
{
    if (text) {
        json_member_text(b, name, text);
    } else {
        json_name(b, name);
        buffer_text(b, "null");
    }
}

/* ---- reading ---- */

struct reading {
    const struct view *view;
    struct results *out;
    bool failed;
};

static bool take_row(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct reading *w = user;
    struct results *out = w->out;
    const struct deck *d = catalog_deck(w->view->catalog, c->deck);
    const struct stock *s = catalog_stock(w->view->catalog, c->stock);
    if (!d || !s) /* logged after this view's catalog */
        return true;
    if (out->count == LIMIT_RESULTS) {
        out->more = true;
        return false;
    }
    if (out->count == out->room) {
        int room = out->room ? out->room * 2 : 256;
        struct result *more = mem_grow(out->rows, (size_t)room, sizeof *more);
        if (!more) {
            w->failed = true;
            return false;
        }
        out->rows = more;
        out->room = room;
    }
    struct result *row = &out->rows[out->count];
    *row = (struct result){.id = c->id,
                           .made_at_us = c->made_at_us,
                           .made_at_offset_minutes = c->made_at_offset_minutes,
                           .deck = d,
                           .stock = s,
                           .left_out = model_left_out(c, stamp),
                           .channel = c->channel,
                           .method = c->bias_method,
                           .recordings = c->recordings,
                           .settled = c->settled,
                           .stopped = c->bias_stop != STOP_NONE || c->level_stop != STOP_NONE,
                           .reading = {c->bias, c->level},
                           .low_balance_db = c->low_balance_db,
                           .high_balance_db = c->high_balance_db,
                           .unsteady_db = c->unsteady_db,
                           .peak_db = c->peak_db};
    row->tape = name_of(out->names, s->id, c->tape);
    row->batch = name_of(out->names, s->id, c->batch);
    row->member = name_of(out->names, "", stamp->author[0] ? stamp->author : stamp->member);
    if (row->tape == -2 || row->batch == -2 || row->member == -2) {
        w->failed = true;
        return false;
    }
    model_explain(w->view->model, c, d, s, &row->is);
    out->count++;
    return true;
}

static int by_time(const void *a, const void *b)
{
    const struct result *x = a, *y = b;
    if (x->made_at_us != y->made_at_us)
        return x->made_at_us < y->made_at_us ? -1 : 1;
    return memcmp(x->id.bytes, y->id.bytes, sizeof x->id.bytes);
}

bool results_read(const struct view *v, struct reader *r, const char *deck, const char *stock, struct results *out, struct fault *f)
{
    struct calibration_filter filter = {
        .deck = deck, .stock = stock, .since_us = CLOCK_NONE, .newest_first = true, .limit = LIMIT_RESULTS + 1};
    struct reading w = {.view = v, .out = out};
    *out = (struct results){.names = mem_zero(1, sizeof *out->names)};
    if (!out->names)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    if (walk_calibrations(r, &filter, false, take_row, &w, f) == READ_FAILED)
        return false;
    if (w.failed)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading results");
    out->name_count = out->names->count;
    if (out->count)
        qsort(out->rows, (size_t)out->count, sizeof *out->rows, by_time);
    return true;
}

void results_free(struct results *r)
{
    for (int i = 0; r->names && i < r->names->count; i++)
        mem_free(r->names->entries[i].text);
    if (r->names) {
        mem_free(r->names->entries);
        mem_free(r->names->slots);
    }
    mem_free(r->names);
    mem_free(r->rows);
    *r = (struct results){0};
}

/* ---- the club's decks and stocks ---- */

const struct deck *captured_deck(const struct view *v, const struct exchange *x, struct fault *f)
{
    const struct deck *d = catalog_deck(v->catalog, x->request.captures[0]);
    if (!d)
        fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck", "the club has no deck '%.64s'; check its short name in the list of decks",
                  x->request.captures[0]);
    return d;
}

const struct stock *captured_stock(const struct view *v, const struct exchange *x, struct fault *f)
{
    const struct stock *s = catalog_stock(v->catalog, x->request.captures[0]);
    if (!s)
        fault_add(f, FAULT_UNKNOWN, "stock", "unknown-stock", "the club has no stock '%.64s'; check its short name in the list of tapes",
                  x->request.captures[0]);
    return s;
}

static int deck_by_name(const void *a, const void *b)
{
    const struct deck *const *x = a, *const *y = b;
    int order = strcmp((*x)->name, (*y)->name);
    return order ? order : strcmp((*x)->id, (*y)->id);
}

static int stock_by_name(const void *a, const void *b)
{
    const struct stock *const *x = a, *const *y = b;
    int order = strcmp((*x)->name, (*y)->name);
    return order ? order : strcmp((*x)->id, (*y)->id);
}

const struct deck **catalog_decks(const struct view *v, struct arena *a, enum medium medium, int *count)
{
    const struct deck **list = arena_alloc(a, (v->catalog->count + 1) * sizeof(const struct deck *));
    *count = 0;
    for (size_t i = 0; list && i < v->catalog->count; i++) {
        const struct catalog_entry *e = v->catalog->entries[i];
        if (e->is_deck && (medium == MEDIUM_NONE || e->deck->medium == medium))
            list[(*count)++] = e->deck;
    }
    if (list && *count)
        qsort(list, (size_t)*count, sizeof *list, deck_by_name);
    return list;
}

const struct stock **catalog_stocks(const struct view *v, struct arena *a, enum medium medium, int *count)
{
    const struct stock **list = arena_alloc(a, (v->catalog->count + 1) * sizeof(const struct stock *));
    *count = 0;
    for (size_t i = 0; list && i < v->catalog->count; i++) {
        const struct catalog_entry *e = v->catalog->entries[i];
        if (!e->is_deck && (medium == MEDIUM_NONE || stock_medium(e->stock) == medium))
            list[(*count)++] = e->stock;
    }
    if (list && *count)
        qsort(list, (size_t)*count, sizeof *list, stock_by_name);
    return list;
}
