/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Builds the row equation: canonical order, levels, design, responses. Once a fit.
 */
#include "equation.h"

#include "../ground/memory.h"
#include "flat_rows.h"

#include <stdlib.h>
#include <string.h>

const double block_prior[BLOCKS] = {[FAMILY] = 0.95,  [STOCK] = 0.3, [BATCH] = 0.25, [TAPE] = 0.25, [MODEL] = 0.5,      [DECK] = 0.7,
                                    [CHANNEL] = 0.25, [SETUP] = 0.3, [ERA] = 0.3,    [TREND] = 0.2, [DECK_CLASS] = 0.4, [PAIR] = 0.2};

const char *block_name(enum block b)
{
    static const char *const names[BLOCKS] = {
        "family", "stock", "batch", "tape", "deck model", "deck", "channel", "setup", "era", "change over time", "deck and class", "pair"};
    return names[b];
}

double class_prior_sd(int tape_class)
{
    return tape_class >= 0 && tape_class < CLASS_REEL_STANDARD ? 0.6 : 1.5;
}

double recordings_value(int recordings)
{
    return recordings < 0 ? UNCOUNTED : log2(1.0 + recordings);
}

double place_value(double part)
{
    return given(part) ? part - 0.5 : 0;
}

struct level_key family_key(const struct facts *x, int stock)
{
    int family = x->stocks[stock]->family;
    return family != WORD_NONE ? (struct level_key){family, 0, 0} : (struct level_key){stock, LEVEL_ALONE, 0};
}

struct level_key model_key(const struct facts *x, int deck)
{
    int model = x->decks[deck]->model;
    return model != WORD_NONE ? (struct level_key){model, 0, 0} : (struct level_key){deck, LEVEL_ALONE, 0};
}

void level_keys_of(const struct facts *x, const struct fact_row *row, struct level_key key[BLOCKS])
{
    const struct fact_deck *d = x->decks[row->deck];
    const struct fact_stock *s = x->stocks[row->stock];
    int era = facts_era(d, row->made_at_us);
    bool resets = false;
    for (int i = 0; i < d->service_count; i++)
        resets |= d->services[i].resets;
    /* A result without readings is set by taste as much as by tones: a method of its own. */
    bool blind = row->method == METHOD_FLAT && !(given(row->low_db) && given(row->high_db));
    bool plain = row->setup == WORD_NONE && row->method == METHOD_FLAT && !blind;
    for (int b = 0; b < BLOCKS; b++)
        key[b] = (struct level_key){-1, 0, 0};
    key[FAMILY] = family_key(x, row->stock);
    key[STOCK].a = row->stock;
    if (row->batch != WORD_NONE)
        key[BATCH] = (struct level_key){row->stock, row->batch, 0};
    if (row->tape != WORD_NONE)
        key[TAPE] = (struct level_key){row->stock, row->tape, 0};
    key[MODEL] = model_key(x, row->deck);
    key[DECK].a = row->deck;
    if (row->channel != CHANNEL_BOTH)
        key[CHANNEL] = (struct level_key){row->deck, row->channel, 0};
    if (!plain)
        key[SETUP] = (struct level_key){row->deck, row->setup + 1, blind ? METHOD_BLIND : row->method};
    if (resets)
        key[ERA] = (struct level_key){row->deck, era, 0};
    key[TREND] = (struct level_key){row->deck, era, 0};
    key[DECK_CLASS] = (struct level_key){row->deck, (int)s->tape_class, 0};
    key[PAIR] = (struct level_key){row->deck, row->stock, 0};
}

/* ---- canonical order ---- */

struct order {
    uint8_t id[16];
    int fact;
};

static int by_id(const void *a, const void *b)
{
    return memcmp(((const struct order *)a)->id, ((const struct order *)b)->id, 16);
}

/* A row is in the sample when its own hash says so: the sample is a function of the ids and of how many rows there are. */
bool equation_sampled(const struct fact_row *row, int rows, int sample)
{
    if (sample <= 0 || rows <= sample)
        return true;
    uint64_t h = word_hash(7, row->id.bytes, sizeof row->id.bytes);
    return (double)(h >> 11) * 0x1p-53 < (double)sample / rows;
}

static bool wanted(const struct fact_row *row, const struct equation_options *o)
{
    return row->state == ROW_USED && (o->before_us == CLOCK_NONE || row->made_at_us < o->before_us);
}

static bool put_in_order(struct equation *q, const struct facts *x, const struct equation_options *o)
{
    int used = 0;
    for (int i = 0; i < x->row_count; i++)
        used += wanted(&x->rows[i], o);
    struct order *order = mem_zero((size_t)used + 1, sizeof *order);
    if (!order)
        return false;
    for (int i = 0; i < x->row_count; i++)
        if (wanted(&x->rows[i], o) && equation_sampled(&x->rows[i], x->used, o->sample)) {
            memcpy(order[q->rows].id, x->rows[i].id.bytes, 16);
            order[q->rows++].fact = i;
        }
    qsort(order, (size_t)q->rows, sizeof *order, by_id);
    q->fact = mem_zero((size_t)q->rows + 1, sizeof *q->fact);
    for (int i = 0; q->fact && i < q->rows; i++)
        q->fact[i] = order[i].fact;
    mem_free(order);
    return q->fact != NULL;
}

/* ---- levels ---- */

static uint64_t key_hash(enum block b, const struct level_key *key)
{
    int all[4] = {(int)b, key->a, key->b, key->c};
    return word_hash(2, all, sizeof all);
}

static size_t key_slot(const struct equation *q, enum block b, const struct level_key *key)
{
    size_t s = (size_t)key_hash(b, key) & (q->slots - 1);
    for (; q->index[s]; s = (s + 1) & (q->slots - 1)) {
        int e = q->index[s] - 1;
        if (q->entry_block[e] == (int)b && memcmp(&q->key[b][q->entry_level[e]], key, sizeof *key) == 0)
            break;
    }
    return s;
}

int equation_level(const struct equation *q, enum block b, const struct level_key *key)
{
    if (key->a < 0 || !q->slots)
        return -1;
    int e = q->index[key_slot(q, b, key)] - 1;
    return e < 0 ? -1 : q->entry_level[e];
}

static bool level_room(struct equation *q, enum block b, int room[BLOCKS])
{
    if (q->count[b] == room[b]) {
        int next = room[b] ? room[b] * 2 : 64;
        struct level_key *more = mem_grow(q->key[b], (size_t)next, sizeof *more);
        if (!more)
            return false;
        q->key[b] = more;
        room[b] = next;
    }
    if (q->entries == q->entry_room) {
        int next = q->entry_room ? q->entry_room * 2 : 256;
        int *block = mem_grow(q->entry_block, (size_t)next, sizeof *block);
        if (block)
            q->entry_block = block;
        int *level = mem_grow(q->entry_level, (size_t)next, sizeof *level);
        if (level)
            q->entry_level = level;
        if (!block || !level)
            return false;
        q->entry_room = next;
    }
    if ((size_t)q->entries * 2 < q->slots)
        return true;
    size_t slots = q->slots ? q->slots * 4 : 1024;
    int *index = mem_zero(slots, sizeof *index);
    if (!index)
        return false;
    mem_free(q->index);
    q->index = index;
    q->slots = slots;
    for (int e = 0; e < q->entries; e++) {
        enum block of = (enum block)q->entry_block[e];
        q->index[key_slot(q, of, &q->key[of][q->entry_level[e]])] = e + 1;
    }
    return true;
}

static bool put_level(struct equation *q, enum block b, const struct level_key *key, int room[BLOCKS], int *level)
{
    *level = -1;
    if (key->a < 0)
        return true;
    if (!level_room(q, b, room))
        return false;
    size_t s = key_slot(q, b, key);
    if (q->index[s]) {
        *level = q->entry_level[q->index[s] - 1];
        return true;
    }
    *level = q->count[b]++;
    q->key[b][*level] = *key;
    q->entry_block[q->entries] = (int)b;
    q->entry_level[q->entries] = *level;
    q->index[s] = ++q->entries;
    return true;
}

static bool find_last(struct equation *q, const struct facts *x)
{
    q->deck_last_us = mem_zero((size_t)x->deck_count + 1, sizeof *q->deck_last_us);
    for (int d = 0; q->deck_last_us && d < x->deck_count; d++)
        q->deck_last_us[d] = CLOCK_NONE;
    for (int i = 0; q->deck_last_us && i < q->rows; i++) {
        const struct fact_row *row = &x->rows[q->fact[i]];
        if (row->made_at_us > q->deck_last_us[row->deck])
            q->deck_last_us[row->deck] = row->made_at_us;
    }
    return q->deck_last_us != NULL;
}

static bool find_levels(struct equation *q, const struct facts *x)
{
    int room[BLOCKS] = {0};
    q->level = mem_zero((size_t)q->rows + 1, sizeof *q->level);
    if (!q->level)
        return false;
    for (int i = 0; i < q->rows; i++) {
        const struct fact_row *row = &x->rows[q->fact[i]];
        struct level_key key[BLOCKS];
        level_keys_of(x, row, key);
        for (int b = 0; b < BLOCKS; b++)
            if (!put_level(q, (enum block)b, &key[b], room, &q->level[i][b]))
                return false;
    }
    q->columns = KNOWN_COLUMNS;
    for (int b = 0; b < BLOCKS; b++) {
        q->first[b] = q->columns;
        q->columns += q->count[b];
    }
    return true;
}

/* ---- eras ---- */

static bool find_eras(struct equation *q, const struct facts *x)
{
    size_t eras = (size_t)q->count[TREND] + 1;
    q->era_middle_us = mem_zero(eras, sizeof *q->era_middle_us);
    q->era_first_us = mem_zero(eras, sizeof *q->era_first_us);
    q->era_last_us = mem_zero(eras, sizeof *q->era_last_us);
    if (!q->era_middle_us || !q->era_first_us || !q->era_last_us)
        return false;
    for (int e = 0; e < q->count[TREND]; e++) {
        q->era_first_us[e] = INT64_MAX;
        q->era_last_us[e] = INT64_MIN;
    }
    for (int i = 0; i < q->rows; i++) {
        const struct fact_row *row = &x->rows[q->fact[i]];
        int e = q->level[i][TREND];
        if (row->made_at_us < q->era_first_us[e])
            q->era_first_us[e] = row->made_at_us;
        if (row->made_at_us > q->era_last_us[e])
            q->era_last_us[e] = row->made_at_us;
    }
    for (int e = 0; e < q->count[TREND]; e++)
        q->era_middle_us[e] = q->era_first_us[e] + (q->era_last_us[e] - q->era_first_us[e]) / 2;
    return true;
}

/* ---- design and responses ---- */

static void add_row(struct equation *q, const struct facts *x, int i)
{
    const struct fact_row *row = &x->rows[q->fact[i]];
    const struct fact_stock *s = x->stocks[row->stock];
    struct design *d = &q->design;
    int c = (int)s->tape_class;
    if (c >= 0 && c < CLASS_COUNT) {
        design_add(d, CLASS_AT + c, 1);
        if (row->recordings != 0)
            design_add(d, RECORDINGS_AT + c, recordings_value(row->recordings));
    }
    if (given(row->part))
        design_add(d, PLACE_AT, place_value(row->part));
    for (int r = 0; r < RESPONSES; r++)
        if (given(s->sheet[r]))
            design_add(d, SHEET_AT + r, s->sheet[r]);
    for (int b = 0; b < BLOCKS; b++)
        if (q->level[i][b] >= 0)
            design_add(d, q->first[b] + q->level[i][b],
                       b == TREND ? clock_years_between(q->era_middle_us[q->level[i][b]], row->made_at_us) : 1);
    design_end_row(d);
}

static bool make_arrays(struct equation *q)
{
    size_t n = (size_t)q->rows + 1;
    q->v = mem_zero(n, sizeof *q->v);
    bool ok = q->v != NULL;
    for (int r = 0; r < RESPONSES; r++) {
        q->y[r] = mem_zero(n, sizeof *q->y[r]);
        q->s2[r] = mem_zero(n, sizeof *q->s2[r]);
        q->kind[r] = mem_zero(n, 1);
        q->stop[r] = mem_zero(n, 1);
        ok = ok && q->y[r] && q->s2[r] && q->kind[r] && q->stop[r];
    }
    return ok;
}

static bool fill_rows(struct equation *q, const struct facts *x, const struct equation_options *o)
{
    struct flat_memo memo;
    flat_memo_init(&memo);
    if (!make_arrays(q))
        return false;
    design_init(&q->design, q->columns);
    for (int i = 0; i < q->rows; i++) {
        struct row_response out;
        add_row(q, x, i);
        row_respond(x, &x->rows[q->fact[i]], o, &memo, &out);
        q->v[i] = out.v;
        for (int r = 0; r < RESPONSES; r++) {
            q->y[r][i] = out.y[r];
            q->s2[r][i] = out.s2[r];
            q->kind[r][i] = out.kind[r];
            q->stop[r][i] = out.stop[r];
        }
    }
    return design_close(&q->design);
}

bool equation_build(struct equation *q, const struct facts *x, const struct equation_options *o)
{
    *q = (struct equation){0};
    if (put_in_order(q, x, o) && find_last(q, x) && find_levels(q, x) && find_eras(q, x) && fill_rows(q, x, o))
        return true;
    equation_free(q);
    return false;
}

void equation_free(struct equation *q)
{
    mem_free(q->fact);
    mem_free(q->level);
    for (int b = 0; b < BLOCKS; b++)
        mem_free(q->key[b]);
    mem_free(q->era_middle_us);
    mem_free(q->era_first_us);
    mem_free(q->era_last_us);
    mem_free(q->deck_last_us);
    design_free(&q->design);
    mem_free(q->v);
    for (int r = 0; r < RESPONSES; r++) {
        mem_free(q->y[r]);
        mem_free(q->s2[r]);
        mem_free(q->kind[r]);
        mem_free(q->stop[r]);
    }
    mem_free(q->index);
    mem_free(q->entry_block);
    mem_free(q->entry_level);
    *q = (struct equation){0};
}
