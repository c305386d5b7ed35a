/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which levels a late result names, and what those that are new belong to. A new level is independent of everything at first, so what contains it only
 * gains its prior variance.
 */
#include "tail_inside.h"

#include "../ground/memory.h"

#include <string.h>

/* ---- new levels ---- */

static void widen_stock(struct tables *t, int entry, int effect)
{
    for (int r = 0; r < RESPONSES; r++)
        t->stocks[entry].variance[r] += t->effects[effect].variance[r];
}

/* It is that of every stock of the family, logged or not. */
static void link_family(struct tail *w, const struct facts *x, const struct level_key *key, int effect)
{
    for (int s = 0; s < x->stock_count; s++) {
        struct level_key of = family_key(x, s);
        int entry = memcmp(&of, key, sizeof of) == 0 ? tail_stock(w, x, s) : -1;
        if (entry < 0)
            continue;
        w->t->stocks[entry].family_effect = effect;
        widen_stock(w->t, entry, effect);
    }
}

static bool link_stock(struct tail *w, const struct facts *x, enum block b, const struct level_key *key, int stock, int effect)
{
    struct tables *t = w->t;
    int entry = tail_stock(w, x, stock);
    uint64_t id = view_text(x->stocks[stock]->id);
    if (b == FAMILY) {
        link_family(w, x, key, effect);
        return true;
    }
    if (b == STOCK) {
        t->stocks[entry].stock_effect = effect;
        widen_stock(t, entry, effect);
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
    struct view_era *era = tail_era(w, row->deck, key->b, row);
    if (!era)
        return false;
    bool fresh =
        first || (k->base_era >= 0 && era == &w->t->eras[k->base_era] && k->era_count == 1 && w->t->effects[k->deck_effect].rows == 0);
    if (!fresh)
        return false;
    *(b == ERA ? &era->era_effect : &era->trend_effect) = effect;
    w->t->effect_base[effect] = k->base[CLASS_COUNT];
    for (int r = 0; b != TREND && r < RESPONSES; r++) /* the trend's argument is 0 there */
        tail_widen_bases(w, row->deck, r, (double)w->t->effects[effect].variance[r], false);
    return true;
}

/* It is that of every deck of the model, logged or not. */
static bool link_model(struct tail *w, const struct facts *x, const struct level_key *key, int effect)
{
    struct tables *t = w->t;
    for (int d = 0; d < t->head->decks; d++) {
        struct level_key of = model_key(x, d);
        if (memcmp(&of, key, sizeof of) != 0)
            continue;
        t->decks[d].model_effect = effect;
        for (int i = 0; i < t->head->bases; i++)
            if (t->base_deck[i] == d)
                t->base_model[i] = effect;
        for (int r = 0; r < RESPONSES; r++)
            tail_widen_bases(w, d, r, (double)t->effects[effect].variance[r], true);
    }
    return key->b == LEVEL_ALONE || tail_add_model_base(w, x, key->a, effect);
}

static bool link_deck(struct tail *w, const struct facts *x, enum block b, const struct level_key *key, const struct fact_row *row,
                      int effect)
{
    struct tables *t = w->t;
    struct view_deck *k = &t->decks[row->deck];
    uint64_t id = view_text(x->decks[row->deck]->deck.id);
    switch (b) {
    case MODEL: return link_model(w, x, key, effect);
    case DECK:
        k->deck_effect = effect;
        for (int r = 0; r < RESPONSES; r++)
            tail_widen_bases(w, row->deck, r, (double)t->effects[effect].variance[r], true);
        return true;
    case CHANNEL:
    case SETUP:
        t->effect_base[effect] = k->base[CLASS_COUNT];
        tables_put_slot(t,
                        b == CHANNEL ? view_hash(KEY_CHANNEL, id, (uint64_t)key->b, 0)
                                     : view_hash(KEY_SETUP, id, view_text(words_text(&x->words, key->b - 1)), (uint64_t)key->c),
                        effect);
        return true;
    case DECK_CLASS: return tail_add_class_base(w, row->deck, key->b, effect);
    case PAIR: {
        int c = (int)x->stocks[row->stock]->tape_class;
        t->effect_stock[effect] = tail_stock(w, x, row->stock);
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
    if (t->effects[pair].rows && t->effects[other].rows) { /* a new level has met nothing yet */
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
        if (row->recordings != 0)
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
    if (tail_stock(w, x, row->stock) < 0 && tail_add_stock(w, x, row->stock) < 0)
        return false;
    if (row->deck >= t->head->decks && !tail_add_deck(w, x, row->deck))
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
        effect[b] = tail_effect(w, (enum block)b, &key[b]);
        if (effect[b] < 0 && !add_level(w, x, (enum block)b, &key[b], row, &effect[b]))
            return false;
        double value = 1;
        if (b == TREND) {
            struct view_era *era = tail_era(w, row->deck, key[b].b, row);
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
    if (tail_family_side(w, x, row->stock) < 0)
        return false;
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
