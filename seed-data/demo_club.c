/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The club of the demo: people, decks and tapes written by hand, every name invented; physics by chance from one seed except where a case is
 * wanted (README.md of this folder lists those and their truth).
 */
#include "club.h"
#include "demo_shelf.h"

#include "ground/memory.h"
#include "trade/check.h"
#include "trade/classes.h"

#include <stdio.h>
#include <string.h>

#define COUNT(a) ((int)(sizeof(a) / sizeof *(a)))

static int64_t day(const char *date)
{
    char text[32];
    int64_t us = 0;
    snprintf(text, sizeof text, "%sT12:00:00Z", date);
    (void)clock_parse(text, strlen(text), &us, NULL);
    return us;
}

static const struct member MEMBERS[] = {
    /* name, taste, says it, reads, moves, place, counts recordings, coarse, patient, slope guess, tight, by ear, slips */
    {"Odda Marrowin", 0.0, true, 0.95, 0.80, 0.90, 0.90, 1.0, 8, 1.3, 0.8, 0.0, 0.010},
    {"Tamsel Brackwith", 1.0, true, 0.90, 0.60, 0.50, 0.70, 1.0, 6, 1.5, 1.0, 0.0, 0.020},
    {"Ivo Quillant", 0.0, true, 0.70, 0.40, 0.60, 0.50, 2.0, 5, 1.8, 1.4, 0.2, 0.030},
    {"Haldis Umbrey", 0.0, true, 1.00, 0.90, 0.80, 0.95, 1.0, 8, 1.2, 0.8, 0.0, 0.010},
    {"Corvin Lasht", 1.0, false, 0.60, 0.30, 0.30, 0.40, 1.0, 5, 1.5, 1.5, 0.3, 0.030},
    {"Nell Orrigane", 0.0, true, 0.85, 0.50, 0.70, 0.60, 1.0, 6, 1.6, 1.0, 0.0, 0.015},
    {"Bastin Frewick", -0.5, true, 0.80, 0.50, 0.40, 0.50, 2.0, 6, 1.4, 1.2, 0.1, 0.025},
    {"Yselle Dromant", 0.0, true, 0.90, 0.70, 0.60, 0.80, 1.0, 7, 1.1, 0.9, 0.0, 0.015},
    {"Tovi Kessarin", 0.5, true, 0.75, 0.40, 0.50, 0.60, 1.0, 6, 1.7, 1.2, 0.0, 0.020},
    {"Perrin Stoweld", 0.0, true, 0.50, 0.20, 0.20, 0.30, 2.0, 4, 2.0, 1.6, 0.3, 0.035},
};
enum { ODDA, TAMSEL, IVO, HALDIS, CORVIN, NELL, BASTIN, YSELLE, TOVI, PERRIN };

/* ---- dials ---- */
static struct dial dial_marks(double half, double step, double db_per_unit)
{
    return (struct dial){true, "mark", -half, half, step, 0, PLUS_MORE, SCALE_DB, db_per_unit, 0, {{0}}};
}
static struct dial dial_steps(double half, double db_per_unit)
{
    return (struct dial){true, "step", -half, half, 1, 0, PLUS_MORE, SCALE_DB, db_per_unit, 0, {{0}}};
}
static struct dial dial_percent(double low, double high)
{
    return (struct dial){true, "%", low, high, 1, 100, PLUS_MORE, SCALE_PERCENT, ABSENT, 0, {{0}}};
}
static struct dial dial_ratio(void)
{
    return (struct dial){true, "times", 0.5, 1.6, 0.02, 1, PLUS_MORE, SCALE_RATIO, ABSENT, 0, {{0}}};
}
static struct dial dial_clock(void)
{
    return (struct dial){
        true, "o'clock", 7, 17, 0.25, 12, PLUS_MORE, SCALE_POINTS, ABSENT, 5, {{7, -4.6}, {9, -2.5}, {12, 0}, {15, 2.1}, {17, 3.2}}};
}
static struct dial dial_plain(void)
{
    return (struct dial){true, "mark", 0, 10, 0.25, 5, PLUS_MORE, SCALE_LEARN, ABSENT, 0, {{0}}};
}
static struct dial less(struct dial d)
{
    d.plus = PLUS_LESS;
    return d;
}
static const struct dial NO_DIAL = {.present = false, .step = ABSENT, .zero = ABSENT, .db_per_unit = ABSENT};

/* ---- decks, the busiest first ---- */
enum deck_kind { PLAIN, REVERSING, TWO_SPEED };
struct deck_row {
    const char *id, *name, *model;
    enum medium medium;
    int heads, owner;
    double meter_step_db;
    enum deck_kind kind;
    bool per_channel, metal;
    const char *notes;
};
static const struct deck_row DECKS[] = {
    {"club-bench", "Club bench", "Halvern K-71", MEDIUM_CASSETTE, 3, -1, 0.25, PLAIN, false, true,
     "The deck of the meeting room; anybody may use it."},
    {"attic-k71", "Odda's attic deck", "Halvern K-71", MEDIUM_CASSETTE, 3, ODDA, 0.25, PLAIN, false, true, ""},
    {"tamsel-320", "Tamsel's 320", "Sorwick 320", MEDIUM_CASSETTE, 3, TAMSEL, 0.5, PLAIN, false, true, ""},
    {"haldis-reel", "Haldis's two-speed", "Brindlow R7", MEDIUM_REEL, 3, HALDIS, 0.1, TWO_SPEED, false, false,
     "Tones from the bench generator; slow speed is used for speech."},
    {"ivo-t9", "Ivo's T9", "Quarlen T9", MEDIUM_CASSETTE, 3, IVO, 0.5, PLAIN, false, true,
     "Finds its own bias and shows the step it took."},
    {"nell-clock", "Nell's silver one", "Pelloway 500", MEDIUM_CASSETTE, 3, NELL, 0.5, PLAIN, false, true,
     "No marks on the bias knob: read it as a clock."},
    {"yselle-pair", "Yselle's left-and-right", "Halvern K-90", MEDIUM_CASSETTE, 3, YSELLE, 0.1, PLAIN, true, true,
     "Own trims for each channel."},
    {"bastin-turnback", "Bastin's turn-back", "Dremont AR2", MEDIUM_CASSETTE, 2, BASTIN, 1.0, REVERSING, false, false,
     "Records both ways; the way back is duller."},
    {"corvin-k71", "Corvin's deck", "Halvern K-71", MEDIUM_CASSETTE, 3, CORVIN, 0.5, PLAIN, false, true, ""},
    {"tovi-ratio", "Tovi's metered deck", "Sorwick 410", MEDIUM_CASSETTE, 3, TOVI, 0.25, PLAIN, false, true,
     "Bias current is read on the built-in meter, 1.00 at the preset."},
    {"club-reel", "Club reel machine", "Brindlow R12", MEDIUM_REEL, 3, -1, 0.1, PLAIN, true, false,
     "Trims on the cards, a left and a right one."},
    {"perrin-kitchen", "Perrin's kitchen deck", "Dremont S1", MEDIUM_CASSETTE, 2, PERRIN, 1.0, PLAIN, false, false, "Bias knob only."},
    {"nell-portable", "Nell's portable", "Pelloway 70", MEDIUM_CASSETTE, 2, NELL, 1.0, PLAIN, false, false, "Nothing to turn."},
    {"haldis-plain", "Haldis's rebuilt deck", "", MEDIUM_CASSETTE, 3, HALDIS, 0.25, PLAIN, false, true,
     "Rebuilt by hand; what a mark is worth was never measured."},
    {"yselle-reel", "Yselle's reel deck", "Brindlow R7", MEDIUM_REEL, 3, YSELLE, 0.25, TWO_SPEED, false, false, ""},
    {"corvin-spare", "Corvin's spare", "Quarlen T4", MEDIUM_CASSETTE, 2, CORVIN, 1.0, PLAIN, false, true,
     "Turns the other way: clockwise is less bias."},
};
enum {
    CLUB_BENCH,
    ATTIC,
    TAMSEL_320,
    HALDIS_REEL,
    IVO_T9,
    NELL_CLOCK,
    YSELLE_PAIR,
    BASTIN_TURNBACK,
    CORVIN_K71,
    TOVI_RATIO,
    CLUB_REEL,
    PERRIN_KITCHEN,
    NELL_PORTABLE,
    HALDIS_PLAIN,
    YSELLE_REEL,
    CORVIN_SPARE
};

static void demo_dials(int i, struct deck *d)
{
    struct dial bias = dial_marks(4, 0.25, 0.9), level = dial_marks(5, 0.25, 0.8);
    switch (i) {
    case TAMSEL_320: bias = dial_percent(60, 150), level = dial_percent(60, 150); break;
    case IVO_T9: bias = dial_steps(16, 0.25), level = dial_steps(12, 0.25); break;
    case NELL_CLOCK: bias = dial_clock(); break;
    case BASTIN_TURNBACK: level = NO_DIAL, bias = dial_marks(2, 0.25, 1.1); break;
    case TOVI_RATIO: bias = dial_ratio(); break;
    case HALDIS_REEL:
    case YSELLE_REEL: bias = dial_marks(10, 0.25, 0.5), level = dial_marks(10, 0.25, 0.5); break;
    case CLUB_REEL: bias = dial_marks(8, 0.1, 0.5), level = dial_marks(8, 0.1, 0.5), d->eq_dial = dial_marks(5, 0.25, 0.6); break;
    case PERRIN_KITCHEN: level = NO_DIAL, bias = dial_marks(1.5, 0.25, 1.0); break;
    case NELL_PORTABLE: bias = level = NO_DIAL; break;
    case HALDIS_PLAIN: bias = dial_plain(); break;
    case CORVIN_SPARE: bias = less(dial_marks(3, 0.5, 0.8)), level = less(dial_marks(4, 0.5, 0.8)); break;
    default: break;
    }
    d->bias_dial = bias;
    d->level_dial = level;
}

static void demo_setups(enum deck_kind kind, struct deck *d)
{
    static const struct setup REVERSE[2] = {{"main", ABSENT, "", "", DIRECTION_FORWARD}, {"reverse", ABSENT, "", "", DIRECTION_REVERSE}};
    static const struct setup SPEEDS[2] = {{"main", 190.5, "70us", "fast", DIRECTION_FORWARD},
                                           {"slow", 95.25, "90us", "slow", DIRECTION_FORWARD}};
    if (kind == PLAIN)
        return;
    d->setup_count = 2;
    for (int s = 0; s < 2; s++)
        d->setups[s] = kind == REVERSING ? REVERSE[s] : SPEEDS[s];
}

static void demo_deck(struct club *c, int i)
{
    const struct deck_row *r = &DECKS[i];
    struct bench_deck *b = &c->decks[i];
    struct deck *d = &b->record;
    snprintf(d->id, sizeof d->id, "%s", r->id);
    snprintf(d->name, sizeof d->name, "%s", r->name);
    snprintf(d->model, sizeof d->model, "%s", r->model);
    d->medium = r->medium;
    d->heads = r->heads;
    d->tracks = r->medium == MEDIUM_REEL && i == CLUB_REEL ? 2 : 4;
    d->per_channel = r->per_channel;
    d->meter_step_db = r->meter_step_db;
    d->notes = r->notes[0] ? r->notes : NULL;
    d->warm_up_minutes = 20;
    d->reference_nwb_m = r->medium == MEDIUM_REEL ? 320 : i % 3 ? 200 : 250;
    if (r->medium == MEDIUM_REEL)
        d->low_hz = 1000;
    if (i == NELL_CLOCK || i == CORVIN_SPARE)
        d->low_hz = 400;
    if (i == TOVI_RATIO)
        d->high_hz = 12500;
    if (i == HALDIS_REEL || i == YSELLE_PAIR)
        d->counter.kind = COUNTER_TIME;
    if (i == TAMSEL_320) { /* two timed readings with a tape of 45 minutes a side */
        d->counter.kind = COUNTER_POINTS;
        d->counter.point_count = 1;
        d->counter.points[0] = (struct counter_point){45, 247, 900, 532, 2400};
    }
    demo_dials(i, d);
    demo_setups(r->kind, d);
    club_deck_physics(c, i);
    for (int t = 0; t < CLASS_COUNT; t++)
        b->takes[t] =
            class_info((enum tape_class)t)->medium == r->medium && (t != CLASS_TYPE_4 || r->metal) && (t != CLASS_TYPE_3 || i % 4 != 3);
    c->owner[i] = r->owner;
}

static void demo_stock(struct club *c, int i)
{
    const struct shelf_row *r = &SHELF_ROWS[i];
    struct stock *s = &c->stocks[i].record;
    snprintf(s->id, sizeof s->id, "%s", r->id);
    snprintf(s->name, sizeof s->name, "%s", r->name);
    snprintf(s->family, sizeof s->family, "%s", r->family);
    s->tape_class = r->tape_class;
    if (r->side_minutes > 0)
        s->side_minutes = r->side_minutes;
    if (r->length_m > 0)
        s->length_m = r->length_m;
    if (r->thickness_um > 0)
        s->thickness_um = r->thickness_um;
    if (r->hub_mm > 0)
        s->hub_mm = r->hub_mm;
    snprintf(s->wrapper, sizeof s->wrapper, "%s", r->wrapper);
    snprintf(s->made_from, sizeof s->made_from, "%s", r->made_from);
    snprintf(s->made_to, sizeof s->made_to, "%s", r->made_to);
    if (r->alias[0])
        snprintf(s->aliases[s->alias_count++], sizeof s->aliases[0], "%s", r->alias);
    int like = -1;
    for (int j = 0; j < i && r->family[0] && like < 0; j++)
        if (strcmp(SHELF_ROWS[j].family, r->family) == 0)
            like = j;
    club_stock_physics(c, i, like);
    struct bench_stock *b = &c->stocks[i];
    if (r->really != r->tape_class) { /* not what its label says */
        struct coat inside = tape_reference(r->really), label = tape_reference(r->tape_class);
        b->coat.need_db += inside.need_db - label.need_db;
        b->coat.thickness_um += inside.thickness_um - label.thickness_um;
        b->coat.spacing_um += inside.spacing_um - label.spacing_um;
    }
    if (r->sheet) {
        struct chance k = chance_of(c->seed, 41, (uint64_t)i);
        struct coat reference = tape_reference(r->tape_class);
        s->sheet_bias_db =
            (double)(int)((b->coat.need_db - reference.need_db + chance_normal(&k, 0, 0.3)) * 2 + 100.5) / 2 - 50; /* to half a dB */
        s->sheet_level_db =
            (double)(int)((b->coat.sensitivity_db - reference.sensitivity_db + chance_normal(&k, 0.2, 0.3)) * 2 + 100.5) / 2 - 50;
    }
}

/* ---- what happened to the decks ---- */
struct event {
    const char *date;
    int deck;
    const char *kind;                    /* NULL: nobody noticed, nothing was written */
    double bias_db, level_db, treble_db; /* what it really did */
    double said_bias_db;                 /* what the dial wants more since then, as measured and written; ABSENT = none */
    const char *notes;
};
static const struct event EVENTS[] = {
    {"2024-12-02", CLUB_BENCH, "demagnetised", 0, 0, 0, ABSENT, ""},
    {"2025-02-17", CLUB_BENCH, "heads-cleaned", 0, 0, 0.15, ABSENT, "Brown on the swab."},
    {"2025-05-11", HALDIS_REEL, "pinch-roller", 0, 0, 0.1, ABSENT, "New rubber, wander on the slow speed gone."},
    {"2025-06-20", CLUB_BENCH, "belts", 0, 0, 0, ABSENT, "Both belts, speed checked."},
    {"2025-06-21", CLUB_BENCH, "realigned", -0.7, 0.3, 0.4, ABSENT, "Whole alignment, playback first."},
    {"2025-09-09", YSELLE_PAIR, "azimuth", 0, 0, 0.2, ABSENT, ""},
    {"2025-11-19", ATTIC, NULL, 0.9, 0, 0, ABSENT, ""},
    {"2026-01-10", TAMSEL_320, "record-trims", 0.6, 0, 0, -0.6,
     "Inside preset raised by 0.6 dB, so the dial wants 0.6 dB less: measured before and after with one tape."},
    {"2026-02-08", CLUB_BENCH, "heads-replaced", 0.8, -0.2, 0.5, ABSENT, "Head block from a donor deck, aligned afterwards."},
    {"2026-04-22", NELL_CLOCK, "demagnetised", 0, 0, 0, ABSENT, ""},
    {"2026-06-30", CORVIN_K71, "heads-cleaned", 0, 0, 0.1, ABSENT, ""},
};

static void demo_events(struct club *c)
{
    struct chance k = chance_of(c->seed, 42, 0);
    for (int i = 0; i < COUNT(EVENTS); i++) {
        const struct event *e = &EVENTS[i];
        struct bench_deck *b = &c->decks[e->deck];
        b->change[b->change_count++] =
            (struct bench_change){day(e->date), e->bias_db, e->level_db, e->treble_db, e->kind && strcmp(e->kind, "heads-replaced") == 0};
        if (!e->kind)
            continue;
        struct service *s = &c->services[c->service_count++];
        service_init(s);
        s->id = club_uuid(&k, day(e->date), 7);
        snprintf(s->deck, sizeof s->deck, "%s", b->record.id);
        s->made_at_us = day(e->date);
        s->made_at_offset_minutes = 60;
        snprintf(s->kind, sizeof s->kind, "%s", e->kind);
        s->resets = service_kind_resets(e->kind);
        s->bias_shift_db = e->said_bias_db;
        s->notes = e->notes[0] ? e->notes : NULL;
    }
}

/* Every quarter two decks are held against the club's playback tape and a control tape that one keeps. */
static void demo_checks(struct club *c)
{
    static const char *const DATE[] = {"2024-11-30", "2025-03-01", "2025-06-01", "2025-09-06",
                                       "2025-12-06", "2026-03-07", "2026-06-06", "2026-09-05"};
    static const int DECK[] = {CLUB_BENCH, ATTIC};
    struct chance k = chance_of(c->seed, 43, 0);
    for (int i = 0; i < COUNT(DATE); i++)
        for (int j = 0; j < COUNT(DECK); j++)
            for (int kind = 0; kind < 2; kind++) {
                struct deck_check *h = &c->checks[c->check_count++];
                deck_check_init(h);
                h->id = club_uuid(&k, day(DATE[i]), 7);
                snprintf(h->deck, sizeof h->deck, "%s", c->decks[DECK[j]].record.id);
                h->made_at_us = day(DATE[i]) + (6 + j) * 3600000000LL;
                h->made_at_offset_minutes = 60;
                h->kind = kind ? CHECK_CONTROL_TAPE : CHECK_PLAYBACK;
                /* playback stays; the control tape, recorded anew each time at one setting, tells of the record side: a bias that rose by 0.9 dB */
                double fell = kind && DECK[j] == ATTIC && day(DATE[i]) > day("2025-11-19") ? -1.1 : 0.0;
                h->low_db = (double)(int)(chance_normal(&k, 0, 0.08) * 10) / 10;
                h->high_db = (double)(int)((fell - 0.02 * i + chance_normal(&k, 0, 0.15)) * 10) / 10;
                h->low_balance_db = 0;
                h->high_balance_db = (double)(int)(chance_normal(&k, 0.1, 0.15) * 10) / 10;
            }
}

struct club *club_demo(uint64_t seed)
{
    struct club *c = club_new(seed, COUNT(DECKS), SHELF_COUNT, COUNT(MEMBERS));
    if (!c)
        return NULL;
    c->from_us = day("2024-10-14");
    c->to_us = day("2026-10-24");
    memcpy(c->members, MEMBERS, sizeof MEMBERS);
    for (int i = 0; i < c->deck_count; i++)
        demo_deck(c, i);
    for (int i = 0; i < c->stock_count; i++)
        demo_stock(c, i);
    c->decks[IVO_T9].automatic = true;
    c->decks[IVO_T9].automatic_db = 0.3;
    c->decks[IVO_T9].automatic_share = 0.75;
    c->decks[CLUB_REEL].overbias_drop_db = c->decks[HALDIS_REEL].overbias_drop_db = 3.0;
    c->decks[CLUB_REEL].overbias_share = 0.5;
    c->decks[HALDIS_REEL].overbias_share = 0.15;
    c->decks[ATTIC].drift_bias_db_year = 0.02; /* so that the jump stands alone */
    c->decks[ATTIC].drift_treble_db_year = 0.0;
    demo_events(c);
    demo_checks(c);
    club_sort(c);
    return c;
}
