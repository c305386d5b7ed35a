/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The layout of a view's tables: what there is, by keys, with room to grow. Once a full solve.
 */
#include "tables.h"

#include "../ground/memory.h"

#include <stdlib.h>
#include <string.h>

static void *scratch(size_t count, size_t size)
{
    return mem_zero(count + 1, size);
}

void tables_put_slot(struct tables *t, uint64_t hash, int value)
{
    uint64_t mask = t->head->slots - 1, s = hash & mask;
    while (t->slots[s].hash && t->slots[s].hash != hash)
        s = (s + 1) & mask;
    t->slots[s] = (struct view_slot){.hash = hash, .value = value};
}

static int effect_of(const struct tables *t, enum block k, int level)
{
    return level < 0 ? -1 : t->fit->q.first[k] - KNOWN_COLUMNS + level;
}

static int find_effect(const struct tables *t, enum block k, int a, int b, int c)
{
    return effect_of(t, k, equation_level(&t->fit->q, k, &(struct level_key){a, b, c}));
}

static int find_key(const struct tables *t, enum block k, struct level_key key)
{
    return effect_of(t, k, equation_level(&t->fit->q, k, &key));
}

/* A family or a model that somebody named; those of one stock or deck alone are asked for by nobody. */
static bool named(const struct tables *t, enum block k, int level)
{
    return t->fit->q.key[k][level].b != LEVEL_ALONE;
}

static uint64_t deck_hash(const struct facts *x, int deck)
{
    return view_text(x->decks[deck]->deck.id);
}
static uint64_t stock_hash(const struct facts *x, int stock)
{
    return view_text(x->stocks[stock]->id);
}
static uint64_t word_hash_of(const struct facts *x, int word)
{
    return view_text(words_text(&x->words, word));
}

/* ---- combos ---- */

static int by_combo(const void *a, const void *b)
{
    const struct combo *x = a, *y = b;
    if (x->deck != y->deck)
        return x->deck < y->deck ? -1 : 1;
    return x->pair != y->pair ? (x->pair > y->pair) - (x->pair < y->pair) : (x->other > y->other) - (x->other < y->other);
}

/* Distinct (pair, tape) and (pair, batch) among the rows, by deck. */
static bool find_combos(struct tables *t, const struct facts *x, int *count)
{
    const struct equation *q = &t->fit->q;
    t->combo = scratch((size_t)q->rows * 2 + ROOM_COMBOS, sizeof *t->combo);
    t->combo_start = scratch((size_t)x->deck_count + 1, sizeof *t->combo_start);
    if (!t->combo || !t->combo_start)
        return false;
    int n = 0;
    for (int i = 0; i < q->rows; i++)
        for (int b = BATCH; b <= TAPE; b++)
            if (q->level[i][b] >= 0)
                t->combo[n++] = (struct combo){x->rows[q->fact[i]].deck, effect_of(t, PAIR, q->level[i][PAIR]),
                                               effect_of(t, (enum block)b, q->level[i][b])};
    qsort(t->combo, (size_t)n, sizeof *t->combo, by_combo);
    *count = 0;
    for (int i = 0; i < n; i++)
        if (i == 0 || by_combo(&t->combo[i], &t->combo[i - 1]) != 0)
            t->combo[(*count)++] = t->combo[i];
    for (int i = 0; i < *count; i++)
        t->combo_start[t->combo[i].deck + 1] = i + 1;
    for (int d = 0; d < x->deck_count; d++)
        if (t->combo_start[d + 1] < t->combo_start[d])
            t->combo_start[d + 1] = t->combo_start[d];
    return true;
}

/* ---- sizes and places ---- */

struct sizes {
    int services, bases, stocks, combos;
    int (*family_class)[CLASS_COUNT]; /* level of FAMILY and class -> entry of stocks, −1 */
};

/* Bases: every deck without a class and with each class seen on it; every model; one of nothing. Stock sides: every stock, class, family with class. */
static bool count_sides(struct tables *t, const struct facts *x, struct sizes *n)
{
    const struct equation *q = &t->fit->q;
    for (int d = 0; d < x->deck_count; d++)
        n->services += x->decks[d]->service_count;
    n->bases = x->deck_count + q->count[DECK_CLASS] + 1;
    for (int m = 0; m < q->count[MODEL]; m++)
        n->bases += named(t, MODEL, m);
    n->stocks = x->stock_count + CLASS_COUNT;
    n->family_class = scratch((size_t)q->count[FAMILY], sizeof *n->family_class);
    size_t bases = (size_t)(n->bases + ROOM_BASES), effects = (size_t)(q->columns - KNOWN_COLUMNS + ROOM_EFFECTS);
    t->base_deck = scratch(bases, sizeof *t->base_deck);
    t->base_model = scratch(bases, sizeof *t->base_model);
    t->base_class = scratch(bases, sizeof *t->base_class);
    t->effect_base = scratch(effects, sizeof *t->effect_base);
    t->effect_stock = scratch(effects, sizeof *t->effect_stock);
    if (!n->family_class || !t->base_deck || !t->base_model || !t->base_class || !t->effect_base || !t->effect_stock)
        return false;
    for (size_t e = 0; e < effects; e++)
        t->effect_base[e] = t->effect_stock[e] = -1;
    for (int f = 0; f < q->count[FAMILY]; f++)
        for (int c = 0; c < CLASS_COUNT; c++)
            n->family_class[f][c] = -1;
    for (int i = 0; i < q->rows; i++) {
        int f = q->level[i][FAMILY], c = (int)x->stocks[x->rows[q->fact[i]].stock]->tape_class;
        if (f >= 0 && named(t, FAMILY, f) && c >= 0 && c < CLASS_COUNT && n->family_class[f][c] < 0)
            n->family_class[f][c] = n->stocks++;
    }
    return true;
}

static uint64_t place(uint64_t *at, uint64_t count, uint64_t size)
{
    uint64_t here = *at;
    *at += (count * size + 7) / 8 * 8;
    return here;
}

static bool place_all(struct tables *t, const struct facts *x, const struct sizes *n)
{
    const struct equation *q = &t->fit->q;
    int effects = q->columns - KNOWN_COLUMNS;
    struct view_head h = {.mark = VIEW_MARK,
                          .version = VIEW_VERSION,
                          .decks = x->deck_count,
                          .services = n->services,
                          .eras = q->count[TREND],
                          .bases = n->bases,
                          .stocks = n->stocks,
                          .effects = effects,
                          .combos = n->combos};
    h.deck_room = h.decks + ROOM_DECKS;
    h.base_room = h.bases + ROOM_BASES;
    h.stock_room = h.stocks + ROOM_STOCKS;
    h.era_room = h.eras + ROOM_ERAS;
    h.effect_room = h.effects + ROOM_EFFECTS;
    h.combo_room = h.combos + ROOM_COMBOS;
    h.class_first = x->stock_count;
    uint64_t keys =
        (uint64_t)h.deck_room + (uint64_t)h.stock_room + (uint64_t)h.base_room + (uint64_t)h.effect_room + (uint64_t)h.combo_room;
    for (h.slots = 64; h.slots < keys * 2;)
        h.slots *= 2;
    uint64_t at = 0;
    place(&at, 1, sizeof h);
    h.at_decks = place(&at, (uint64_t)h.deck_room, sizeof *t->decks);
    h.at_services = place(&at, (uint64_t)h.services, sizeof *t->services);
    h.at_eras = place(&at, (uint64_t)h.era_room, sizeof *t->eras);
    h.at_bases = place(&at, (uint64_t)h.base_room, sizeof *t->bases);
    h.at_stocks = place(&at, (uint64_t)h.stock_room, sizeof *t->stocks);
    h.at_effects = place(&at, (uint64_t)h.effect_room, sizeof *t->effects);
    h.at_combos = place(&at, (uint64_t)h.combo_room, sizeof *t->combos);
    h.at_covariance = place(&at, 2 * (uint64_t)h.base_room * (uint64_t)h.stock_room, sizeof(float));
    h.at_slots = place(&at, h.slots, sizeof *t->slots);
    h.bytes = at;
    t->head = t->view.head = mem_zero(1, (size_t)at);
    if (!t->head)
        return false;
    *t->head = h;
    char *block = (char *)t->head;
    t->decks = (void *)(block + h.at_decks);
    t->services = (void *)(block + h.at_services);
    t->eras = (void *)(block + h.at_eras);
    t->bases = (void *)(block + h.at_bases);
    t->stocks = (void *)(block + h.at_stocks);
    t->effects = (void *)(block + h.at_effects);
    t->combos = (void *)(block + h.at_combos);
    t->covariance[BIAS] = (void *)(block + h.at_covariance);
    t->covariance[LEVEL] = t->covariance[BIAS] + (size_t)h.base_room * (size_t)h.stock_room;
    t->slots = (void *)(block + h.at_slots);
    return view_attach(&t->view);
}

/* ---- what there is ---- */

static void fill_services(struct tables *t, const struct facts *x)
{
    int at = 0;
    for (int d = 0; d < x->deck_count; d++) {
        const struct fact_deck *k = x->decks[d];
        double shift[RESPONSES] = {0};
        int era = 0;
        t->decks[d].service_first = at;
        t->decks[d].service_count = k->service_count;
        for (int i = 0; i < k->service_count; i++) {
            for (int r = 0; r < RESPONSES; r++)
                shift[r] += k->services[i].shift[r];
            era += k->services[i].resets;
            t->services[at++] = (struct view_service){
                .made_at_us = k->services[i].made_at_us, .shift = {shift[0], shift[1]}, .era = era, .found = k->services[i].found};
        }
    }
}

static int by_era(const void *a, const void *b)
{
    const int *x = a, *y = b; /* deck, era number, level of TREND */
    return x[0] != y[0] ? (x[0] > y[0]) - (x[0] < y[0]) : (x[1] > y[1]) - (x[1] < y[1]);
}

static bool fill_eras(struct tables *t, const struct facts *x)
{
    const struct equation *q = &t->fit->q;
    int(*order)[3] = scratch((size_t)q->count[TREND], sizeof *order);
    if (!order)
        return false;
    for (int e = 0; e < q->count[TREND]; e++) {
        order[e][0] = q->key[TREND][e].a;
        order[e][1] = q->key[TREND][e].b;
        order[e][2] = e;
    }
    qsort(order, (size_t)q->count[TREND], sizeof *order, by_era);
    for (int d = 0; d < x->deck_count; d++)
        t->decks[d].base_era = -1;
    for (int i = 0; i < q->count[TREND]; i++) {
        int e = order[i][2];
        struct view_deck *d = &t->decks[order[i][0]];
        t->eras[i] = (struct view_era){.middle_us = q->era_middle_us[e],
                                       .last_us = q->era_last_us[e],
                                       .number = order[i][1],
                                       .era_effect = find_effect(t, ERA, order[i][0], order[i][1], 0),
                                       .trend_effect = effect_of(t, TREND, e)};
        if (!d->era_count++)
            d->era_first = i;
        d->base_era = i;
    }
    mem_free(order);
    return true;
}

static void fill_decks(struct tables *t, const struct facts *x)
{
    const struct equation *q = &t->fit->q;
    int base = 0;
    for (int d = 0; d < x->deck_count; d++) {
        struct view_deck *k = &t->decks[d];
        k->last_us = q->deck_last_us[d];
        k->deck_effect = find_effect(t, DECK, d, 0, 0);
        k->model_effect = find_key(t, MODEL, model_key(x, d));
        for (int c = -1; c < CLASS_COUNT; c++) {
            int effect = c < 0 ? -1 : find_effect(t, DECK_CLASS, d, c, 0);
            if (c >= 0)
                k->class_effect[c] = effect;
            if (c >= 0 && effect < 0) {
                k->base[c] = k->base[CLASS_COUNT];
                continue;
            }
            k->base[c < 0 ? CLASS_COUNT : c] = base;
            t->base_deck[base] = d;
            t->base_model[base] = k->model_effect;
            t->base_class[base++] = c;
        }
        tables_put_slot(t, view_hash(KEY_DECK, deck_hash(x, d), 0, 0), d);
    }
    for (int m = 0; m < q->count[MODEL]; m++) {
        if (!named(t, MODEL, m))
            continue;
        uint64_t name = word_hash_of(x, q->key[MODEL][m].a);
        t->base_deck[base] = t->base_class[base] = -1;
        t->base_model[base] = effect_of(t, MODEL, m);
        tables_put_slot(t, view_hash(KEY_MODEL, name, 0, 0), effect_of(t, MODEL, m));
        tables_put_slot(t, view_hash(KEY_MODEL_BASE, name, 0, 0), base++);
    }
    t->base_deck[base] = t->base_class[base] = t->base_model[base] = -1; /* a deck of which nothing is known */
    t->head->base_none = base;
}

static void fill_stocks(struct tables *t, const struct facts *x, const struct sizes *n)
{
    const struct equation *q = &t->fit->q;
    for (int s = 0; s < x->stock_count; s++) {
        const struct fact_stock *k = x->stocks[s];
        t->stocks[s] = (struct view_stock){.tape_class = (int32_t)k->tape_class,
                                           .family_effect = find_key(t, FAMILY, family_key(x, s)),
                                           .stock_effect = find_effect(t, STOCK, s, 0, 0),
                                           .sheet = {k->sheet[0], k->sheet[1]}};
        tables_put_slot(t, view_hash(KEY_STOCK, stock_hash(x, s), 0, 0), s);
    }
    for (int c = 0; c < CLASS_COUNT; c++)
        t->stocks[x->stock_count + c] =
            (struct view_stock){.tape_class = c, .family_effect = -1, .stock_effect = -1, .sheet = {ABSENT, ABSENT}};
    for (int f = 0; f < q->count[FAMILY]; f++)
        for (int c = 0; c < CLASS_COUNT; c++)
            if (n->family_class[f][c] >= 0) {
                t->stocks[n->family_class[f][c]] = (struct view_stock){
                    .tape_class = c, .family_effect = effect_of(t, FAMILY, f), .stock_effect = -1, .sheet = {ABSENT, ABSENT}};
                tables_put_slot(t, view_hash(KEY_FAMILY, word_hash_of(x, q->key[FAMILY][f].a), (uint64_t)c, 0), n->family_class[f][c]);
            }
}

/* Keys of levels that a question names. */
static void fill_keys(struct tables *t, const struct facts *x)
{
    const struct equation *q = &t->fit->q;
    for (int l = 0; l < q->count[BATCH]; l++)
        tables_put_slot(t, view_hash(KEY_BATCH, stock_hash(x, q->key[BATCH][l].a), word_hash_of(x, q->key[BATCH][l].b), 0),
                        effect_of(t, BATCH, l));
    for (int l = 0; l < q->count[TAPE]; l++)
        tables_put_slot(t, view_hash(KEY_TAPE, stock_hash(x, q->key[TAPE][l].a), word_hash_of(x, q->key[TAPE][l].b), 0),
                        effect_of(t, TAPE, l));
    for (int l = 0; l < q->count[CHANNEL]; l++)
        tables_put_slot(t, view_hash(KEY_CHANNEL, deck_hash(x, q->key[CHANNEL][l].a), (uint64_t)q->key[CHANNEL][l].b, 0),
                        effect_of(t, CHANNEL, l));
    for (int l = 0; l < q->count[SETUP]; l++) {
        const struct level_key *k = &q->key[SETUP][l];
        tables_put_slot(t, view_hash(KEY_SETUP, deck_hash(x, k->a), word_hash_of(x, k->b - 1), (uint64_t)k->c), effect_of(t, SETUP, l));
    }
    for (int l = 0; l < q->count[PAIR]; l++)
        tables_put_slot(t, view_hash(KEY_PAIR, deck_hash(x, q->key[PAIR][l].a), stock_hash(x, q->key[PAIR][l].b), 0),
                        effect_of(t, PAIR, l));
    for (int i = 0; i < t->head->combos; i++) {
        const struct level_key *pair = &q->key[PAIR][t->combo[i].pair - effect_of(t, PAIR, 0)];
        bool tape = t->combo[i].other >= effect_of(t, TAPE, 0);
        enum block of = tape ? TAPE : BATCH;
        int word = q->key[of][t->combo[i].other - effect_of(t, of, 0)].b;
        tables_put_slot(
            t, view_hash(tape ? KEY_PAIR_TAPE : KEY_PAIR_BATCH, deck_hash(x, pair->a), stock_hash(x, pair->b), word_hash_of(x, word)), i);
    }
}

/* Against which base and stock side each effect's covariances are held. */
static void fill_partners(struct tables *t, const struct facts *x)
{
    static const enum block of_deck[] = {CHANNEL, SETUP, ERA, TREND};
    const struct equation *q = &t->fit->q;
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        for (int l = 0; l < q->count[of_deck[k]]; l++)
            t->effect_base[effect_of(t, of_deck[k], l)] = t->decks[q->key[of_deck[k]][l].a].base[CLASS_COUNT];
    for (int b = BATCH; b <= TAPE; b++)
        for (int l = 0; l < q->count[b]; l++)
            t->effect_stock[effect_of(t, (enum block)b, l)] = q->key[b][l].a;
    for (int l = 0; l < q->count[PAIR]; l++) {
        const struct level_key *key = &q->key[PAIR][l];
        int c = (int)x->stocks[key->b]->tape_class, e = effect_of(t, PAIR, l);
        t->effect_stock[e] = key->b;
        t->effect_base[e] = t->decks[key->a].base[c >= 0 && c < CLASS_COUNT ? c : CLASS_COUNT];
    }
}

static void count_rows(struct tables *t)
{
    const struct equation *q = &t->fit->q;
    for (int k = 0; k < BLOCKS; k++) {
        t->head->effect_first[k] = q->first[k] - KNOWN_COLUMNS;
        t->head->effect_count[k] = q->count[k];
    }
    for (int i = 0; i < q->rows; i++) {
        for (int k = 0; k < BLOCKS; k++)
            if (q->level[i][k] >= 0)
                t->effects[effect_of(t, (enum block)k, q->level[i][k])].rows++;
        t->head->labelled_rows += q->level[i][TAPE] >= 0;
        for (int e = q->design.start[i]; e < q->design.start[i + 1]; e++)
            if (q->design.column[e] < KNOWN_COLUMNS)
                t->head->fixed_rows[q->design.column[e]]++;
    }
}

static bool count_members(struct tables *t, const struct facts *x)
{
    const struct equation *q = &t->fit->q;
    t->member_room = x->words.count + 1024;
    t->member_seen = scratch((size_t)t->member_room, 1);
    for (int i = 0; t->member_seen && i < q->rows; i++) {
        int member = x->rows[q->fact[i]].member;
        if (member >= 0 && !t->member_seen[member]) {
            t->member_seen[member] = 1;
            t->head->members++;
        }
    }
    return t->member_seen != NULL;
}

bool tables_lay_out(struct tables *t, const struct facts *x)
{
    struct sizes n = {0};
    bool ok = find_combos(t, x, &n.combos) && count_sides(t, x, &n) && place_all(t, x, &n) && fill_eras(t, x) && count_members(t, x);
    if (ok) {
        fill_services(t, x);
        fill_decks(t, x);
        fill_stocks(t, x, &n);
        fill_keys(t, x);
        fill_partners(t, x);
        count_rows(t);
        t->head->rows_used = t->fit->q.rows;
        for (int d = 0; d < x->deck_count; d++)
            for (int r = 0; r < RESPONSES; r++) {
                t->decks[d].worth[r] = x->decks[d]->shared[r].db_per_unit;
                t->decks[d].worth_se[r] = x->decks[d]->shared[r].se;
            }
    }
    mem_free(n.family_class);
    return ok;
}

bool tables_group_by_deck(const struct tables *t, const struct facts *x, struct deck_effects *g)
{
    static const enum block of_deck[] = {CHANNEL, SETUP, ERA, TREND, PAIR};
    const struct equation *q = &t->fit->q;
    int n = 0;
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        n += q->count[of_deck[k]];
    g->start = scratch((size_t)x->deck_count + 2, sizeof *g->start);
    g->effect = scratch((size_t)n, sizeof *g->effect);
    if (!g->start || !g->effect)
        return false;
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        for (int l = 0; l < q->count[of_deck[k]]; l++)
            g->start[q->key[of_deck[k]][l].a + 2]++;
    for (int d = 2; d < x->deck_count + 2; d++)
        g->start[d] += g->start[d - 1];
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        for (int l = 0; l < q->count[of_deck[k]]; l++)
            g->effect[g->start[q->key[of_deck[k]][l].a + 1]++] = effect_of(t, of_deck[k], l);
    return true;
}
