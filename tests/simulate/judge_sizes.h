/* SPDX-License-Identifier: GPL-3.0-or-later
 * The sizes of club that the estimator is judged at, and its bars. */
#ifndef BIASBOOK_TESTS_JUDGE_SIZES_H
#define BIASBOOK_TESTS_JUDGE_SIZES_H

#include "judge.h"

struct judge_size {
    long rows, later, block;
    int decks, stocks, members;
    double years;    /* a club grows: the small one is young */
    bool everything; /* also asked of decks and tapes nobody has logged yet */
    double bar;      /* RMSE of bias over that of the stock's mean */
};
#define JUDGE_SIZES 3
extern const struct judge_size JUDGE_SIZE[JUDGE_SIZES];

struct judge_total {
    double rmse[PLAIN_COUNT + 1]; /* the plain estimators, then the model */
    double ratio, level_rmse, worst, next, later, clean, seconds;
    long pairs, tested; /* results held against a range */
};
/* Clubs of one size, pooled; seeds from `seed` on. */
bool judge_size(const struct judge_size *z, uint64_t seed, int clubs, struct judge_total *out);
#endif
