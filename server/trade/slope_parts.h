/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What slope_learner.c and slope_table.c share; nobody else includes it.
 *
 * A cell is a class and a band of wavelength (speed / tone) a third of an octave wide, centred on 10 kHz at 47.625 mm/s, so that
 * the usual tones sit near centres at every speed. Inside a cell a slope is centre + spread·z, and z is shared.
 */
#ifndef BIASBOOK_TRADE_SLOPE_PARTS_H
#define BIASBOOK_TRADE_SLOPE_PARTS_H

#include "slopes.h"

enum tone { LOW_TONE, HIGH_TONE, TONES };

#define SLOPE_BANDS 48
#define SLOPE_CELLS ((CLASS_COUNT + 1) * SLOPE_BANDS)

/* Shares of a slope's prior variance: what all decks have in common, a class and band, a deck, a deck with a class and band. Chosen, not sourced. */
#define SHARE_CLUB 0.30
#define SHARE_CELL 0.20
#define SHARE_DECK 0.30
#define SHARE_BOTH 0.20

/* Sums are kept as whole multiples of this, so that adding and taking out again is exact and order does not matter. */
#define SLOPE_QUANTUM (1.0 / 1048576.0)

/* Centred products of one tone's readings y with bias x and level l (dB of the dial's nominal scale), each calibration weighed for its tape's own slope. */
enum slope_sum { SXX, SXL, SLL, SXY, SLY, SLOPE_SUMS };
struct slope_sums {
    int64_t s[SLOPE_SUMS];
    int32_t cell;
    int32_t tone;
    int64_t count; /* calibrations */
};

struct slope_noise {
    int64_t rss[TONES]; /* of each tape's own line, in SLOPE_QUANTUM */
    int64_t dof[TONES];
};

/* One deck as the table knows it. */
struct slope_deck {
    char id[LIMIT_SLUG + 1];
    bool learn[2];    /* bias, level dial of scale `learn`: what a unit is worth is not given */
    double worth0[2]; /* nominal dB per unit behind the sums, `learn` dials only, else 1 */
    double worth0_log_sd[2];
    double noise_prior[TONES]; /* prior sd of a reading on this meter */
    int64_t calibrations;
    struct slope_noise noise;
    int32_t first, cell_count; /* its sums in the table's array */
};

/* The moves of one calibration as the learner keeps them. */
struct slope_moves {
    struct slope_kind kind; /* tones ABSENT = the deck's; speed by the setup */
    char setup[LIMIT_SLUG + 1];
    int32_t count;
    struct move *points; /* the last one is the setting as left */
};
struct slope_evidence {
    bool counts;
    struct slope_sums sums[TONES];
    struct slope_noise noise;
};
/* The moves that may count, 0 when there are none or fewer than two to compare. */
int slope_moves_of(const struct calibration *c, struct move out[LIMIT_MOVES + 1]);
void slope_evidence_of(const struct slope_moves *m, const struct deck *d, struct slope_evidence *out);

int slope_cell(struct slope_kind kind, enum tone tone);
/* Centre and spread of the slope (low: a; high: b) in a cell. */
void slope_cell_prior(int cell, enum tone tone, double *mean, double *sd);
void slope_tone_prior(enum tape_class c, double wavelength_um, enum tone tone, double *mean, double *sd);
double slope_wavelength_um(struct slope_kind kind, enum tone tone);
/* Prior sd of one reading: the eye's and the tape's own wander with the meter's rounding. */
void slope_noise_prior(double meter_step_db, double sd[TONES]);
/* Posterior sd of one reading out of the scatter of moves. */
void slope_noise_sd(const double prior[TONES], const struct slope_noise *n, double sd[TONES]);

/* Takes arrays over (mem_alloc'ed, may be NULL when empty); decks sorted by id. Frees them when it fails. */
struct slope_table *slope_table_make(struct slope_deck *decks, int deck_count, struct slope_sums *sums, int sum_count);

/* Slopes and worth of a deck with a `learn` dial; fills slopes, seen and worth of `out`. `sums` NULL: no moves on it. */
struct slope_worth_question {
    bool learn[2];
    struct dial_worth prior[2], shared[2]; /* dB per unit */
    struct slopes slopes;                  /* prior at the exact tones */
    double z_mean[TONES], z_var[TONES];    /* what other decks say, in spreads */
};
void slope_worth_find(const struct slope_worth_question *q, const struct slope_deck *d, const struct slope_sums *sums,
                      const double reading_sd[TONES], struct slopes_at *out);

#endif
