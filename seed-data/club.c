/* SPDX-License-Identifier: GPL-3.0-or-later
 * What every invented club shares: see club.h. Spreads inside a class (about ±1 dB of bias, ±1 to 2 dB of sensitivity): common practice, no source. */
#include "club.h"

#include "ground/memory.h"
#include "trade/check.h"

#include <stdlib.h>
#include <string.h>

struct club *club_new(uint64_t seed, int decks, int stocks, int members)
{
    struct club *c = mem_zero(1, sizeof *c);
    if (!c)
        return NULL;
    c->seed = seed;
    c->decks = mem_zero((size_t)decks, sizeof *c->decks);
    c->stocks = mem_zero((size_t)stocks, sizeof *c->stocks);
    c->members = mem_zero((size_t)members, sizeof *c->members);
    c->owner = mem_zero((size_t)decks, sizeof *c->owner);
    if (!c->decks || !c->stocks || !c->members || !c->owner) {
        club_free(c);
        return NULL;
    }
    c->deck_count = decks;
    c->stock_count = stocks;
    c->member_count = members;
    for (int i = 0; i < decks; i++) {
        deck_init(&c->decks[i].record);
        c->owner[i] = -1;
    }
    for (int i = 0; i < stocks; i++)
        stock_init(&c->stocks[i].record);
    return c;
}

void club_free(struct club *c)
{
    if (!c)
        return;
    for (int i = 0; c->decks && i < c->deck_count; i++)
        bench_deck_release(&c->decks[i]);
    mem_free(c->decks);
    mem_free(c->stocks);
    mem_free(c->members);
    mem_free(c->owner);
    mem_free(c);
}

struct uuid club_uuid(struct chance *chance, int64_t at_us, int version)
{
    struct uuid u;
    uint64_t a = chance_bits(chance), b = chance_bits(chance), ms = (uint64_t)(at_us / 1000);
    for (int i = 0; i < 8; i++) {
        u.bytes[i] = (uint8_t)(a >> (8 * i));
        u.bytes[8 + i] = (uint8_t)(b >> (8 * i));
    }
    if (version == 7)
        for (int i = 0; i < 6; i++)
            u.bytes[i] = (uint8_t)(ms >> (8 * (5 - i)));
    u.bytes[6] = (uint8_t)((u.bytes[6] & 0x0f) | (version << 4));
    u.bytes[8] = (uint8_t)((u.bytes[8] & 0x3f) | 0x80);
    return u;
}

/* Decks of one model share the maker's habits: the same stream of chance. */
static uint64_t text_hash(const char *text)
{
    uint64_t h = 1469598103934665603ULL; /* FNV-1a */
    for (; *text; text++)
        h = (h ^ (uint8_t)*text) * 1099511628211ULL;
    return h;
}

void club_deck_physics(struct club *c, int deck)
{
    struct bench_deck *d = &c->decks[deck];
    struct chance of_model = chance_of(c->seed, 11, d->record.model[0] ? text_hash(d->record.model) : 1000000u + (uint64_t)deck);
    struct chance own = chance_of(c->seed, 12, (uint64_t)deck);
    bool reel = d->record.medium == MEDIUM_REEL;
    d->gap_um = (reel ? 5.0 : d->record.heads == 2 ? 1.6 : 2.2) * chance_between(&of_model, 1.0, 1.7);
    d->preset_slope = chance_normal(&of_model, -0.08, 0.05);
    double model_bias = chance_normal(&of_model, 0, 0.45), model_treble = chance_normal(&of_model, 0, 0.35);
    double class_habit[CLASS_COUNT];
    for (int k = 0; k < CLASS_COUNT; k++)
        class_habit[k] = chance_normal(&of_model, 0, 0.2);
    double bias = chance_normal(&own, model_bias, 0.75), level = chance_normal(&own, 0, 0.8),
           treble = chance_normal(&own, model_treble, 0.6);
    for (int s = 0; s < BENCH_SETUPS; s++) {
        double setup[3] = {chance_normal(&own, 0, 0.35), chance_normal(&own, 0, 0.25), chance_normal(&own, 0, 0.3)};
        for (int k = 0; k < CLASS_COUNT; k++) {
            d->bias_error_db[s][k] = bias + class_habit[k] + chance_normal(&own, 0, reel ? 0.05 : 0.3) + (s ? setup[0] : 0);
            d->level_error_db[s][k] = level + chance_normal(&own, 0, reel ? 0.05 : 0.3) + (s ? setup[1] : 0);
            d->treble_error_db[s][k] = treble + chance_normal(&own, 0, reel ? 0.05 : 0.2) + (s ? setup[2] : 0);
        }
    }
    for (int i = 0; i < 3; i++) {
        static const double sd[3] = {0.2, 0.25, 0.2};
        d->channel_db[0][i] = chance_normal(&own, 0, sd[i]);
        d->channel_db[1][i] = -d->channel_db[0][i];
    }
    d->azimuth_db = chance_normal(&own, 0, 0.35);
    d->drift_bias_db_year = chance_normal(&own, 0, 0.12);
    d->drift_treble_db_year = chance_normal(&own, 0, 0.08);
    d->wear_db = chance_between(&own, 0.0, 0.15);
    d->born_us = c->from_us;
    d->unsteadiness = chance_between(&own, 0.8, 1.4);
    d->contact = chance_between(&own, 0.7, 1.4);
    for (int i = 0; i < 2; i++) {
        const struct dial *dial = i ? &d->record.level_dial : &d->record.bias_dial;
        d->dial[i] = (struct bench_dial){0.0, chance_normal(&own, 0, 0.04), chance_between(&own, 0, 0.08), chance_between(&own, 0, 6.28)};
        if (dial->present && dial->scale == SCALE_LEARN) /* nobody knows, but a dial is usually made to span a useful range */
            d->dial[i].learned = chance_between(&own, 5.0, 11.0) / (dial->high - dial->low);
    }
    bench_deck_ready(d);
}

void club_stock_physics(struct club *c, int stock, int like)
{
    struct bench_stock *s = &c->stocks[stock];
    struct chance own = chance_of(c->seed, 13, (uint64_t)stock);
    struct coat reference = tape_reference(s->record.tape_class), base = reference;
    bool reel = stock_medium(&s->record) == MEDIUM_REEL;
    double far = like >= 0 ? 0.15 : 1.0; /* the same coating on another label differs little */
    if (like >= 0)
        base = c->stocks[like].coat;
    s->coat = base;
    s->coat.need_db += far * chance_normal(&own, 0, 0.75);
    s->coat.sensitivity_db += far * chance_normal(&own, 0, 0.8);
    s->coat.thickness_um *= 1.0 + far * chance_normal(&own, 0, 0.08);
    s->coat.spacing_um += far * chance_normal(&own, 0, 0.035);
    s->coat.spread *= 1.0 + far * chance_normal(&own, 0, 0.08);
    if (s->coat.spacing_um < 0.05)
        s->coat.spacing_um = 0.05;
    if (s->coat.spread > 0.3)
        s->coat.spread = 0.3;
    s->durability = chance_between(&own, 0.5, 1.6);
    double quality = chance_between(&own, 0.6, 1.5); /* how alike its tapes are */
    static const double batch[3] = {0.15, 0.15, 0.12}, tape[3] = {0.12, 0.12, 0.12};
    for (int i = 0; i < 3; i++) {
        s->batch_sd[i] = batch[i] * quality;
        s->tape_sd[i] = tape[i] * quality;
    }
    s->slope_along[0] = chance_normal(&own, 0.05, 0.1);
    s->slope_along[1] = chance_normal(&own, 0, 0.1);
    s->side_s = given(s->record.side_minutes) ? s->record.side_minutes * 60.0 : reel ? 1800.0 : 2700.0;
}

static int service_by_time(const void *a, const void *b)
{
    const struct service *x = a, *y = b;
    return (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us);
}

static int check_by_time(const void *a, const void *b)
{
    const struct deck_check *x = a, *y = b;
    return (x->made_at_us > y->made_at_us) - (x->made_at_us < y->made_at_us);
}

void club_sort(struct club *c)
{
    qsort(c->services, (size_t)c->service_count, sizeof *c->services, service_by_time);
    qsort(c->checks, (size_t)c->check_count, sizeof *c->checks, check_by_time);
}
