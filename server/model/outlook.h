/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a view can tell beside a suggestion: the slopes behind it, a calibration's flat equivalent, a stock and a deck each by itself, how two stocks
 * stand to each other on one deck. All from the view's tables: immutable, any thread, no solve, no allocation.
 *
 * dB, bias + = more bias = duller, level + = more record gain; index 0 bias, 1 level.
 */
#ifndef BIASBOOK_MODEL_OUTLOOK_H
#define BIASBOOK_MODEL_OUTLOOK_H

#include "../trade/flat.h"
#include "../trade/slopes.h"
#include "../trade/trend.h"
#include "club.h"

/* How this deck answers to its dials with the tape, setup and tones of the question, as the view's suggestions use it. Of `q` only deck, stock or tape_class,
 * setup, low_hz and high_hz count. */
void model_slopes(const struct model_view *v, const struct model_question *q, struct slopes_at *out);

/* The question that a calibration answers: its own deck, stock, setup, channel, batch, tape, place, tones and instant; wanted treble 0. The texts are
 * borrowed from `c`. */
struct model_question model_question_of(const struct calibration *c, const struct deck *d, const struct stock *s);

/* What this way of setting (by ear, automatic, …) in this setup adds on this deck; 0 where nothing was learned of it. A question's own answer takes the method
 * for `flat`. */
void model_way(const struct model_view *v, const struct deck *d, const char *setup, enum bias_method method, double mean[RESPONSES]);

/* The flat equivalents of a calibration by the view's slopes; the variance holds the wander of its readings too. */
void model_flat(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s,
                struct flat_result *out);

/* ---- a stock by itself, a deck by itself ---- */

struct outlook_stock {
    double mean[RESPONSES],
        se[RESPONSES]; /* what it wants on an average deck, never recorded over, in the middle of a side: class + sheet + family + stock */
    double label[RESPONSES], label_se[RESPONSES];             /* its class alone, the maker's figure counted */
    double spread[RESPONSES];                                 /* sd of stocks inside their class (family and stock together) */
    double tape_sd[RESPONSES], batch_sd[RESPONSES];           /* the club's, between tapes and batches of one stock */
    double pair_sd[RESPONSES], deck_class_sd[RESPONSES];      /* the club's: one deck with one stock, with one class */
    double sigma[RESPONSES], blind_sigma[RESPONSES];          /* the club's: one result with readings, without */
    double doubling[RESPONSES], doubling_se[RESPONSES];       /* per doubling of (1 + times recorded over), of its class */
    double sheet_share[RESPONSES], sheet_share_se[RESPONSES]; /* how much of a maker's figure the club's results bear out; 1 = all */
    long rows;                                                /* results of it in the fit; 0: only its class and family speak */
};
void model_stock(const struct model_view *v, const struct stock *s, struct outlook_stock *out);

struct outlook_deck {
    double offset[RESPONSES],
        se[RESPONSES]; /* against an average deck with this class, at the deck's last result: model + deck + era + change + deck with class */
    double per_year[RESPONSES], per_year_se[RESPONSES]; /* the straight line of its present era */
    long rows;                                          /* of this class on it */
};
/* CLASS_NONE: the deck whatever the class. False when the view has no result on this deck; then `out` is the spread of decks around 0. */
bool model_deck(const struct model_view *v, const struct deck *d, enum tape_class c, struct outlook_deck *out);

/* ---- two stocks on one deck ---- */

struct outlook_apart {
    double apart[RESPONSES], se[RESPONSES]; /* setting of `b` minus setting of `a` for a typical tape of each, and its error */
};
/* `decks` are the club's: what two stocks owe to the decks on which both were logged is common to them and drops out. */
void model_apart(const struct model_view *v, const struct deck *d, const struct stock *a, const struct stock *b, int64_t at_us,
                 const struct deck *const *decks, int deck_count, struct outlook_apart *out);

/* ---- results one by one ---- */

/* Which part of the house a part of the model's sum belongs to. */
enum outlook_part {
    PART_STOCK, /* class, recordings, place, maker's figure, family, stock */
    PART_TAPE,  /* batch, tape */
    PART_DECK,  /* model, deck, deck and class */
    PART_TIME,  /* era, known shifts, change over time */
    PART_WAY,   /* channel, setup and method */
    PART_PAIR,
    OUTLOOK_PARTS
};
#define ALL_PARTS ((1u << OUTLOOK_PARTS) - 1)

struct outlook_row {
    bool read; /* flat equivalent from two readings */
    double flat[RESPONSES],
        variance
            [RESPONSES]; /* flat equivalent and what is known to be uncertain in it; ABSENT where the deck has no such dial and nothing was read */
    double part[OUTLOOK_PARTS][RESPONSES]; /* what the model makes of it; the parts add up to the expected flat equivalent */
    int way;                               /* equal for equal setup and method on one deck */
};
void model_explain(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s,
                   struct outlook_row *out);
/* The sum of the parts in the mask; and how much one such result scatters about all of them, dB. */
double outlook_expected(const struct outlook_row *row, unsigned parts, enum response r);
double outlook_sd(const struct outlook_row *row, const struct outlook_stock *s, enum response r);

/* ---- one deck over time ---- */

struct course_result { /* by time */
    int64_t made_at_us;
    const struct stock *stock; /* equal pointers for equal stocks */
    int tape;                  /* numbers that tell tapes apart, below `tapes`; -1 = not named */
    bool used;                 /* the fit sees it */
    const struct outlook_row *row;
};
struct course_service { /* by time */
    int64_t made_at_us;
    bool resets;
    double shift[RESPONSES]; /* known shifts, dB; ABSENT = not known */
};
struct course_signal {
    enum response response;
    struct trend_signal at; /* since and found are indices of the results */
};
#define LEAST_CHANGE_DB 0.2 /* what a chart noticed and is smaller, or not twice its own error, is nothing to anybody */

/* Where the deck stood by each result, the tapes taken off by a fit in which it may stand anywhere at any time (trade/course.h), dB against an average deck; ABSENT where a
 * result tells nothing. `spread` is what that should scatter by; ABSENT for results of another way (setup, method) than the deck's most used one, which are worth seeing
 * and not comparing: how ways differ is known too little to tell a change of the deck from a change of habit. Then the changes that the control charts noticed, the two responses together by `since`, at most `most`.
 * `standing` and `spread` have n places a response. False: out of memory. */
bool model_course(const struct model_view *v, const struct deck *d, const struct course_result *results, int n, int tapes,
                  const struct course_service *services, int service_count, double *const standing[RESPONSES],
                  double *const spread[RESPONSES], struct course_signal *signals, int most, int *signal_count);

/* Whether the fit sees this calibration; else why not: "void", "noise reduction", "MPX filter", "did not settle". NULL = it does. */
const char *model_left_out(const struct calibration *c, const struct stamp *stamp);

#endif
