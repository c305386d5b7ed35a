/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "invented.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DAY_US 86400000000LL

static void make_deck(struct invented *v, int i)
{
    struct deck *d = &v->deck[i];
    deck_init(d);
    snprintf(d->id, sizeof d->id, "deck-%d", i);
    snprintf(d->name, sizeof d->name, "Deck %d", i);
    if (i % 3)
        snprintf(d->model, sizeof d->model, "model %d", i / 5);
    d->medium = MEDIUM_CASSETTE;
    d->bias_dial = d->level_dial =
        (struct dial){.present = true, .low = -20, .high = 20, .step = 0.1, .zero = 0, .scale = SCALE_DB, .db_per_unit = 0.5};
    if (i == 7 && v->decks > 8)
        d->level_dial.present = false;
    d->meter_step_db = 0.1;
}

static void make_stock(struct invented *v, int i)
{
    struct stock *s = &v->stock[i];
    stock_init(s);
    snprintf(s->id, sizeof s->id, "stock-%d", i);
    snprintf(s->name, sizeof s->name, "Stock %d", i);
    s->tape_class = (enum tape_class)(i % 4);
    if (i % 4 == 1)
        snprintf(s->family, sizeof s->family, "family %d", i / 8);
    s->side_minutes = 45;
    if (i % 5 == 0) {
        s->sheet_bias_db = lot_normal(&v->lot);
        s->sheet_level_db = lot_normal(&v->lot);
    }
}

static void make_row(struct invented *v, int i)
{
    struct calibration *c = &v->row[i];
    calibration_init(c);
    for (int k = 0; k < 16; k++)
        c->id.bytes[k] = (uint8_t)lot_below(&v->lot, 256);
    c->id.bytes[6] = (uint8_t)((c->id.bytes[6] & 15) | 0x40);
    c->id.bytes[8] = (uint8_t)((c->id.bytes[8] & 63) | 0x80);
    int deck = lot_below(&v->lot, v->decks), stock = (int)(v->stocks * lot_uniform(&v->lot) * lot_uniform(&v->lot));
    strcpy(c->deck, v->deck[deck].id);
    strcpy(c->stock, v->stock[stock].id);
    c->made_at_us = (19000LL + i * 700LL / v->rows) * DAY_US;
    if (v->tapes_each)
        snprintf(c->tape, sizeof c->tape, "t%d", lot_below(&v->lot, v->tapes_each));
    c->position_s = 60 + 1000 * lot_uniform(&v->lot);
    c->recordings = lot_below(&v->lot, 4);
    double need[2];
    for (int r = 0; r < 2; r++)
        need[r] = invented_truth(v, deck, stock, r) + 0.2 * lot_normal(&v->lot);
    v->misentry[i] = lot_uniform(&v->lot) < v->misentries;
    double bias_off = 0, level_off = 0;
    if (lot_uniform(&v->lot) < v->readings) {
        bias_off = 0.2 * lot_normal(&v->lot);
        level_off = 0.2 * lot_normal(&v->lot);
        c->low_db = level_off + 0.15 * bias_off;
        c->high_db = level_off - 1.6 * bias_off;
    }
    c->bias = 2 * (need[0] + bias_off + (v->misentry[i] ? 3 : 0));
    c->level = 2 * (need[1] + level_off);
    if (!v->deck[deck].level_dial.present) {
        c->level = ABSENT;
        c->low_db = -need[1] + 0.15 * bias_off;
        c->high_db = -need[1] - 1.6 * bias_off;
    }
}

static double (*pairs(size_t n))[2]
{
    return calloc(n, sizeof(double[2]));
}

void invent(struct invented *v, uint64_t seed)
{
    v->lot.state = seed;
    v->deck = calloc((size_t)v->decks, sizeof *v->deck);
    v->stock = calloc((size_t)v->stocks, sizeof *v->stock);
    v->row = calloc((size_t)v->rows + 1, sizeof *v->row);
    v->misentry = calloc((size_t)v->rows + 1, sizeof *v->misentry);
    v->deck_truth = pairs((size_t)v->decks);
    v->stock_truth = pairs((size_t)v->stocks);
    v->class_truth = pairs((size_t)v->decks * 4);
    v->pair_truth = pairs((size_t)v->decks * (size_t)v->stocks);
    for (int r = 0; r < 2; r++) {
        for (int i = 0; i < v->decks; i++)
            v->deck_truth[i][r] = 0.7 * lot_normal(&v->lot);
        for (int i = 0; i < v->stocks; i++)
            v->stock_truth[i][r] = 0.8 * lot_normal(&v->lot) + (i % 4) * 0.5;
        for (int i = 0; i < v->decks * 4; i++)
            v->class_truth[i][r] = 0.3 * lot_normal(&v->lot);
        for (int i = 0; i < v->decks * v->stocks; i++)
            v->pair_truth[i][r] = 0.1 * lot_normal(&v->lot);
    }
    for (int i = 0; i < v->decks; i++)
        make_deck(v, i);
    for (int i = 0; i < v->stocks; i++)
        make_stock(v, i);
    for (int i = 0; i < v->rows; i++)
        make_row(v, i);
}

void invented_free(struct invented *v)
{
    free(v->deck), free(v->stock), free(v->row), free(v->misentry);
    free(v->deck_truth), free(v->stock_truth), free(v->class_truth), free(v->pair_truth);
}

double invented_truth(const struct invented *v, int deck, int stock, int r)
{
    return v->deck_truth[deck][r] + v->stock_truth[stock][r] + v->class_truth[deck * 4 + stock % 4][r] +
           v->pair_truth[deck * v->stocks + stock][r];
}

static void put_names(const struct invented *v, struct model *m)
{
    for (int i = 0; i < v->decks; i++)
        if (!model_put_deck(m, &v->deck[i]))
            abort();
    for (int i = 0; i < v->stocks; i++)
        if (!model_put_stock(m, &v->stock[i]))
            abort();
}

struct model *invented_model(const struct invented *v)
{
    struct model *m = model_new();
    if (!m)
        abort();
    put_names(v, m);
    return m;
}

void invented_put(const struct invented *v, struct model *m, const int *order)
{
    put_names(v, m);
    for (int i = 0; i < v->rows; i++) {
        struct stamp stamp = {.seq = i + 1, .revision = 1};
        snprintf(stamp.member, sizeof stamp.member, "member %d", i % 5);
        if (!model_put_calibration(m, &v->row[order ? order[i] : i], &stamp))
            abort();
    }
    model_reached(m, v->rows);
}

struct model_question invented_question(const struct invented *v, int deck, int stock)
{
    return (struct model_question){.deck = &v->deck[deck],
                                   .stock = &v->stock[stock],
                                   .tape_class = CLASS_NONE,
                                   .recordings = -1,
                                   .position_s = ABSENT,
                                   .part = ABSENT,
                                   .treble_db = 0,
                                   .low_hz = ABSENT,
                                   .high_hz = ABSENT,
                                   .at_us = 19700LL * DAY_US};
}
