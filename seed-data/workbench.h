/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Decks, stocks and single tapes as they physically are, and what a pair of tones reads at given dials. Above tape_physics (one coating under one
 * gap), below member.h (the person who turns the dials). Also the truth: which setting would have been flat, solved from the same readings.
 *
 * "Nominal dB" is what a dial's scale says a reading is worth; the deck really does `law` of it, since marks are never quite equal.
 */
#ifndef BIASBOOK_SEED_WORKBENCH_H
#define BIASBOOK_SEED_WORKBENCH_H

#include "random.h"
#include "tape_physics.h"
#include "trade/records.h"

#define BENCH_SETUPS  4
#define BENCH_CHANGES 12
#define BENCH_BIAS    0
#define BENCH_LEVEL   1
#define BENCH_LOW     0
#define BENCH_HIGH    1

/* Something that alters a deck at an instant: a service, or a fault that nobody noticed. Offsets add to all that came before. */
struct bench_change {
    int64_t at_us;
    double bias_db, level_db, treble_db;
    bool restarts_wear; /* new heads */
};

struct bench_dial {
    double learned;             /* what a unit of a `learn` dial is truly worth; else 0 */
    double stretch, wave, turn; /* real dB = nominal·(1 + stretch) + wave·sin(nominal·1.3 + turn) − its value at nominal 0 */
};

struct bench_deck {
    struct deck record;
    double gap_um;
    double contact;      /* multiplies every coating's spacing: pads and wrap press more or less; 1 = ordinary */
    double preset_slope; /* see tape_preset_db: the maker's idea of a preset */
    struct bench_dial dial[2];
    struct setup setup[BENCH_SETUPS];
    int setup_count;
    /* where the presets really are against the reference tape of each class: dB of bias, record level, treble (record and playback side together) */
    double bias_error_db[BENCH_SETUPS][CLASS_COUNT], level_error_db[BENCH_SETUPS][CLASS_COUNT], treble_error_db[BENCH_SETUPS][CLASS_COUNT];
    double channel_db[2][3];                         /* left, right: bias, level, treble against the mean */
    double azimuth_db;                               /* left minus right at the high tone that is not the record side's doing */
    double drift_bias_db_year, drift_treble_db_year; /* straight */
    double wear_db;                                  /* treble lost to head wear after a year, growing with the power 1.5 */
    int64_t born_us;                                 /* from when drift and wear count */
    int change_count;
    struct bench_change change[BENCH_CHANGES]; /* in order of time */
    double unsteadiness;                       /* 1 = an ordinary transport */
    bool takes[CLASS_COUNT];                   /* classes it has a selector position for */
    bool automatic;                            /* finds its own bias and shows it … */
    double automatic_db;                       /* … this far off … */
    double automatic_share;                    /* … so often; the rest is trimmed by hand */
    double overbias_drop_db;                   /* its owner sets bias past the high tone's peak by this drop; 0 = by flatness */
    double overbias_share;                     /* how often */
    /* filled by bench_deck_ready */
    struct bench_table *table; /* NULL: exact; else see bench_deck_tabulate */
    double preset_db[BENCH_SETUPS][CLASS_COUNT], gain_db[BENCH_SETUPS][CLASS_COUNT][2];
};

struct bench_stock {
    struct stock record;
    struct coat coat;               /* what is really in the box, whatever the label says */
    double durability;              /* see tape_worn */
    double batch_sd[3], tape_sd[3]; /* of need, sensitivity (dB), spacing (dB at 4.76 µm) */
    double slope_along[2];          /* change of need and sensitivity from start to end of a side, dB */
    double side_s;                  /* seconds of a side at the usual speed */
};

struct bench_tape { /* one cassette or reel */
    struct coat coat;
    double durability, slope_along[2], weave;
};

/* Where and when one stands. */
struct bench_place {
    int setup;
    enum tape_class selector; /* class the deck is switched to: the label's */
    enum channel channel;
    double recordings;       /* times recorded over; fractions allowed */
    double position_s, part; /* part 0…1 of the side */
    double hz[2];            /* tones used; 0 = the deck's */
    int64_t at_us;
};

void bench_deck_ready(struct bench_deck *d); /* after all but the `change` list is set */
/* For clubs of a million rows: readings from a table of the class's reference coating, shifted for need, sensitivity and spacing; thickness and spread of a
 * single stock are left out (some hundredths of a dB). False: out of memory (then exact). */
bool bench_deck_tabulate(struct bench_deck *d);
void bench_deck_release(struct bench_deck *d);
/* The cassette numbered `tape` of batch `batch`; always the same for the same seed. Negative numbers: the typical one. */
struct bench_tape bench_tape_of(const struct bench_stock *s, uint64_t seed, int stock, int batch, int tape);

double bench_real_db(const struct bench_deck *d, int dial, double nominal_db);
/* Steady reading of one tone (BENCH_LOW, BENCH_HIGH), tape minus source, dB, at nominal dial settings. */
double bench_tone_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, int tone, double bias_db,
                     double level_db);
/* The same at any tone. */
double bench_hz_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double hz, double bias_db,
                   double level_db);
/* Nominal bias at which the high tone, past its peak, has fallen by `drop_db`. */
double bench_overbias_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double drop_db);
/* How much the readings wander there: standard deviation of one glance at each tone. */
void bench_wander_db(const struct bench_deck *d, const struct bench_place *p, double sd[2]);

/* The nominal settings that make low = 0 and high = treble_db; on a deck without a level dial level is 0 and high − low = treble_db is sought.
 * A deck without a bias dial: bias 0. Bisection on the readings themselves. */
void bench_truth(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double treble_db, double truth[2]);
#endif
