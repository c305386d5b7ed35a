/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Places in the tables for stocks, families, decks and eras that come late: sides and bases, each like the nearest that is there and no surer.
 */
#include "tail_inside.h"

#include "../ground/memory.h"

#include <string.h>

int tail_effect(const struct tail *w, enum block b, const struct level_key *key)
{
    int level = equation_level(&w->fit->q, b, key);
    if (level >= 0)
        return w->fit->q.first[b] - KNOWN_COLUMNS + level;
    for (int i = 0; i < w->level_count; i++)
        if (w->level[i].block == b && memcmp(&w->level[i].key, key, sizeof *key) == 0)
            return w->level[i].effect;
    return -1;
}

int tail_stock(const struct tail *w, const struct facts *x, int stock)
{
    return view_find(&w->t->view, view_hash(KEY_STOCK, view_text(x->stocks[stock]->id), 0, 0));
}

void tail_widen_bases(struct tail *w, int deck, int r, double variance, bool timeless)
{
    struct tables *t = w->t;
    for (int b = 0; b < t->head->bases; b++)
        if (t->base_deck[b] == deck) {
            t->bases[b].variance[r] += (float)variance;
            if (timeless)
                t->bases[b].timeless[r] += (float)variance;
        }
}

/* A further stock side, as one that is there. −1: no room. */
static int copy_side(struct tables *t, int like)
{
    int at = t->head->stocks;
    if (at == t->head->stock_room)
        return -1;
    t->head->stocks++;
    t->stocks[at] = t->stocks[like];
    for (int r = 0; r < RESPONSES; r++)
        for (int b = 0; b < t->head->bases; b++) {
            float *row = t->covariance[r] + (size_t)b * (size_t)t->head->stock_room;
            row[at] = row[like];
        }
    return at;
}

/* So much of a column comes into a stock side that did not hold it. False: out of memory. */
static bool into_side(struct tail *w, int entry, enum response r, int column, double value)
{
    struct tables *t = w->t;
    struct view_stock *side = &t->stocks[entry];
    struct tail_row only = {.count = 1, .column = {column}, .value = {value}};
    struct mixture m;
    double *k = tail_covariance(w, r, &only), with_side = 0;
    if (!k)
        return false;
    stock_mixture(side, r, &m);
    for (int i = 0; i < m.count; i++)
        with_side += m.value[i] * k[m.column[i]];
    side->variance[r] += (float)(value * k[column] + 2 * with_side);
    side->with_recordings[r] += (float)k[RECORDINGS_AT + side->tape_class];
    side->with_place[r] += (float)k[PLACE_AT];
    for (int b = 0; b < t->head->bases; b++) {
        float *with = t->covariance[r] + (size_t)b * (size_t)t->head->stock_room + entry;
        base_mixture(t, b, true, &m);
        for (int i = 0; i < m.count; i++)
            *with += (float)(m.value[i] * k[m.column[i]]);
    }
    mem_free(k);
    return true;
}

/* The side of this stock's family in its class, drawn when the family is known by now, else that of the class. −1: no room. */
int tail_family_side(struct tail *w, const struct facts *x, int stock)
{
    struct tables *t = w->t;
    const struct fact_stock *s = x->stocks[stock];
    struct level_key key = family_key(x, stock);
    int c = (int)s->tape_class, effect = s->family == WORD_NONE ? -1 : tail_effect(w, FAMILY, &key);
    if (c < 0 || c >= CLASS_COUNT)
        return -1;
    if (effect < 0)
        return t->head->class_first + c;
    uint64_t hash = view_hash(KEY_FAMILY, view_text(words_text(&x->words, s->family)), (uint64_t)c, 0);
    int at = view_find(&t->view, hash);
    if (at >= 0)
        return at;
    at = copy_side(t, t->head->class_first + c);
    if (at < 0 || !into_side(w, at, BIAS, column_of_effect(effect), 1) || !into_side(w, at, LEVEL, column_of_effect(effect), 1))
        return -1;
    t->stocks[at].family_effect = effect;
    tables_put_slot(t, hash, at);
    return at;
}

/* A stock that the tables do not know: as its family or class, with its own figure. */
int tail_add_stock(struct tail *w, const struct facts *x, int stock)
{
    struct tables *t = w->t;
    const struct fact_stock *s = x->stocks[stock];
    int like = tail_family_side(w, x, stock), at = like < 0 ? -1 : copy_side(t, like);
    if (at < 0)
        return -1;
    for (int r = 0; r < RESPONSES; r++) {
        if (given(s->sheet[r]) && !into_side(w, at, (enum response)r, SHEET_AT + r, s->sheet[r]))
            return -1;
        t->stocks[at].sheet[r] = s->sheet[r];
    }
    tables_put_slot(t, view_hash(KEY_STOCK, view_text(s->id), 0, 0), at);
    return at;
}

/* A deck that the tables do not know: a base like that of its model, or of nothing. */
bool tail_add_deck(struct tail *w, const struct facts *x, int deck)
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

bool tail_add_class_base(struct tail *w, int deck, int c, int effect)
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
struct view_era *tail_era(struct tail *w, int deck, int number, const struct fact_row *row)
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

/* A base of the model alone, for decks of it that nobody has logged. */
bool tail_add_model_base(struct tail *w, const struct facts *x, int model, int effect)
{
    struct tables *t = w->t;
    int base = t->head->bases, like = t->head->base_none;
    size_t room = (size_t)t->head->stock_room;
    if (base == t->head->base_room)
        return false;
    t->head->bases++;
    t->bases[base] = t->bases[like];
    t->base_deck[base] = t->base_class[base] = -1;
    t->base_model[base] = effect;
    for (int r = 0; r < RESPONSES; r++) {
        t->bases[base].variance[r] += t->effects[effect].variance[r];
        t->bases[base].timeless[r] += t->effects[effect].variance[r];
        memcpy(t->covariance[r] + (size_t)base * room, t->covariance[r] + (size_t)like * room, room * sizeof(float));
    }
    uint64_t name = view_text(words_text(&x->words, model));
    tables_put_slot(t, view_hash(KEY_MODEL, name, 0, 0), effect);
    tables_put_slot(t, view_hash(KEY_MODEL_BASE, name, 0, 0), base);
    return true;
}
