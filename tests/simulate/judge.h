/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How good a number is, judged on invented clubs whose truth is known: an estimator is fed a club's results in order of time and then
 * asked where each deck should be set for each tape; the answer is held against the setting that physics says is flat.
 *
 * An estimator is a row of functions, so that plain means are judged exactly like the real one.
 */
#ifndef BIASBOOK_TESTS_JUDGE_H
#define BIASBOOK_TESTS_JUDGE_H

#include "diary.h"

struct judge_question {
    int deck, stock, setup;
    enum channel channel;
    int recordings;          /* −1 = not known */
    double position_s, part; /* ABSENT = not known */
    const char *batch, *tape;
    int64_t at_us;
};
struct judge_answer {
    double bias, level;   /* nominal dB of a flat result; of a `learn` dial in dial units times its true worth */
    double low90, high90; /* where a flat equivalent logged with readings lands nine times in ten; low90 > high90: no range given */
    double slopes;        /* a + b used for flat equivalents; 0: none */
    double worth;         /* dB per unit that the answer takes a `learn` dial for */
};
struct estimator {
    const char *name;
    void *state;
    bool (*learn)(void *state, const struct diary_row *row, long seq); /* one more result; false: failed */
    bool (*settle)(void *state, bool whole);                           /* estimate now; `whole` also variances */
    bool (*ask)(void *state, const struct judge_question *q, struct judge_answer *out);
    void (*release)(void *state);
};

struct judge_case {
    uint64_t seed;
    int decks, stocks, members;
    double years;    /* that all results, known and later, took */
    long rows;       /* results known when asked */
    long later;      /* results after that, for the range */
    bool everything; /* also decks and tapes nobody has logged yet */
    long block;      /* of the results one step ahead: so many between two settlings */
};
struct judge_score {
    long pairs;               /* deck and stock pairs asked: both known (the deck since its last realignment), of one medium */
    double bias_sq, level_sq; /* sums of squared errors, dB² */
    long level_pairs;
    double worst;             /* largest error of bias, dB */
    long next, next_inside;   /* results one block ahead that could be tested against the range, and those inside */
    long later, later_inside; /* the same with all of `later` asked before any of them was learned */
    long clean, clean_inside; /* `later` without misentries */
    double seconds;           /* learning and settling */
};

/* Makes the club, feeds every estimator, adds to its score. False when an estimator failed. */
bool judge(const struct judge_case *k, struct estimator *(*make)(const struct club *c, int which), int estimators,
           struct judge_score *scores);
double judge_rmse(double sum_sq, long n);

/* Plain estimators: mean of the class's results, of the stock's, median of the stock's, and of stock and deck with equal weights. */
enum plain { PLAIN_CLASS, PLAIN_STOCK, PLAIN_MEDIAN, PLAIN_TWO_WAY, PLAIN_COUNT };
struct estimator *plain_new(const struct club *c, enum plain which);
/* The product's own. */
struct estimator *club_model_new(const struct club *c);
#endif
