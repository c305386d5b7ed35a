/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Draws a view's tables from a fit. First the layout (what there is, by keys), then per response the effects, their variances and the
 * covariances of every deck's base with every stock's side: one solve a base.
 */
#include "club_fit.h"

#include "../ground/memory.h"

#include <stdlib.h>
#include <string.h>

struct combo {
    int deck, pair, other; /* deck; levels of PAIR and of TAPE or BATCH */
};

struct builder {
    struct club_fit *fit;
    const struct facts *x;
    const struct equation *q;
    struct model_view *view;
    struct view_head *head;
    struct view_deck *decks;
    struct view_service *services;
    struct view_era *eras;
    struct view_base *bases;
    struct view_stock *stocks;
    struct view_effect *effects;
    float (*combos)[RESPONSES];
    float *covariance;
    struct view_slot *slots;
    /* layout, scratch */
    int *model_base;   /* level of MODEL -> base of a new deck of that model */
    int *stock_side;   /* level of STOCK -> entry of stocks */
    int *base_deck;    /* base -> deck number, −1 = none */
    int *base_model;   /* base -> level of MODEL, −1 */
    int *base_class;   /* base -> class, −1 */
    int (*family_class)[CLASS_COUNT]; /* level of FAMILY × class -> entry of stocks, −1 */
    struct combo *combo; /* by deck */
    int combo_count, *combo_start;
};

static void *scratch(size_t count, size_t size)
{
    return mem_zero(count + 1, size);
}

static void put_slot(struct builder *b, uint64_t hash, int value)
{
    uint64_t mask = b->head->slots - 1, s = hash & mask;
    while (b->slots[s].hash && b->slots[s].hash != hash)
        s = (s + 1) & mask;
    b->slots[s] = (struct view_slot){.hash = hash, .value = value};
}

/* ---- layout ---- */

static uint64_t deck_hash(const struct builder *b, int deck)
{
    return view_text(b->x->decks[deck]->deck.id);
}
static uint64_t stock_hash(const struct builder *b, int stock)
{
    return view_text(b->x->stocks[stock]->id);
}
static uint64_t word_text_hash(const struct builder *b, int word)
{
    return view_text(words_text(&b->x->words, word));
}

static int by_combo(const void *a, const void *b)
{
    const struct combo *x = a, *y = b;
    if (x->deck != y->deck)
        return x->deck < y->deck ? -1 : 1;
    return x->pair != y->pair ? (x->pair > y->pair) - (x->pair < y->pair) : (x->other > y->other) - (x->other < y->other);
}

/* Distinct (pair, tape) and (pair, batch) among the rows; batches are numbered after the tapes. */
static bool find_combos(struct builder *b)
{
    const struct equation *q = b->q;
    b->combo = scratch((size_t)q->rows * 2, sizeof *b->combo);
    if (!b->combo)
        return false;
    int n = 0;
    for (int i = 0; i < q->rows; i++) {
        int deck = b->x->rows[q->fact[i]].deck;
        if (q->level[i][TAPE] >= 0)
            b->combo[n++] = (struct combo){deck, q->level[i][PAIR], q->level[i][TAPE]};
        if (q->level[i][BATCH] >= 0)
            b->combo[n++] = (struct combo){deck, q->level[i][PAIR], q->count[TAPE] + q->level[i][BATCH]};
    }
    qsort(b->combo, (size_t)n, sizeof *b->combo, by_combo);
    for (int i = 0; i < n; i++)
        if (i == 0 || by_combo(&b->combo[i], &b->combo[i - 1]) != 0)
            b->combo[b->combo_count++] = b->combo[i];
    b->combo_start = scratch((size_t)b->x->deck_count + 1, sizeof *b->combo_start);
    if (!b->combo_start)
        return false;
    for (int i = 0; i < b->combo_count; i++)
        b->combo_start[b->combo[i].deck + 1] = i + 1;
    for (int d = 0; d < b->x->deck_count; d++)
        if (b->combo_start[d + 1] < b->combo_start[d])
            b->combo_start[d + 1] = b->combo_start[d];
    return true;
}

struct sizes {
    int services, bases, stocks;
};

/* Bases: every deck without a class and with each class seen on it; every model; one of nothing. Stock sides: every stock, class, family with class. */
static bool count_sides(struct builder *b, struct sizes *n)
{
    const struct equation *q = b->q;
    const struct facts *x = b->x;
    for (int d = 0; d < x->deck_count; d++)
        n->services += x->decks[d]->service_count;
    n->bases = x->deck_count + q->count[DECK_CLASS] + q->count[MODEL] + 1;
    b->model_base = scratch((size_t)q->count[MODEL], sizeof *b->model_base);
    b->stock_side = scratch((size_t)q->count[STOCK], sizeof *b->stock_side);
    b->base_deck = scratch((size_t)n->bases, sizeof *b->base_deck);
    b->base_model = scratch((size_t)n->bases, sizeof *b->base_model);
    b->base_class = scratch((size_t)n->bases, sizeof *b->base_class);
    b->family_class = scratch((size_t)q->count[FAMILY], sizeof *b->family_class);
    if (!b->model_base || !b->stock_side || !b->base_deck || !b->base_model || !b->base_class || !b->family_class)
        return false;
    n->stocks = x->stock_count + CLASS_COUNT;
    for (int f = 0; f < q->count[FAMILY]; f++)
        for (int c = 0; c < CLASS_COUNT; c++)
            b->family_class[f][c] = -1;
    for (int i = 0; i < q->rows; i++) {
        int f = q->level[i][FAMILY], c = (int)x->stocks[x->rows[q->fact[i]].stock]->tape_class;
        if (f >= 0 && c >= 0 && c < CLASS_COUNT && b->family_class[f][c] < 0)
            b->family_class[f][c] = n->stocks++;
    }
    return true;
}

static uint64_t place(uint64_t *at, uint64_t count, uint64_t size)
{
    uint64_t here = *at;
    *at += (count * size + 7) / 8 * 8;
    return here;
}

static bool lay_out(struct builder *b, const struct sizes *n)
{
    const struct equation *q = b->q;
    int effects = q->columns - KNOWN_COLUMNS;
    uint64_t keys = (uint64_t)(b->x->deck_count + n->stocks + n->bases + effects + b->combo_count) + 16, slots = 64;
    while (slots < keys * 2)
        slots *= 2;
    struct view_head h = {.mark = VIEW_MARK, .version = VIEW_VERSION, .decks = b->x->deck_count, .services = n->services,
                          .eras = q->count[TREND], .bases = n->bases, .stocks = n->stocks, .effects = effects, .combos = b->combo_count,
                          .slots = slots};
    uint64_t at = 0;
    place(&at, 1, sizeof h);
    h.at_decks = place(&at, (uint64_t)h.decks, sizeof *b->decks);
    h.at_services = place(&at, (uint64_t)h.services, sizeof *b->services);
    h.at_eras = place(&at, (uint64_t)h.eras, sizeof *b->eras);
    h.at_bases = place(&at, (uint64_t)h.bases, sizeof *b->bases);
    h.at_stocks = place(&at, (uint64_t)h.stocks, sizeof *b->stocks);
    h.at_effects = place(&at, (uint64_t)h.effects, sizeof *b->effects);
    h.at_combos = place(&at, (uint64_t)h.combos, sizeof *b->combos);
    h.at_covariance = place(&at, 2 * (uint64_t)h.bases * (uint64_t)h.stocks, sizeof(float));
    h.at_slots = place(&at, slots, sizeof *b->slots);
    h.bytes = at;
    b->view->head = mem_zero(1, (size_t)at);
    if (!b->view->head)
        return false;
    b->head = b->view->head;
    *b->head = h;
    char *block = (char *)b->head;
    b->decks = (void *)(block + h.at_decks);
    b->services = (void *)(block + h.at_services);
    b->eras = (void *)(block + h.at_eras);
    b->bases = (void *)(block + h.at_bases);
    b->stocks = (void *)(block + h.at_stocks);
    b->effects = (void *)(block + h.at_effects);
    b->combos = (void *)(block + h.at_combos);
    b->covariance = (void *)(block + h.at_covariance);
    b->slots = (void *)(block + h.at_slots);
    return view_attach(b->view);
}

static int effect_of(const struct builder *b, enum block k, int level)
{
    return level < 0 ? -1 : b->q->first[k] - KNOWN_COLUMNS + level;
}

static int find_effect(const struct builder *b, enum block k, int a, int c, int d)
{
    return effect_of(b, k, equation_level(b->q, k, &(struct level_key){a, c, d}));
}

static void fill_services(struct builder *b)
{
    int at = 0;
    for (int d = 0; d < b->x->deck_count; d++) {
        const struct fact_deck *k = b->x->decks[d];
        double shift[RESPONSES] = {0};
        int era = 0;
        b->decks[d].service_first = at;
        b->decks[d].service_count = k->service_count;
        for (int i = 0; i < k->service_count; i++) {
            for (int r = 0; r < RESPONSES; r++)
                shift[r] += k->services[i].shift[r];
            era += k->services[i].resets;
            b->services[at++] = (struct view_service){.made_at_us = k->services[i].made_at_us, .shift = {shift[0], shift[1]}, .era = era};
        }
    }
}

static int by_era(const void *a, const void *b)
{
    const int *x = a, *y = b; /* deck, era number, level of TREND */
    return x[0] != y[0] ? (x[0] > y[0]) - (x[0] < y[0]) : (x[1] > y[1]) - (x[1] < y[1]);
}

static bool fill_eras(struct builder *b)
{
    const struct equation *q = b->q;
    int (*order)[3] = scratch((size_t)q->count[TREND], sizeof *order);
    if (!order)
        return false;
    for (int e = 0; e < q->count[TREND]; e++) {
        order[e][0] = q->key[TREND][e].a;
        order[e][1] = q->key[TREND][e].b;
        order[e][2] = e;
    }
    qsort(order, (size_t)q->count[TREND], sizeof *order, by_era);
    for (int d = 0; d < b->x->deck_count; d++)
        b->decks[d].base_era = -1;
    for (int i = 0; i < q->count[TREND]; i++) {
        int e = order[i][2];
        struct view_deck *d = &b->decks[order[i][0]];
        b->eras[i] = (struct view_era){.middle_us = q->era_middle_us[e], .last_us = q->era_last_us[e], .number = order[i][1],
                                       .era_effect = find_effect(b, ERA, order[i][0], order[i][1], 0), .trend_effect = effect_of(b, TREND, e)};
        if (!d->era_count++)
            d->era_first = i;
        d->base_era = i;
    }
    mem_free(order);
    return true;
}

static void fill_decks(struct builder *b)
{
    const struct equation *q = b->q;
    int base = 0;
    for (int d = 0; d < b->x->deck_count; d++) {
        struct view_deck *k = &b->decks[d];
        int model = equation_level(q, MODEL, &(struct level_key){b->x->decks[d]->model, 0, 0});
        k->last_us = q->deck_last_us[d];
        k->deck_effect = find_effect(b, DECK, d, 0, 0);
        k->model_effect = effect_of(b, MODEL, model);
        for (int c = -1; c < CLASS_COUNT; c++) {
            int effect = c < 0 ? -1 : find_effect(b, DECK_CLASS, d, c, 0);
            if (c >= 0)
                k->class_effect[c] = effect;
            if (c >= 0 && effect < 0) {
                k->base[c] = k->base[CLASS_COUNT];
                continue;
            }
            k->base[c < 0 ? CLASS_COUNT : c] = base;
            b->base_deck[base] = d;
            b->base_model[base] = model;
            b->base_class[base++] = c;
        }
        put_slot(b, view_hash(KEY_DECK, deck_hash(b, d), 0, 0), d);
    }
    for (int m = 0; m <= q->count[MODEL]; m++) { /* the last: a deck of which nothing is known */
        b->base_deck[base] = b->base_class[base] = -1;
        b->base_model[base] = m < q->count[MODEL] ? m : -1;
        if (m < q->count[MODEL]) {
            uint64_t name = word_text_hash(b, q->key[MODEL][m].a);
            put_slot(b, view_hash(KEY_MODEL, name, 0, 0), effect_of(b, MODEL, m));
            put_slot(b, view_hash(KEY_MODEL_BASE, name, 0, 0), base);
        }
        base++;
    }
    b->head->bases = base;
}

static void fill_stocks(struct builder *b)
{
    const struct equation *q = b->q;
    const struct facts *x = b->x;
    for (int s = 0; s < x->stock_count; s++) {
        const struct fact_stock *k = x->stocks[s];
        b->stocks[s] = (struct view_stock){.tape_class = (int32_t)k->tape_class, .family_effect = find_effect(b, FAMILY, k->family, 0, 0),
                                           .stock_effect = find_effect(b, STOCK, s, 0, 0), .sheet = {k->sheet[0], k->sheet[1]}};
        put_slot(b, view_hash(KEY_STOCK, stock_hash(b, s), 0, 0), s);
    }
    for (int c = 0; c < CLASS_COUNT; c++)
        b->stocks[x->stock_count + c] = (struct view_stock){.tape_class = c, .family_effect = -1, .stock_effect = -1, .sheet = {ABSENT, ABSENT}};
    for (int f = 0; f < q->count[FAMILY]; f++)
        for (int c = 0; c < CLASS_COUNT; c++)
            if (b->family_class[f][c] >= 0) {
                b->stocks[b->family_class[f][c]] = (struct view_stock){.tape_class = c, .family_effect = effect_of(b, FAMILY, f),
                                                                        .stock_effect = -1, .sheet = {ABSENT, ABSENT}};
                put_slot(b, view_hash(KEY_FAMILY, word_text_hash(b, q->key[FAMILY][f].a), (uint64_t)c, 0), b->family_class[f][c]);
            }
}

/* Keys of levels that a question names. */
static void fill_keys(struct builder *b)
{
    const struct equation *q = b->q;
    for (int l = 0; l < q->count[BATCH]; l++)
        put_slot(b, view_hash(KEY_BATCH, stock_hash(b, q->key[BATCH][l].a), word_text_hash(b, q->key[BATCH][l].b), 0), effect_of(b, BATCH, l));
    for (int l = 0; l < q->count[TAPE]; l++)
        put_slot(b, view_hash(KEY_TAPE, stock_hash(b, q->key[TAPE][l].a), word_text_hash(b, q->key[TAPE][l].b), 0), effect_of(b, TAPE, l));
    for (int l = 0; l < q->count[CHANNEL]; l++)
        put_slot(b, view_hash(KEY_CHANNEL, deck_hash(b, q->key[CHANNEL][l].a), (uint64_t)q->key[CHANNEL][l].b, 0), effect_of(b, CHANNEL, l));
    for (int l = 0; l < q->count[SETUP]; l++) {
        const struct level_key *k = &q->key[SETUP][l];
        put_slot(b, view_hash(KEY_SETUP, deck_hash(b, k->a), word_text_hash(b, k->b - 1), (uint64_t)k->c), effect_of(b, SETUP, l));
    }
    for (int l = 0; l < q->count[PAIR]; l++)
        put_slot(b, view_hash(KEY_PAIR, deck_hash(b, q->key[PAIR][l].a), stock_hash(b, q->key[PAIR][l].b), 0), effect_of(b, PAIR, l));
    for (int i = 0; i < b->combo_count; i++) {
        const struct level_key *pair = &q->key[PAIR][b->combo[i].pair];
        bool tape = b->combo[i].other < q->count[TAPE];
        int word = tape ? q->key[TAPE][b->combo[i].other].b : q->key[BATCH][b->combo[i].other - q->count[TAPE]].b;
        put_slot(b, view_hash(tape ? KEY_PAIR_TAPE : KEY_PAIR_BATCH, deck_hash(b, pair->a), stock_hash(b, pair->b), word_text_hash(b, word)), i);
    }
}

static void count_rows(struct builder *b)
{
    const struct equation *q = b->q;
    for (int k = 0; k < BLOCKS; k++) {
        b->head->effect_first[k] = q->first[k] - KNOWN_COLUMNS;
        b->head->effect_count[k] = q->count[k];
    }
    for (int i = 0; i < q->rows; i++) {
        for (int k = 0; k < BLOCKS; k++)
            if (q->level[i][k] >= 0)
                b->effects[effect_of(b, (enum block)k, q->level[i][k])].rows++;
        b->head->labelled += q->level[i][TAPE] >= 0;
        for (int e = q->design.start[i]; e < q->design.start[i + 1]; e++)
            if (q->design.column[e] < KNOWN_COLUMNS)
                b->head->fixed_rows[q->design.column[e]]++;
    }
    if (q->rows)
        b->head->labelled /= q->rows;
}

/* ---- numbers of one response ---- */

struct mixture { /* a vector over columns with few entries */
    int count, column[8];
    double value[8];
};

static void side_add(struct mixture *s, int column, double value)
{
    if (column >= 0 && value != 0) {
        s->column[s->count] = column;
        s->value[s->count++] = value;
    }
}

static int column_of(int effect)
{
    return effect < 0 ? -1 : effect + KNOWN_COLUMNS;
}

static void stock_columns(const struct view_stock *s, enum response r, struct mixture *out)
{
    out->count = 0;
    if (s->tape_class >= 0 && s->tape_class < CLASS_COUNT)
        side_add(out, CLASS_AT + s->tape_class, 1);
    side_add(out, column_of(s->family_effect), 1);
    side_add(out, column_of(s->stock_effect), 1);
    if (given(s->sheet[r]))
        side_add(out, SHEET_AT + (int)r, s->sheet[r]);
}

static double base_years(const struct builder *b, const struct view_deck *d)
{
    return d->base_era < 0 ? 0 : clock_years_between(b->eras[d->base_era].middle_us, d->last_us);
}

/* `timed`: with the era and trend of the base's instant. */
static void base_columns(const struct builder *b, int base, bool timed, struct mixture *out)
{
    out->count = 0;
    if (b->base_model[base] >= 0)
        side_add(out, b->q->first[MODEL] + b->base_model[base], 1);
    if (b->base_deck[base] < 0)
        return;
    const struct view_deck *d = &b->decks[b->base_deck[base]];
    side_add(out, column_of(d->deck_effect), 1);
    if (b->base_class[base] >= 0)
        side_add(out, column_of(d->class_effect[b->base_class[base]]), 1);
    if (timed && d->base_era >= 0) {
        side_add(out, column_of(b->eras[d->base_era].era_effect), 1);
        side_add(out, column_of(b->eras[d->base_era].trend_effect), base_years(b, d));
    }
}

/* Covariance of two effects' columns; 0 where the factor's pattern does not hold it. */
static double covariance(const struct builder *b, enum response r, int i, int j)
{
    const struct estimate *e = &b->fit->e[r];
    double z = normal_element(b->fit->normal, i, j);
    return isnan(z) ? 0 : z * e->scale[i] * e->scale[j];
}

static double side_with(const struct builder *b, enum response r, const struct mixture *s, int column)
{
    double sum = 0;
    for (int i = 0; i < s->count; i++)
        sum += s->value[i] * covariance(b, r, s->column[i], column);
    return sum;
}

static double side_variance(const struct builder *b, enum response r, const struct mixture *s)
{
    double sum = 0;
    for (int i = 0; i < s->count; i++)
        sum += s->value[i] * side_with(b, r, s, s->column[i]);
    return sum > 0 ? sum : 0;
}

static void fill_known(struct builder *b, enum response r)
{
    const struct estimate *e = &b->fit->e[r];
    for (int j = 0; j < KNOWN_COLUMNS; j++) {
        b->head->known[j].mean[r] = e->effect[j];
        b->head->known[j].variance[r] = e->variance[j] * e->scale[j] * e->scale[j];
    }
    for (int j = KNOWN_COLUMNS; j < b->q->columns; j++) {
        b->effects[j - KNOWN_COLUMNS].mean[r] = e->effect[j];
        b->effects[j - KNOWN_COLUMNS].variance[r] = (float)(e->variance[j] * e->scale[j] * e->scale[j]);
    }
    for (int k = 0; k < KINDS; k++)
        b->head->sigma[r][k] = exp(e->log_sigma[k]);
    for (int k = 0; k < BLOCKS; k++)
        b->head->sd[r][k] = exp(e->log_sd[k]);
}

static void fill_stock_side(struct builder *b, enum response r)
{
    const struct equation *q = b->q;
    struct mixture s;
    for (int i = 0; i < b->head->stocks; i++) {
        struct view_stock *k = &b->stocks[i];
        stock_columns(k, r, &s);
        k->variance[r] = (float)side_variance(b, r, &s);
        if (k->tape_class >= 0 && k->tape_class < CLASS_COUNT)
            k->with_recordings[r] = (float)side_with(b, r, &s, RECORDINGS_AT + k->tape_class);
        k->with_place[r] = (float)side_with(b, r, &s, PLACE_AT);
    }
    static const enum block of_stock[] = {BATCH, TAPE, PAIR};
    for (size_t n = 0; n < sizeof of_stock / sizeof *of_stock; n++)
        for (int l = 0; l < q->count[of_stock[n]]; l++) {
            const struct level_key *key = &q->key[of_stock[n]][l];
            stock_columns(&b->stocks[of_stock[n] == PAIR ? key->b : key->a], r, &s);
            b->effects[effect_of(b, of_stock[n], l)].with_stock[r] = (float)side_with(b, r, &s, q->first[of_stock[n]] + l);
        }
    for (int i = 0; i < q->count[TREND]; i++)
        if (b->eras[i].era_effect >= 0 && b->eras[i].trend_effect >= 0)
            b->eras[i].trend_with_era[r] = (float)covariance(b, r, column_of(b->eras[i].era_effect), column_of(b->eras[i].trend_effect));
}

/* What one solved base tells of its own deck's extras. `solved` is the covariance of the base with every effect. */
static void fill_from_base(struct builder *b, enum response r, int base, const double *solved, const int *deck_effects, int count)
{
    const struct equation *q = b->q;
    int c = b->base_class[base];
    for (int i = 0; i < count; i++) {
        int effect = deck_effects[i], column = effect + KNOWN_COLUMNS;
        bool pair = column >= q->first[PAIR];
        if (pair) {
            int stock = q->key[PAIR][column - q->first[PAIR]].b;
            if ((int)b->x->stocks[stock]->tape_class != c)
                continue;
        } else if (c >= 0) {
            continue; /* channel, setup, era, trend: by the base without a class */
        }
        b->effects[effect].with_base[r] = (float)solved[column];
    }
    for (int i = b->combo_start[b->base_deck[base]]; i < b->combo_start[b->base_deck[base] + 1]; i++) {
        const struct level_key *key = &q->key[PAIR][b->combo[i].pair];
        if ((int)b->x->stocks[key->b]->tape_class != c)
            continue;
        int column = b->combo[i].other < q->count[TAPE] ? q->first[TAPE] + b->combo[i].other : q->first[BATCH] + b->combo[i].other - q->count[TAPE];
        b->combos[i][r] = (float)(solved[column] + covariance(b, r, column, q->first[PAIR] + b->combo[i].pair));
    }
}

struct deck_effects { /* effects that belong to one deck, deck by deck */
    int *start, *effect;
};

static int deck_of_level(const struct equation *q, enum block k, int level)
{
    return q->key[k][level].a;
}

static bool group_by_deck(const struct builder *b, struct deck_effects *g)
{
    static const enum block of_deck[] = {CHANNEL, SETUP, ERA, TREND, PAIR};
    const struct equation *q = b->q;
    int n = 0;
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        n += q->count[of_deck[k]];
    g->start = scratch((size_t)b->x->deck_count + 2, sizeof *g->start);
    g->effect = scratch((size_t)n, sizeof *g->effect);
    if (!g->start || !g->effect)
        return false;
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        for (int l = 0; l < q->count[of_deck[k]]; l++)
            g->start[deck_of_level(q, of_deck[k], l) + 2]++;
    for (int d = 2; d < b->x->deck_count + 2; d++)
        g->start[d] += g->start[d - 1];
    for (size_t k = 0; k < sizeof of_deck / sizeof *of_deck; k++)
        for (int l = 0; l < q->count[of_deck[k]]; l++)
            g->effect[g->start[deck_of_level(q, of_deck[k], l) + 1]++] = effect_of(b, of_deck[k], l);
    return true;
}

#define SOLVE_TOGETHER 32

static bool fill_bases(struct builder *b, enum response r, const struct deck_effects *g)
{
    const struct estimate *e = &b->fit->e[r];
    size_t columns = (size_t)b->q->columns;
    double *x = scratch(columns, SOLVE_TOGETHER * sizeof *x);
    float *table = b->covariance + (size_t)r * (size_t)b->head->bases * (size_t)b->head->stocks;
    bool ok = x != NULL;
    for (int first = 0; ok && first < b->head->bases; first += SOLVE_TOGETHER) {
        int some = b->head->bases - first < SOLVE_TOGETHER ? b->head->bases - first : SOLVE_TOGETHER;
        memset(x, 0, columns * (size_t)some * sizeof *x);
        struct mixture s;
        for (int k = 0; k < some; k++) {
            base_columns(b, first + k, true, &s);
            for (int i = 0; i < s.count; i++)
                x[(size_t)k * columns + (size_t)s.column[i]] += s.value[i] * e->scale[s.column[i]];
        }
        ok = normal_solve(b->fit->normal, x, some);
        for (int k = 0; ok && k < some; k++) {
            double *solved = x + (size_t)k * columns, variance = 0;
            struct view_base *base = &b->bases[first + k];
            for (size_t j = 0; j < columns; j++)
                solved[j] *= e->scale[j];
            base_columns(b, first + k, true, &s);
            for (int i = 0; i < s.count; i++)
                variance += s.value[i] * solved[s.column[i]];
            base->variance[r] = (float)variance;
            base_columns(b, first + k, false, &s);
            base->timeless[r] = (float)side_variance(b, r, &s);
            int d = b->base_deck[first + k];
            base->base_years = d < 0 ? 0 : base_years(b, &b->decks[d]);
            for (int i = 0; i < b->head->stocks; i++) {
                double sum = 0;
                stock_columns(&b->stocks[i], r, &s);
                for (int n = 0; n < s.count; n++)
                    sum += s.value[n] * solved[s.column[n]];
                table[(size_t)(first + k) * (size_t)b->head->stocks + (size_t)i] = (float)sum;
            }
            if (d >= 0)
                fill_from_base(b, r, first + k, solved, g->effect + g->start[d], g->start[d + 1] - g->start[d]);
        }
    }
    mem_free(x);
    return ok;
}

/* ---- all ---- */

static bool count_members(struct builder *b)
{
    const struct equation *q = b->q;
    unsigned char *seen = scratch((size_t)b->x->words.count, 1);
    if (!seen)
        return false;
    for (int i = 0; i < q->rows; i++) {
        int member = b->x->rows[q->fact[i]].member;
        if (member >= 0 && !seen[member]) {
            seen[member] = 1;
            b->head->members++;
        }
    }
    mem_free(seen);
    return true;
}

static bool build(struct builder *b, const struct equation_options *o, const struct variances *v, struct fault *f)
{
    struct sizes n = {0};
    struct deck_effects g = {0};
    bool ok = find_combos(b) && count_sides(b, &n) && lay_out(b, &n) && fill_eras(b) && count_members(b) && group_by_deck(b, &g);
    if (ok) {
        fill_services(b);
        fill_decks(b);
        fill_stocks(b);
        fill_keys(b);
        count_rows(b);
        for (int d = 0; d < b->x->deck_count; d++)
            for (int r = 0; r < RESPONSES; r++)
                if (o->shared) {
                    b->decks[d].worth[r] = o->shared[d][r].db_per_unit;
                    b->decks[d].worth_se[r] = o->shared[d][r].se;
                }
    }
    for (int r = 0; ok && r < RESPONSES; r++) {
        struct estimate *e = &b->fit->e[r];
        memcpy(e->log_sd, v->log_sd[r], BLOCKS * sizeof *e->log_sd);
        memcpy(e->log_sigma, v->log_sigma[r], KINDS * sizeof *e->log_sigma);
        if (!estimate_effects(e, EFFECT_ROUNDS, f))
            break;
        fill_known(b, (enum response)r);
        fill_stock_side(b, (enum response)r);
        ok = fill_bases(b, (enum response)r, &g);
        memcpy(b->head->multiplier[r], v->multiplier[r], sizeof v->multiplier[r]);
        b->head->record[r] = v->record[r];
    }
    mem_free(g.start);
    mem_free(g.effect);
    return ok && !fault_set(f);
}

struct model_view *view_build(struct club_fit *fit, const struct facts *x, const struct equation_options *o, const struct variances *v,
                              int64_t as_of, struct fault *f)
{
    struct fault own = {0};
    struct builder b = {.fit = fit, .x = x, .q = &fit->q, .view = mem_zero(1, sizeof *b.view)};
    bool ok = b.view && build(&b, o, v, &own);
    mem_free(b.model_base);
    mem_free(b.stock_side);
    mem_free(b.base_deck);
    mem_free(b.base_model);
    mem_free(b.base_class);
    mem_free(b.family_class);
    mem_free(b.combo);
    mem_free(b.combo_start);
    if (!ok) {
        model_view_free(b.view);
        if (fault_set(&own))
            fault_merge(f, &own, "");
        else
            fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while drawing the tables");
        return NULL;
    }
    b.head->as_of = as_of;
    b.head->fitted_us = v->fitted_us;
    b.head->rows = x->row_count;
    b.head->rows_used = fit->q.rows;
    b.head->decks_known = x->deck_count;
    b.head->stocks_known = x->stock_count;
    b.view->slopes = slope_table_hold((struct slope_table *)o->slopes);
    return b.view;
}
