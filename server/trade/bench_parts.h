/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of the bench share (next_move.c, posterior.c, ladder.c, overbias.c, bench_text.c); nobody else includes it.
 */
#ifndef BIASBOOK_TRADE_BENCH_PARTS_H
#define BIASBOOK_TRADE_BENCH_PARTS_H

#include "next_move.h"

/* One reading in dB. */
struct bench_point {
    double x[2];    /* bias, level as set */
    double dial[2]; /* the same as dial readings */
    double low, high;
    bool used; /* false: below the peak, on another part of the curve */
};

/* Everything about this tape on this deck that does not change while the answer is found. */
struct bench {
    const struct next_move_question *q;
    bool has[2]; /* dials */
    double treble, tolerance[2];
    double noise[2]; /* sd of one reading, meter step included */
    int count;       /* points with readings */
    struct bench_point point[LIMIT_MOVES];
    int tried_count;              /* all settings of the moves, read or not */
    double tried[LIMIT_MOVES][2]; /* dial readings */
    bool below_peak;              /* some reading was seen to lie below the peak; its place among `point`s has used = false */
    double peak_top;              /* then: highest bias of those readings that are still in doubt */
};

/* Unknowns: needs, slopes, bends.  d = bias − need_bias:
 *   low  = level − need_level + a·d − r·d²
 *   high = level − need_level − b·d − q·d² */
enum { NEED_BIAS, NEED_LEVEL, SLOPE_A, SLOPE_B, BEND_HIGH, BEND_LOW, THETA };

struct bench_fit {
    double at[THETA], cov[THETA][THETA];
    double weight; /* of this member of the mixture */
};
struct posterior {
    int count;
    struct bench_fit fit[2]; /* as labelled, not as labelled; the likelier first */
    double noise_scale;      /* factor on the readings' sd, >= 1: how much they disagree among themselves */
};

/* With the first `points` readings only; 0 = the prior. */
void posterior_find(const struct bench *b, int points, struct posterior *out);

struct pair_normal { /* the two tones at a setting */
    double low, high, var_low, var_high, cov;
};
struct pair_normal bench_predict(const struct bench_fit *f, const double x[2]);
struct pair_normal posterior_predict(const struct posterior *p, const double x[2]); /* mean and covariance of the mixture */
/* That the setting is truly within tolerance; without a level dial only high − low counts, without a bias dial only the low tone. */
double posterior_chance(const struct bench *b, const struct posterior *p, const double x[2]);
/* The setting in dB that a member of the mixture calls right; without a level dial, bias alone. */
void fit_target(const struct bench *b, const struct bench_fit *f, double x[2]);

/* Marks points below the peak, sets below_peak and peak_top. */
void bench_find_peak(struct bench *b);
/* Readings that contradict each other by more than the move between them. */
bool bench_wanders(const struct bench *b);
/* The last reading against what the ones before foretold; *first_reading: there were none before. */
bool bench_surprised(const struct bench *b, bool *first_reading);

/* Dial readings ↔ dB. */
double bench_db(const struct bench *b, int r, double reading);
double bench_reading(const struct bench *b, int r, double db, bool *beyond); /* in steps, inside the dial; ABSENT without a dial */
bool bench_tried(const struct bench *b, const double dial[2]);
/* Fills expectation and chance of a setting whose dial readings are given. */
void bench_setting(const struct bench *b, const struct posterior *p, const double dial[2], struct next_setting *out);

void ladder_make(const struct bench *b, const struct posterior *p, struct next_move *out);
void overbias_move(const struct bench *b, const struct posterior *p, struct next_move *out);
void bench_words(const struct bench *b, struct next_move *out);
#endif
