/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How the two tones answer to bias: the low tone rises a dB and the high tone falls b dB per dB of bias.
 *
 * slopes_prior   what is believed before any move was logged (from memory: data must move it)
 * slope_learner  takes each calibration's moves, owned by one thread (the solver's)
 * slope_table    what was learned, frozen and shared: answers from any number of threads
 *
 * A tape's levels are regressed on bias with an intercept of its own (differences of neighbouring readings would share
 * their errors). Then each slope is  prior(tone, speed, class) + sd·(club + class and tone + deck + deck×class), normal with
 * known shares of the variance: a closed form, so a deck with few moves leans on its class, the class on the prior.
 */
#ifndef BIASBOOK_TRADE_SLOPES_H
#define BIASBOOK_TRADE_SLOPES_H

#include "dial.h"
#include "records.h"

#include <stddef.h>

#define SLOPES_SUM_MIN 0.3 /* dB per dB: a + b is never taken smaller, so that a correction stays finite; both tones then lie too near */

/* What the slopes belong to. */
struct slope_kind {
    enum tape_class tape_class; /* CLASS_NONE allowed */
    double speed_mm_s;          /* ABSENT = usual one of the class's medium */
    double low_hz, high_hz;     /* ABSENT = 315, 10000 */
};

struct slopes {
    double a, a_se;       /* low tone: + a dB per dB of bias; may be negative */
    double b, b_se;       /* high tone: − b dB per dB of bias */
    double ab_cov;        /* covariance of a and b; not zero where the dial's worth had to be learned */
    double bend, bend_se; /* the high tone's slope grows: reading = − b·d − bend·d², d = bias above the flat setting */
};

struct slopes slopes_prior(struct slope_kind kind);
/* a + b, not below SLOPES_SUM_MIN, and its variance (var may be NULL). */
double slopes_sum(const struct slopes *s, double *var);

/* Everything known about one deck's answer to its dials with one kind of tape. */
struct slopes_at {
    struct slopes slopes; /* true slopes, per dB */
    struct slopes seen;   /* per dB as converted with `worth` below: the same unless the bias dial is of scale `learn`; moves see these,
                                      * so flat equivalents and the bench use them, and their se stays small even where worth and b alone are not known */
    struct dial_worth worth[2]; /* bias, level: dB per dial unit; other scales than `learn`: the local worth at zero, se 0 */
    double reading_sd[2];       /* noise of one reading, low and high tone, dB, from how moves scatter */
    long calibrations_deck;     /* how many with moves stood behind it: on this deck */
    long calibrations_cell;     /* and with this class and tone, on all decks */
};

/* ---- learner ---- */
struct slope_learner;                                                              /* private */
struct slope_learner *slope_learner_new(void) __attribute__((warn_unused_result)); /* NULL: out of memory */
void slope_learner_free(struct slope_learner *l);
/* Dials and setups of this deck from now on; its moves so far are counted again with them. false: out of memory (nothing changed). */
bool slope_learner_put_deck(struct slope_learner *l, const struct deck *d);
/* The moves of this calibration replace those under the same id. Looks by itself whether they may count (flat results with noise reduction and MPX filter off,
 * settled, at least two settings); one that may not takes the old out. The deck was put before (else ignored). `tape_class` is the stock's.
 * false: out of memory (nothing changed). */
bool slope_learner_put(struct slope_learner *l, const struct calibration *c, enum tape_class tape_class);
void slope_learner_remove(struct slope_learner *l, const struct uuid *id); /* void */
/* True when anything that was learned has changed since the last slope_learner_solve. */
bool slope_learner_changed(const struct slope_learner *l);
/* The same whatever the order in which rows came, were corrected or taken out: sums are whole numbers of 2^-20. NULL: out of memory. */
struct slope_table *slope_learner_solve(struct slope_learner *l) __attribute__((warn_unused_result));

/* ---- table: immutable; counted, so that several views may share one ---- */
struct slope_table;                                          /* private */
struct slope_table *slope_table_hold(struct slope_table *t); /* one more owner; NULL allowed */
void slope_table_drop(struct slope_table *t);                /* one owner less; NULL allowed */
/* `t` NULL = priors only. The deck need not be known. `shared` (NULL or two) = what else is known of a `learn` dial's worth, from tapes shared with other decks,
 * as dB per unit and se (se 0 or ABSENT = nothing); combined in the logarithm. */
void slope_table_ask(const struct slope_table *t, const struct deck *deck, struct slope_kind kind, const struct dial_worth shared[2],
                     struct slopes_at *out);
/* `*bytes` is mem_alloc'ed; false: out of memory. Host byte order, with a mark that load tests. */
bool slope_table_save(const struct slope_table *t, void **bytes, size_t *n) __attribute__((warn_unused_result));
struct slope_table *slope_table_load(const void *bytes, size_t n, bool *damaged); /* NULL: out of memory, or *damaged */

#endif
