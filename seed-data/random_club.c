/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Clubs of any size invented from a seed, to judge and to load the product. Names are numbers: nobody reads these.
 */
#include "club.h"

#include "trade/check.h"
#include "trade/classes.h"

#include <math.h>
#include <stdio.h>

static void random_dial(struct chance *k, struct dial *d, bool bias)
{
    *d = (struct dial){.present = true, .step = ABSENT, .zero = ABSENT, .plus = PLUS_MORE, .scale = SCALE_DB, .db_per_unit = ABSENT};
    double pick = chance_uniform(k);
    if (pick < 0.5) { /* marks round a detent */
        snprintf(d->unit, sizeof d->unit, "mark");
        d->low = -5;
        d->high = 5;
        d->step = 0.25;
        d->db_per_unit = round(chance_between(k, 0.7, 1.1) * 20) / 20;
        if (chance_hit(k, 0.15))
            d->plus = PLUS_LESS;
    } else if (pick < 0.65) {
        snprintf(d->unit, sizeof d->unit, "step");
        d->low = -16;
        d->high = 16;
        d->step = 1;
        d->db_per_unit = 0.25;
    } else if (pick < 0.8) {
        snprintf(d->unit, sizeof d->unit, "%%");
        d->low = 55;
        d->high = 160;
        d->step = 1;
        d->zero = 100;
        d->scale = SCALE_PERCENT;
    } else if (pick < 0.88) {
        snprintf(d->unit, sizeof d->unit, "times");
        d->low = 0.5;
        d->high = 1.7;
        d->step = 0.02;
        d->zero = 1;
        d->scale = SCALE_RATIO;
    } else if (pick < 0.94 || !bias) {
        static const double hours[5][2] = {{7, -4.5}, {9, -2.4}, {12, 0}, {15, 2.2}, {17, 3.4}};
        snprintf(d->unit, sizeof d->unit, "o'clock");
        d->low = 7;
        d->high = 17;
        d->step = 0.25;
        d->zero = 12;
        d->scale = SCALE_POINTS;
        d->point_count = 5;
        for (int i = 0; i < 5; i++) {
            d->points[i][0] = hours[i][0];
            d->points[i][1] = hours[i][1];
        }
    } else {
        snprintf(d->unit, sizeof d->unit, "mark");
        d->low = 0;
        d->high = 10;
        d->step = 0.25;
        d->zero = 5;
        d->scale = SCALE_LEARN;
    }
}

static void random_deck(struct club *c, int i, bool reel)
{
    struct chance k = chance_of(c->seed, 31, (uint64_t)i);
    struct bench_deck *b = &c->decks[i];
    struct deck *d = &b->record;
    snprintf(d->id, sizeof d->id, "deck-%d", i + 1);
    snprintf(d->name, sizeof d->name, "Deck %d", i + 1);
    d->medium = reel ? MEDIUM_REEL : MEDIUM_CASSETTE;
    if (chance_hit(&k, 0.7))
        snprintf(d->model, sizeof d->model, "%s %d", reel ? "R" : "C", chance_index(&k, 1 + c->deck_count / 3));
    d->heads = reel || chance_hit(&k, 0.6) ? 3 : 2;
    double dials = chance_uniform(&k);
    if (dials > 0.06)
        random_dial(&k, &d->bias_dial, true);
    if (dials > 0.20)
        random_dial(&k, &d->level_dial, false);
    d->per_channel = d->level_dial.present && chance_hit(&k, reel ? 0.4 : 0.08);
    static const double meter[4] = {0.1, 0.25, 0.5, 1.0};
    d->meter_step_db = meter[chance_index(&k, d->heads == 3 ? 3 : 4)];
    if (reel && chance_hit(&k, 0.5)) {
        d->setup_count = 2;
        static const struct {
            const char *id, *equalisation;
            double speed;
        } speed[2] = {{"main", "70us", 190.5}, {"slow", "90us", 95.25}};
        for (int s = 0; s < 2; s++) {
            d->setups[s] = (struct setup){.speed_mm_s = speed[s].speed, .direction = DIRECTION_FORWARD};
            snprintf(d->setups[s].id, sizeof d->setups[s].id, "%s", speed[s].id);
            snprintf(d->setups[s].equalisation, sizeof d->setups[s].equalisation, "%s", speed[s].equalisation);
        }
    } else if (!reel && d->heads == 2 && chance_hit(&k, 0.3)) {
        d->setup_count = 2;
        for (int s = 0; s < 2; s++) {
            d->setups[s] = (struct setup){.speed_mm_s = 47.625, .direction = s ? DIRECTION_REVERSE : DIRECTION_FORWARD};
            snprintf(d->setups[s].id, sizeof d->setups[s].id, "%s", s ? "reverse" : "main");
        }
    }
    club_deck_physics(c, i);
    for (int t = 0; t < CLASS_COUNT; t++)
        b->takes[t] = class_info((enum tape_class)t)->medium == d->medium && !(t == CLASS_TYPE_4 && chance_hit(&k, 0.25)) &&
                      !(t == CLASS_TYPE_3 && chance_hit(&k, 0.4));
    if (d->bias_dial.present && !d->per_channel && chance_hit(&k, 0.06)) {
        b->automatic = true;
        b->automatic_db = chance_normal(&k, 0, 0.3);
        b->automatic_share = 0.75;
    } else if (reel && chance_hit(&k, 0.4)) {
        b->overbias_drop_db = 3.0;
        b->overbias_share = 0.3;
    }
}

/* What services really do: spread of bias, level and treble, and whether somebody measures the shift. Realigned presets end nearer to zero than they
 * began, which is of the same size. */
static const struct {
    const char *kind;
    double share, bias_sd, level_sd, treble_sd, measured;
} SERVICE[] = {
    {"realigned", 0.35, 0.5, 0.3, 0.3, 0.0}, {"record-trims", 0.2, 0.4, 0.3, 0.0, 0.5}, {"heads-cleaned", 0.2, 0.0, 0.0, 0.15, 0.0},
    {"belts", 0.15, 0.0, 0.0, 0.05, 0.0},    {"azimuth", 0.1, 0.0, 0.0, 0.3, 0.0},
};

static void random_service(struct club *c, int i, int64_t at_us, struct chance *k)
{
    struct bench_deck *b = &c->decks[i];
    int which = 0;
    double u = chance_uniform(k);
    for (; which < (int)(sizeof SERVICE / sizeof *SERVICE) - 1 && u >= SERVICE[which].share; which++)
        u -= SERVICE[which].share;
    struct bench_change change = {at_us, chance_normal(k, 0, SERVICE[which].bias_sd), chance_normal(k, 0, SERVICE[which].level_sd),
                                  chance_normal(k, 0, SERVICE[which].treble_sd), false};
    b->change[b->change_count++] = change;
    struct service *s = &c->services[c->service_count++];
    service_init(s);
    s->id = club_uuid(k, at_us, 7);
    snprintf(s->deck, sizeof s->deck, "%s", b->record.id);
    s->made_at_us = at_us;
    s->made_at_offset_minutes = 60;
    snprintf(s->kind, sizeof s->kind, "%s", SERVICE[which].kind);
    s->resets = service_kind_resets(s->kind);
    if (chance_hit(k, SERVICE[which].measured)) /* more bias from the preset is less on the dial */
        s->bias_shift_db = round(-change.bias_db * 10.0) / 10.0;
}

/* In two years one deck in ten jumps once without anybody noticing; one in three is serviced. */
static void random_changes(struct club *c, int i, struct chance *k)
{
    double when = chance_between(k, 0.2, 0.9), years = clock_years_between(c->from_us, c->to_us);
    int64_t at_us = c->from_us + (int64_t)(when * (double)(c->to_us - c->from_us));
    if (chance_hit(k, 0.05 * years)) {
        struct bench_deck *b = &c->decks[i];
        b->change[b->change_count++] =
            (struct bench_change){at_us, chance_hit(k, 0.5) ? 0.9 : -0.9, chance_normal(k, 0, 0.2), chance_normal(k, 0, 0.2), false};
    } else if (chance_hit(k, 0.17 * years) && c->service_count < CLUB_SERVICES) {
        random_service(c, i, at_us, k);
    }
}

static void random_stock(struct club *c, int i, bool reel)
{
    struct chance k = chance_of(c->seed, 32, (uint64_t)i);
    struct stock *s = &c->stocks[i].record;
    static const double share[4] = {0.45, 0.35, 0.05, 0.15};
    int t = 0;
    double u = chance_uniform(&k);
    if (reel)
        t = CLASS_REEL_STANDARD + chance_index(&k, 3);
    else
        for (t = 0; t < 3 && u >= share[t]; t++)
            u -= share[t];
    snprintf(s->id, sizeof s->id, "stock-%d", i + 1);
    snprintf(s->name, sizeof s->name, "Stock %d", i + 1);
    s->tape_class = (enum tape_class)t;
    static const double minutes[3] = {30, 45, 45};
    if (!reel)
        s->side_minutes = minutes[chance_index(&k, 3)];
    int like = -1;
    if (chance_hit(&k, 0.3)) /* another label on a coating there is already */
        for (int tries = 0; tries < 20 && like < 0 && i > 0; tries++) {
            int j = chance_index(&k, i);
            if (c->stocks[j].record.tape_class == s->tape_class && c->stocks[j].record.family[0])
                like = j;
        }
    if (like >= 0)
        snprintf(s->family, sizeof s->family, "%s", c->stocks[like].record.family);
    else if (chance_hit(&k, 0.6))
        snprintf(s->family, sizeof s->family, "coating %d", i + 1);
    club_stock_physics(c, i, like);
    const struct bench_stock *b = &c->stocks[i];
    struct coat reference = tape_reference(s->tape_class);
    if (chance_hit(&k, 0.3)) { /* the maker's sheet: measured on another machine, and on the good side */
        s->sheet_bias_db = round((b->coat.need_db - reference.need_db + chance_normal(&k, 0, 0.35)) * 10) / 10;
        s->sheet_level_db = round((b->coat.sensitivity_db - reference.sensitivity_db + chance_normal(&k, 0.2, 0.4)) * 10) / 10;
    }
}

static void random_member(struct club *c, int i)
{
    struct chance k = chance_of(c->seed, 33, (uint64_t)i);
    struct member *m = &c->members[i];
    snprintf(m->name, sizeof m->name, "Member %d", i + 1);
    m->taste_db = chance_hit(&k, 0.25) ? 1.0 : 0.0;
    m->says_taste = chance_hit(&k, 0.8);
    m->reads = chance_between(&k, 0.5, 1.0);
    m->writes_moves = chance_between(&k, 0.1, 0.9);
    m->writes_place = chance_between(&k, 0.2, 0.9);
    m->counts_recordings = chance_between(&k, 0.3, 0.9);
    m->coarse = chance_hit(&k, 0.2) ? 2.0 : 1.0;
    m->patient = chance_between(&k, 4, 8);
    m->slope_guess = chance_between(&k, 1.0, 2.0);
    m->tight = chance_between(&k, 0.8, 1.8);
    m->by_ear = chance_hit(&k, 0.3) ? 0.3 : 0.0;
    m->slips = chance_between(&k, 0.005, 0.035);
}

struct club *club_random(uint64_t seed, const struct club_size *z)
{
    struct club *c = club_new(seed, z->decks, z->stocks, z->members);
    if (!c)
        return NULL;
    c->from_us = z->from_us;
    c->to_us = z->to_us;
    struct chance k = chance_of(seed, 34, 0);
    for (int i = 0; i < z->decks; i++) {
        random_deck(c, i, i % 5 == 4);
        random_changes(c, i, &k);
        if (z->tabulated && !bench_deck_tabulate(&c->decks[i])) {
            club_free(c);
            return NULL;
        }
        c->owner[i] = chance_hit(&k, 0.2) ? -1 : chance_index(&k, z->members);
    }
    for (int i = 0; i < z->stocks; i++)
        random_stock(c, i, i % 5 == 3);
    for (int i = 0; i < z->members; i++)
        random_member(c, i);
    club_sort(c);
    return c;
}
