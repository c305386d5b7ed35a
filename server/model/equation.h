/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The row equation of docs/model.md, written out for the rows at hand: which levels each calibration touches, the design, and per response
 * the flat equivalent with its known variances.
 *
 * Rows stand in the order of their ids and levels in the order in which those rows name them, so everything here is a function of the
 * rows alone, whatever the order of arrival.
 */
#ifndef BIASBOOK_MODEL_EQUATION_H
#define BIASBOOK_MODEL_EQUATION_H

#include "../trade/slopes.h"
#include "club.h"
#include "design.h"
#include "facts.h"

enum block { FAMILY, STOCK, BATCH, TAPE, MODEL, DECK, CHANNEL, SETUP, ERA, TREND, DECK_CLASS, PAIR, BLOCKS };
const char *block_name(enum block b);
/* Scale of the half-t(3) prior of each block's standard deviation, dB (trend: dB a year). Chosen for the trade from memory. */
extern const double block_prior[BLOCKS];

#define METHOD_BLIND METHOD_COUNT /* bias_method flat, but no readings say so */

/* Columns with a known normal prior come first. The maker's figures of bias and level are two columns; a response's fit gives the other's a scale of 0. */
enum { CLASS_AT = 0, RECORDINGS_AT = CLASS_COUNT, PLACE_AT = 2 * CLASS_COUNT, SHEET_AT, KNOWN_COLUMNS = SHEET_AT + RESPONSES };
/* Sd of a class's effect. A cassette deck has a preset for each class, so a class as a whole lies near nought; an open-reel deck has one for all. */
double class_prior_sd(int tape_class);
#define RECORDINGS_SD 0.2
#define PLACE_SD      0.3
#define UNCOUNTED     0.5 /* doublings that a tape is taken for when nobody counted: once recorded over. Chosen, no source. */
#define SHEET_MEAN    1.0
#define SHEET_SD      0.3
#define SIGMA_PRIOR   0.4 /* half-t(3) scale of σ */
#define START_EXTRA   3.0 /* v = 1 + START_EXTRA·exp(−position/START_SECONDS): the start of a tape wavers. Common practice, no source. */
#define START_SECONDS 15.0
#define STOP_LEVEL_SD 0.3  /* dB: what a bias that ran out leaves open in the level when no readings tell */
#define OPEN_LEVEL_SD 0.15 /* dB: the same on a deck without a bias dial */
#define MOVES_AGREE   0.5  /* dB: so far the last move and the result as left may lead apart; what is beyond is a doubt of the row */
#define UNNAMED_SD    0.15 /* dB: how tapes of one stock differ, for a result that does not say which tape it was. Chosen, no source. */
#define BY_EAR_SD     0.5  /* dB: ears compare noise with noise. Common practice, no source. */

enum { KIND_READ, KIND_BLIND, KINDS, KIND_NONE = 255 }; /* with readings; without; tells nothing about this response */

struct level_key {
    int a, b, c; /* deck, stock or word, see level_keys_of */
};
#define LEVEL_ALONE 1 /* b of a family or deck model that nobody named: `a` is its one stock or deck */

struct equation {
    int rows;
    int *fact;                        /* row -> number in facts */
    int (*level)[BLOCKS];             /* row -> level in each block, −1 = none */
    int count[BLOCKS], first[BLOCKS]; /* levels, and the column of level 0 */
    int columns;
    struct level_key *key[BLOCKS];                       /* level -> what it stands for */
    int64_t *era_middle_us, *era_first_us, *era_last_us; /* per level of TREND */
    int64_t *deck_last_us;                               /* per deck of the facts; CLOCK_NONE = no result */
    struct design design;
    double *v; /* multiplies σ² */
    double *y[RESPONSES], *s2[RESPONSES];
    unsigned char *kind[RESPONSES];
    signed char *stop[RESPONSES]; /* ±1: the wanted setting lies above / below y, not at it */
    size_t slots;                 /* of `index` */
    int *index;                   /* hash of block and key -> entry + 1 of `entry` */
    int *entry_block, *entry_level, entries, entry_room;
};

struct equation_options {
    const struct slope_table *slopes; /* NULL = priors */
    int sample;                       /* at most about so many rows, chosen by hash; 0 = all */
    int64_t before_us;                /* only rows made before; CLOCK_NONE = all */
};
/* `facts` is borrowed only now. False: out of memory (everything freed). */
bool equation_build(struct equation *q, const struct facts *x, const struct equation_options *o);
void equation_free(struct equation *q);

/* A stock without a family has a coating too, and a deck without a model a maker: each is a family or a model of its own. */
struct level_key family_key(const struct facts *x, int stock);
struct level_key model_key(const struct facts *x, int deck);
/* The keys of one calibration: key[b] with a < 0 where it has no level in block b. */
void level_keys_of(const struct facts *x, const struct fact_row *row, struct level_key key[BLOCKS]);
int equation_level(const struct equation *q, enum block b, const struct level_key *key); /* −1: not among the rows */
/* log2(1 + recordings), UNCOUNTED where not known (−1); place − ½, 0 where not known. */
double recordings_value(int recordings);
double place_value(double part);

/* Whether this row is in a sample of about `sample` out of `rows`; by the hash of its id alone. */
bool equation_sampled(const struct fact_row *row, int rows, int sample);

/* Columns to absorb by hand: tapes and pairs that no row shares, the rarer first. `absorb` has q->columns bytes, zeroed. False: memory. */
bool equation_absorb(const struct equation *q, unsigned char *absorb);

#endif
