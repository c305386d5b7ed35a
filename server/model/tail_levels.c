/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which levels a late result names, and places in the tables for those that are new. A new level is independent of everything at first, so what contains it only
 * gains its prior variance.
 */
#include "tail_inside.h"

#include "../ground/memory.h"

#include <string.h>

static int known_effect(const struct tail *w, enum block b, const struct level_key *key)
{
    int level = equation_level(&w->fit->q, b, key);
    if (level >= 0)
        return w->fit->q.first[b] - KNOWN_COLUMNS + level;
    for (int i = 0; i < w->level_count; i++)
        if (w->level[i].block == b && memcmp(&w->level[i].key, key, sizeof *key) == 0)
            return w->level[i].effect;
    return -1;
}

static int stock_entry(const struct tail *w, const struct facts *x, int stock)
{
    return view_find(&w->t->view, view_hash(KEY_STOCK, view_text(x->stocks[stock]->id), 0, 0));
}

/* ---- places ---- */

static void widen_bases(struct tail *w, int deck, int r, double variance, bool timeless)
{
    struct tables *t = w->t;
    for (int b = 0; b < t->head->bases; b++)
        if (t->base_deck[b] == deck) {
            t->bases[b].variance[r] += (float)variance;
            if (timeless)
                t->bases[b].timeless[r] += (float)variance;
        }
}

/* A stock that the tables do not know: as its family or class, with its own figure. */
static int add_stock(struct tail *w, const struct facts *x, int stock)
{
    struct tables *t = w->t;
    const struct fact_stock *s = x->stocks[stock];
    int c = (int)s->tape_class, at = t->head->stocks, like = -1;
    if (at == t->head->stock_room || c < 0 || c >= CLASS_COUNT)
        return -1;
    if (s->family != WORD_NONE)
        like = view_find(&t->view, view_hash(KEY_FAMILY, view_text(words_text(&x->words, s->family)), (uint64_t)c, 0));
    if (like < 0)
        like = t->head->class_first + c;
    t->stocks[at] = t->stocks[like];
    for (int r = 0; r < RESPONSES; r++) {
        t->stocks[at].sheet[r] = s->sheet[r];
        if (given(s->sheet[r]))
            t->stocks[at].variance[r] += (float)(s->sheet[r] * s->sheet[r] * t->head->known[SHEET_AT + r].variance[r]);
        for (int b = 0; b < t->head->bases; b++) {
            float *row = t->covariance[r] + (size_t)b * (size_t)t->head->stock_room;
            row[at] = row[like];
        }
    }
    t->head->stocks++;
    tables_put_slot(t, view_hash(KEY_STOCK, view_text(s->id), 0, 0), at);
    return at;
}

/* A deck that the tables do not know: a base like that of its model, or of nothing. */
static bool add_deck(struct tail *w, const struct facts *x, int deck)
{
    struct tables *t = w->t;
    const struct fact_deck *d = x->decks[deck];
    if (deck != t->head->decks || deck >= t->head->deck_room || t->head->bases == t->head->base_room || d->service_count)
        return false;
    uint64_t name = view_text(words_text(&x->words, d->model));
    int base = t->head->bases++, model = d->model == WORD_NONE ? -1 : view_find(&t->view, view_hash(KEY_MODEL, name, 0, 0));
    int like = model < 0 ? -1 : view_find(&t->view, view_hash(KEY_MODEL_BASE, name, 0, 0));
    if (like < 0)
        like = t->head->base_none;
    t->bases[base] = t->bases[like];
    t->base_deck[base] = deck;
    t->base_model[base] = t->base_model[like];
    t->base_class[base] = -1;
    for (int r = 0; r < RESPONSES; r++)
        memcpy(t->covariance[r] + (size_t)base * (size_t)t->head->stock_room, t->covariance[r] + (size_t)like * (size_t)t->head->stock_room,
               (size_t)t->head->stock_room * sizeof(float));
    struct view_deck *k = &t->decks[deck];
    *k = (struct view_deck){.last_us = CLOCK_NONE, .deck_effect = -1, .model_effect = t->base_model[like], .base_era = -1};
    for (int c = 0; c <= CLASS_COUNT; c++)
        k->base[c] = base;
    for (int c = 0; c < CLASS_COUNT; c++)
        k->class_effect[c] = -1;
    t->head->decks++;
    tables_put_slot(t, view_hash(KEY_DECK, view_text(d->deck.id), 0, 0), deck);
    return true;
}

static bool add_class_base(struct tail *w, int deck, int c, int effect)
{
    struct tables *t = w->t;
    struct view_deck *k = &t->decks[deck];
    int like = k->base[CLASS_COUNT], base = t->head->bases;
    if (base == t->head->base_room || c < 0 || c >= CLASS_COUNT)
        return false;
    t->head->bases++;
    t->bases[base] = t->bases[like];
    t->base_deck[base] = deck;
    t->base_model[base] = t->base_model[like];
    t->base_class[base] = c;
    for (int r = 0; r < RESPONSES; r++) {
        double variance = t->head->sd[r][DECK_CLASS] * t->head->sd[r][DECK_CLASS];
        t->bases[base].variance[r] += (float)variance;
        t->bases[base].timeless[r] += (float)variance;
        memcpy(t->covariance[r] + (size_t)base * (size_t)t->head->stock_room, t->covariance[r] + (size_t)like * (size_t)t->head->stock_room,
               (size_t)t->head->stock_room * sizeof(float));
    }
    k->base[c] = base;
    k->class_effect[c] = effect;
    return true;
}

/* The first era of a deck that had no result; later ones change what the bases mean. */
static struct view_era *era_of(struct tail *w, int deck, int number, const struct fact_row *row)
{
    struct tables *t = w->t;
    struct view_deck *k = &t->decks[deck];
    for (int i = 0; i < k->era_count; i++)
        if (t->eras[k->era_first + i].number == number)
            return &t->eras[k->era_first + i];
    if (k->era_count || t->head->eras == t->head->era_room)
        return NULL;
    int at = t->head->eras++;
    t->eras[at] =
        (struct view_era){.middle_us = row->made_at_us, .last_us = row->made_at_us, .number = number, .era_effect = -1, .trend_effect = -1};
    k->era_first = k->base_era = at;
    k->era_count = 1;
    return &t->eras[at];
}

/* ---- new levels ---- */

static bool link_stock(struct tail *w, const struct facts *x, enum block b, const struct level_key *key, int stock, int effect)
{
    struct tables *t = w->t;
    int entry = stock_entry(w, x, stock);
    uint64_t id = view_text(x->stocks[stock]->id);
    if (b == FAMILY || b == STOCK) {
        if (b == FAMILY)
            t->stocks[entry].family_effect = effect;
        else
            t->stocks[entry].stock_effect = effect;
        for (int r = 0; r < RESPONSES; r++)
            t->stocks[entry].variance[r] += t->effects[effect].variance[r];
        return true;
    }
    t->effect_stock[effect] = entry;
    tables_put_slot(t, view_hash(b == TAPE ? KEY_TAPE : KEY_BATCH, id, view_text(words_text(&x->words, key->b)), 0), effect);
    return true;
}

static bool link_time(struct tail *w, enum block b, const struct level_key *key, const struct fact_row *row, int effect)
{
    struct view_deck *k = &w->t->decks[row->deck];
    bool first = k->era_count == 0;
    struct view_era *era = era_of(w, row->deck, key->b, row);
    if (!era)
        return false;
    bool fresh =
        first || (k->base_era >= 0 && era == &w->t->eras[k->base_era] && k->era_count == 1 && w->t->effects[k->deck_effect].rows == 0);
    if (!fresh)
        return false;
    *(b == ERA ? &era->era_effect : &era->trend_effect) = effect;
    w->t->effect_base[effect] = k->base[CLASS_COUNT];
    for (int r = 0; b != TREND && r < RESPONSES; r++) /* the trend's argument is 0 there */
        widen_bases(w, row->deck, r, (double)w->t->effects[effect].variance[r], false);
    return true;
}

static bool link_deck(struct tail *w, const struct facts *x, enum block b, const struct level_key *key, const struct fact_row *row,
                      int effect)
{
    struct tables *t = w->t;
    struct view_deck *k = &t->decks[row->deck];
    uint64_t id = view_text(x->decks[row->deck]->deck.id);
    switch (b) {
    case MODEL:
    case DECK:
        if (b == MODEL) {
            k->model_effect = effect;
            for (int i = 0; i < t->head->bases; i++)
                if (t->base_deck[i] == row->deck)
                    t->base_model[i] = effect;
        } else
            k->deck_effect = effect;
        for (int r = 0; r < RESPONSES; r++)
            widen_bases(w, row->deck, r, (double)t->effects[effect].variance[r], true);
        return true;
    case CHANNEL:
    case SETUP:
        t->effect_base[effect] = k->base[CLASS_COUNT];
        tables_put_slot(t,
                        b == CHANNEL ? view_hash(KEY_CHANNEL, id, (uint64_t)key->b, 0)
                                     : view_hash(KEY_SETUP, id, view_text(words_text(&x->words, key->b - 1)), (uint64_t)key->c),
                        effect);
        return true;
    case DECK_CLASS: return add_class_base(w, row->deck, key->b, effect);
    case PAIR: {
        int c = (int)x->stocks[row->stock]->tape_class;
        t->effect_stock[effect] = stock_entry(w, x, row->stock);
        t->effect_base[effect] = k->base[c >= 0 && c < CLASS_COUNT ? c : CLASS_COUNT];
        tables_put_slot(t, view_hash(KEY_PAIR, id, view_text(x->stocks[row->stock]->id), 0), effect);
        return true;
    }
    default: return link_time(w, b, key, row, effect);
    }
}

static bool add_level(struct tail *w, const struct facts *x, enum block b, const struct level_key *key, const struct fact_row *row,
                      int *effect)
{
    struct tables *t = w->t;
    if (t->head->effects == t->head->effect_room || w->level_count == ROOM_EFFECTS)
        return false;
    int e = t->head->effects++;
    t->effects[e] = (struct view_effect){0};
    t->effect_base[e] = t->effect_stock[e] = -1;
    for (int r = 0; r < RESPONSES; r++) {
        double sd = t->head->sd[r][b];
        w->prior[e + KNOWN_COLUMNS - w->fit->q.columns][r] = sd * sd;
        t->effects[e].variance[r] = (float)(sd * sd);
    }
    t->head->effect_count[b]++;
    w->level[w->level_count++] = (struct tail_level){b, *key, e};
    *effect = e;
    return b <= TAPE ? link_stock(w, x, b, key, row->stock, e) : link_deck(w, x, b, key, row, e);
}

static bool add_combo(struct tail *w, const struct facts *x, const struct fact_row *row, int pair, int other, enum view_key kind, int word)
{
    struct tables *t = w->t;
    uint64_t hash = view_hash(kind, view_text(x->decks[row->deck]->deck.id), view_text(x->stocks[row->stock]->id),
                              view_text(words_text(&x->words, word)));
    if (other < 0 || view_find(&t->view, hash) >= 0)
        return true;
    int at = t->head->combos;
    if (at == t->head->combo_room)
        return false;
    t->head->combos++;
    t->combo[at] = (struct combo){row->deck, pair, other};
    t->combos[at][BIAS] = t->combos[at][LEVEL] = 0;
    int fresh = w->fit->q.columns - KNOWN_COLUMNS; /* a new level has met nothing yet */
    if (pair < fresh && other < fresh) {
        struct tail_row only = {.count = 1, .column = {column_of_effect(other)}, .value = {1}};
        for (int r = 0; r < RESPONSES; r++) {
            struct mixture m;
            double *k = tail_covariance(w, (enum response)r, &only), sum;
            if (!k)
                return false;
            sum = k[column_of_effect(pair)];
            base_mixture(t, t->effect_base[pair], true, &m);
            for (int i = 0; i < m.count; i++)
                sum += m.value[i] * k[m.column[i]];
            t->combos[at][r] = (float)sum;
            mem_free(k);
        }
    }
    tables_put_slot(t, hash, at);
    return true;
}

/* ---- the row ---- */

static void entry(struct tail_row *out, int column, double value)
{
    out->column[out->count] = column;
    out->value[out->count++] = value;
}

static void known_entries(const struct facts *x, const struct fact_row *row, struct tail_row *out)
{
    const struct fact_stock *s = x->stocks[row->stock];
    int c = (int)s->tape_class;
    if (c >= 0 && c < CLASS_COUNT) {
        entry(out, CLASS_AT + c, 1);
        if (row->recordings > 0)
            entry(out, RECORDINGS_AT + c, recordings_value(row->recordings));
    }
    if (given(row->part))
        entry(out, PLACE_AT, place_value(row->part));
    for (int r = 0; r < RESPONSES; r++)
        if (given(s->sheet[r]))
            entry(out, SHEET_AT + r, s->sheet[r]);
}

bool tail_levels(struct tail *w, const struct facts *x, const struct fact_row *row, struct tail_row *out)
{
    struct tables *t = w->t;
    if (stock_entry(w, x, row->stock) < 0 && add_stock(w, x, row->stock) < 0)
        return false;
    if (row->deck >= t->head->decks && !add_deck(w, x, row->deck))
        return false;
    struct view_deck *k = &t->decks[row->deck];
    struct level_key key[BLOCKS];
    int effect[BLOCKS] = {0}; /* each is set below: gcc's analyzer cannot count so far */
    level_keys_of(x, row, key);
    out->count = 0;
    known_entries(x, row, out);
    for (int b = 0; b < BLOCKS; b++) {
        effect[b] = -1;
        if (key[b].a < 0)
            continue;
        effect[b] = known_effect(w, (enum block)b, &key[b]);
        if (effect[b] < 0 && !add_level(w, x, (enum block)b, &key[b], row, &effect[b]))
            return false;
        double value = 1;
        if (b == TREND) {
            struct view_era *era = era_of(w, row->deck, key[b].b, row);
            if (!era)
                return false;
            value = clock_years_between(era->middle_us, row->made_at_us);
            if (row->made_at_us > era->last_us)
                era->last_us = row->made_at_us;
        }
        entry(out, column_of_effect(effect[b]), value);
    }
    if (k->last_us == CLOCK_NONE)
        k->last_us = row->made_at_us;
    return add_combo(w, x, row, effect[PAIR], effect[TAPE], KEY_PAIR_TAPE, row->tape) &&
           add_combo(w, x, row, effect[PAIR], effect[BATCH], KEY_PAIR_BATCH, row->batch);
}

void tail_count(struct tail *w, const struct tail_row *x, const struct fact_row *row, int by)
{
    struct tables *t = w->t;
    t->head->rows_used += by;
    for (int i = 0; i < x->count; i++) {
        if (x->column[i] < KNOWN_COLUMNS) {
            t->head->fixed_rows[x->column[i]] += by;
            continue;
        }
        int e = x->column[i] - KNOWN_COLUMNS;
        t->effects[e].rows += by;
        int first = w->fit->q.first[TAPE] - KNOWN_COLUMNS;
        bool tape = e >= first && e < first + w->fit->q.count[TAPE];
        for (int l = 0; !tape && l < w->level_count; l++)
            tape = w->level[l].effect == e && w->level[l].block == TAPE;
        if (tape)
            t->head->labelled_rows += by;
    }
    if (row && row->member >= 0 && row->member < t->member_room && !t->member_seen[row->member]) {
        t->member_seen[row->member] = 1;
        t->head->members++;
    }
}
