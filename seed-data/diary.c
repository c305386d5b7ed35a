/* SPDX-License-Identifier: GPL-3.0-or-later
 * Who calibrated what and when: see diary.h. */
#include "diary.h"

#include "ground/memory.h"
#include "trade/check.h"
#include "trade/dial.h"
#include "trade/spool.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SHELF  6 /* tapes of one stock that are used again */
#define MINUTE 60000000LL
#define HOUR   (60 * MINUTE)
#define DAY    (24 * HOUR)

struct shelf_tape {
    int number, batch, recordings;
};
struct shelf {
    int made; /* tapes so far */
    struct shelf_tape tapes[SHELF];
};

struct diary {
    const struct club *club;
    struct chance chance, row; /* who meets when; what happens at one calibration */
    long rows, written;
    int64_t step_us, at_us;
    /* this evening */
    int deck, member, left, setup;
    struct shelf *shelves;
    float (*last)[2];       /* a deck × stock: where its dials were left, nominal dB */
    float (*last_class)[2]; /* a deck × class */
    bool pending;           /* the right channel of the same tape */
    struct diary_row waiting;
    struct bench_deck spoiled; /* a deck with noise reduction or a filter left on */
};

struct diary *diary_new(const struct club *c, long rows)
{
    struct diary *d = mem_zero(1, sizeof *d);
    if (!d)
        return NULL;
    size_t pairs = (size_t)c->deck_count * (size_t)c->stock_count, cells = (size_t)c->deck_count * CLASS_COUNT;
    d->shelves = mem_zero((size_t)c->stock_count, sizeof *d->shelves);
    d->last = mem_zero(pairs, sizeof *d->last);
    d->last_class = mem_zero(cells, sizeof *d->last_class);
    if (!d->shelves || !d->last || !d->last_class) {
        diary_free(d);
        return NULL;
    }
    for (size_t i = 0; i < pairs; i++)
        d->last[i][0] = NAN;
    for (size_t i = 0; i < cells; i++)
        d->last_class[i][0] = NAN;
    d->club = c;
    d->chance = chance_of(c->seed, 21, 0);
    d->rows = rows;
    d->step_us = (c->to_us - c->from_us) / (rows > 0 ? rows : 1);
    d->at_us = c->from_us;
    return d;
}

void diary_free(struct diary *d)
{
    if (!d)
        return;
    mem_free(d->shelves);
    mem_free(d->last);
    mem_free(d->last_class);
    mem_free(d);
}

bool diary_possible(const struct club *c, int deck, int stock)
{
    const struct stock *s = &c->stocks[stock].record;
    return stock_medium(s) == c->decks[deck].record.medium && c->decks[deck].takes[s->tape_class];
}

void diary_truth(const struct club *c, int deck, int stock, int setup, enum channel channel, int64_t at_us, double truth[2])
{
    struct bench_tape typical = bench_tape_of(&c->stocks[stock], c->seed, stock, -1, -1);
    struct bench_place middle = {setup, c->stocks[stock].record.tape_class, channel, 0.0, c->stocks[stock].side_s / 2.0, 0.5, {0, 0},
                                 at_us};
    bench_truth(&c->decks[deck], &typical, &middle, 0.0, truth);
}

/* Popular things come first in the list. */
static int popular(struct chance *c, int n, double steep)
{
    int i = (int)(n * pow(chance_uniform(c), steep));
    return i < n ? i : n - 1;
}

static void begin_evening(struct diary *d)
{
    const struct club *c = d->club;
    int64_t due = c->from_us + (int64_t)((double)(c->to_us - c->from_us) * (double)d->written / (double)d->rows);
    d->deck = popular(&d->chance, c->deck_count, 1.5);
    d->member = c->owner[d->deck] >= 0 && chance_hit(&d->chance, 0.8) ? c->owner[d->deck] : popular(&d->chance, c->member_count, 1.2);
    d->left = 1 + popular(&d->chance, 8, 1.4);
    d->setup = chance_hit(&d->chance, 0.5) ? 0 : chance_index(&d->chance, c->decks[d->deck].setup_count);
    if (d->step_us > HOUR) /* a small club meets in the evening */
        due = due / DAY * DAY + 17 * HOUR + (int64_t)chance_between(&d->chance, 0, 3.0 * 60) * MINUTE;
    if (due > d->at_us)
        d->at_us = due;
}

static int choose_stock(struct diary *d)
{
    const struct club *c = d->club;
    for (int tries = 0; tries < 200; tries++) {
        int s = chance_hit(&d->chance, 0.7) ? popular(&d->chance, c->stock_count, 1.6) : chance_index(&d->chance, c->stock_count);
        if (diary_possible(c, d->deck, s))
            return s;
    }
    return -1;
}

/* A new cassette, or one from the shelf that has been recorded over since. */
static struct shelf_tape take_tape(struct diary *d, int stock)
{
    struct shelf *s = &d->shelves[stock];
    int kept = s->made < SHELF ? s->made : SHELF;
    if (kept > 0 && chance_hit(&d->chance, 0.45)) {
        struct shelf_tape *t = &s->tapes[chance_index(&d->chance, kept)];
        t->recordings += 1 + (int)(-2.0 * log(1.0 - chance_uniform(&d->chance)));
        if (t->recordings > 60)
            t->recordings = 60;
        return *t;
    }
    struct shelf_tape t = {s->made, s->made / 4, chance_hit(&d->chance, 0.75) ? 0 : 1 + chance_index(&d->chance, 15)};
    s->tapes[s->made % SHELF] = t;
    s->made++;
    return t;
}

/* Where on the reel, and how it is written down. */
static void choose_place(struct diary *d, const struct bench_deck *deck, const struct bench_stock *stock, const struct member *m,
                         struct bench_place *p, struct calibration *c)
{
    const struct setup *setup = &deck->setup[p->setup];
    double usual = deck->record.medium == MEDIUM_REEL ? 190.5 : 47.625, side_s = stock->side_s * usual / setup->speed_mm_s;
    double s = chance_hit(&d->row, 0.08) ? chance_between(&d->row, 3, 25) : 30.0 * pow(40.0, chance_uniform(&d->row));
    if (s > 0.9 * side_s)
        s = 0.5 * side_s;
    if (m->writes_place > 0 && chance_hit(&d->row, m->writes_place)) {
        const struct counter *k = &deck->record.counter;
        if (k->kind == COUNTER_POINTS && k->point_count > 0 && given(stock->record.side_minutes) &&
            stock->record.side_minutes == k->points[0].side_minutes) {
            const struct counter_point *q = &k->points[0];
            double b = (q->t2_s / q->c2 - q->t1_s / q->c1) / (q->c2 - q->c1), a = q->t1_s / q->c1 - b * q->c1;
            c->position_kind = POSITION_COUNTER;
            c->position_typed = round((-a + sqrt(a * a + 4 * b * s)) / (2 * b));
        } else if (k->kind == COUNTER_TIME && chance_hit(&d->row, 0.7)) {
            c->position_kind = POSITION_COUNTER;
            c->position_typed = round(s);
        } else if (chance_hit(&d->row, 0.2)) {
            c->position_kind = POSITION_PART;
            c->position_typed = round(s / side_s * 20.0) / 20.0;
        } else {
            c->position_kind = POSITION_S;
            c->position_typed = s < 60 ? round(s) : round(s / 10.0) * 10.0;
        }
    }
    p->position_s = s;
    p->part = s / side_s;
    if (c->position_kind != POSITION_NONE)
        c->position_s = place_on_reel(c->position_kind, c->position_typed, &deck->record, setup, &stock->record).position_s;
}

static const char *const REMARK[] = {
    "Wound end to end first.",
    "Shell a little stiff, second try after slapping it flat.",
    "Heads cleaned just before.",
    "Same box as last month.",
    "Treble a touch restless, average of three looks.",
    "Lined up at the first reading.",
    "Pressure pad looks worn.",
    "Checked again after half an hour: the same.",
    "Found in a drawer, label handwritten.",
    "Left channel a hair brighter.",
};

/* What is written beside the two settings. */
static void write_extras(struct diary *d, const struct bench_deck *deck, const struct bench_tape *tape, const struct bench_place *p,
                         struct calibration *c, const struct bench_fact *fact)
{
    struct chance *k = &d->row;
    double sd[2];
    bench_wander_db(deck, p, sd);
    if (given(c->high_db) && chance_hit(k, 0.2))
        c->unsteady_db = round(fabs(chance_normal(k, 3.0 * sd[1], sd[1])) * 10.0) / 10.0;
    if (given(c->high_db) && c->channel == CHANNEL_BOTH && chance_hit(k, 0.3)) {
        c->low_balance_db = round((2.0 * deck->channel_db[0][1] + chance_normal(k, 0, 0.1)) * 5.0) / 5.0;
        c->high_balance_db = round((2.0 * deck->channel_db[0][1] + deck->azimuth_db + chance_normal(k, 0, 0.25)) * 5.0) / 5.0;
    }
    if (chance_hit(k, 0.1))
        c->peak_db = round((2.0 + tape->coat.sensitivity_db + chance_normal(k, 1.0, 0.6)) * 2.0) / 2.0;
    if (given(c->high_db) && c->settled && chance_hit(k, 0.08)) {
        static const double hz[3] = {1000, 6300, 12500};
        for (int i = 0; i < 3; i++) {
            double at = bench_hz_db(deck, tape, p, hz[i], fact->set_db[0], fact->set_db[1]);
            c->proof[c->proof_count++] = (struct proof){hz[i], round((at + chance_normal(k, 0, 0.15)) * 10.0) / 10.0,
                                                        round((at + chance_normal(k, 0, 0.15)) * 10.0) / 10.0};
        }
    }
    if (chance_hit(k, 0.05))
        c->notes = REMARK[chance_index(k, (int)(sizeof REMARK / sizeof *REMARK))];
}

/* Written under another deck's name, where its dials would take the numbers. */
static bool name_other_deck(struct diary *d, struct diary_row *row)
{
    const struct club *c = d->club;
    const struct deck *real = &c->decks[row->deck].record;
    for (int tries = 0; tries < 20; tries++) {
        int other = chance_index(&d->row, c->deck_count);
        const struct deck *o = &c->decks[other].record;
        struct calibration *k = &row->calibration;
        if (other == row->deck || !diary_possible(c, other, row->stock) || o->per_channel != real->per_channel ||
            o->bias_dial.present != real->bias_dial.present || o->level_dial.present != real->level_dial.present || !o->bias_dial.present ||
            row->place.setup > 0 || k->move_count > 0 || k->bias_stop || k->level_stop || k->bias < o->bias_dial.low ||
            k->bias > o->bias_dial.high || (o->level_dial.present && (k->level < o->level_dial.low || k->level > o->level_dial.high)) ||
            k->position_kind == POSITION_COUNTER)
            continue;
        snprintf(k->deck, sizeof k->deck, "%s", o->id);
        k->eq = ABSENT;
        if (o->eq_dial.present)
            continue;
        return true;
    }
    return false;
}

static void identify(struct diary *d, struct diary_row *row)
{
    struct calibration *c = &row->calibration;
    c->made_at_us = d->at_us;
    c->made_at_offset_minutes = 60;
    c->id = club_uuid(&d->row, d->at_us, d->club->members[row->member].coarse > 1.5 ? 4 : 7);
}

static bool in_order(const struct bench_deck *deck, struct bench_deck *spoiled, const struct calibration *c)
{
    if (!c->noise_reduction && !c->mpx_filter)
        return true;
    *spoiled = *deck; /* an encoder lifts quiet treble, a pilot filter takes some away */
    for (int s = 0; s < BENCH_SETUPS; s++)
        for (int k = 0; k < CLASS_COUNT; k++)
            spoiled->treble_error_db[s][k] += c->noise_reduction ? 2.2 : -1.1;
    return false;
}

bool diary_next(struct diary *d, struct diary_row *row)
{
    const struct club *club = d->club;
    if (d->written >= d->rows)
        return false;
    d->written++;
    if (d->pending) {
        *row = d->waiting;
        d->pending = false;
        d->at_us += d->step_us > HOUR ? 2 * MINUTE : 1000;
        row->place.at_us = d->at_us;
        row->place.channel = CHANNEL_RIGHT;
    } else {
        int stock = -1;
        while (stock < 0) {
            if (d->left <= 0)
                begin_evening(d);
            d->left--;
            stock = choose_stock(d);
        }
        d->at_us += d->step_us > HOUR ? (int64_t)chance_between(&d->chance, 4, 16) * MINUTE : d->step_us;
        struct shelf_tape t = take_tape(d, stock);
        *row = (struct diary_row){.deck = d->deck, .stock = stock, .member = d->member, .batch = t.batch, .tape = t.number};
        row->place =
            (struct bench_place){d->setup, club->stocks[stock].record.tape_class, CHANNEL_BOTH, t.recordings, 0, 0, {0, 0}, d->at_us};
        if (club->decks[d->deck].record.per_channel)
            row->place.channel = CHANNEL_LEFT;
    }
    const struct bench_deck *deck = &club->decks[row->deck];
    const struct bench_stock *stock = &club->stocks[row->stock];
    const struct member *m = &club->members[row->member];
    struct calibration *c = &row->calibration;
    d->row = chance_of(club->seed, 22, (uint64_t)d->written);
    calibration_init(c);
    identify(d, row);
    snprintf(c->deck, sizeof c->deck, "%s", deck->record.id);
    snprintf(c->stock, sizeof c->stock, "%s", stock->record.id);
    if (row->place.setup > 0 || (deck->setup_count > 1 && chance_hit(&d->row, 0.5)))
        snprintf(c->setup, sizeof c->setup, "%s", deck->setup[row->place.setup].id);
    c->channel = row->place.channel;
    if (deck->record.medium == MEDIUM_CASSETTE && chance_hit(&d->row, 0.7))
        c->side = (row->tape + row->batch) % 3 ? SIDE_A : SIDE_B;
    if (chance_hit(&d->row, 0.6))
        snprintf(c->batch, sizeof c->batch, "%c%02d", 'K' + row->batch % 12, 3 + row->batch * 5 % 90);
    if (chance_hit(&d->row, 0.8))
        snprintf(c->tape, sizeof c->tape, "%.3s-%03d", stock->record.id, row->tape + 1);
    if (chance_hit(&d->row, m->counts_recordings))
        c->recordings = (int)row->place.recordings;
    if (row->place.channel != CHANNEL_RIGHT || row->place.position_s <= 0)
        choose_place(d, deck, stock, m, &row->place, c);
    if (deck->record.eq_dial.present)
        c->eq = dial_zero(&deck->record.eq_dial);
    if (chance_hit(&d->row, 0.03)) {
        c->high_hz = row->place.hz[BENCH_HIGH] = deck->record.medium == MEDIUM_REEL ? 12000 : 8000;
    }
    c->noise_reduction = chance_hit(&d->row, 0.006);
    c->mpx_filter = !c->noise_reduction && chance_hit(&d->row, 0.006);
    c->for_noise_reduction = chance_hit(&d->row, 0.2);

    size_t pair = (size_t)row->deck * (size_t)club->stock_count + (size_t)row->stock,
           cell = (size_t)row->deck * CLASS_COUNT + (size_t)stock->record.tape_class;
    double start[2] = {0, 0};
    const float *known = !isnan(d->last[pair][0])                                     ? d->last[pair]
                         : !isnan(d->last_class[cell][0]) && chance_hit(&d->row, 0.7) ? d->last_class[cell]
                                                                                      : NULL;
    if (known) {
        start[0] = (double)known[0];
        start[1] = (double)known[1];
    }
    struct bench_tape tape = bench_tape_of(stock, club->seed, row->stock, row->batch, row->tape);
    const struct bench_deck *used = in_order(deck, &d->spoiled, c) ? deck : &d->spoiled;
    member_calibrate(m, used, &tape, &row->place, start, &d->row, c, &row->fact);
    for (int i = 0; i < 2; i++)
        d->last[pair][i] = d->last_class[cell][i] = (float)row->fact.set_db[i];
    write_extras(d, used, &tape, &row->place, c, &row->fact);
    if (row->fact.misentry == ENTRY_RIGHT && chance_hit(&d->row, m->slips * 0.4) && name_other_deck(d, row))
        row->fact.misentry = ENTRY_OTHER_DECK;
    if (row->place.channel == CHANNEL_LEFT) {
        d->waiting = *row;
        d->pending = true;
    }
    return true;
}
