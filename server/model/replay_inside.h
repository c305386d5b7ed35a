/* SPDX-License-Identifier: GPL-3.0-or-later
 * What club.c and replay.c share. */
#ifndef BIASBOOK_MODEL_REPLAY_INSIDE_H
#define BIASBOOK_MODEL_REPLAY_INSIDE_H

#include "club_fit.h"
#include "replay.h"

#define RANGE_BLOCKS   4    /* few and long: a range must hold for a season, not for a day */
#define RANGE_ROWS     4000 /* past so many rows the multipliers come from a sample */
#define RANGE_WEIGHT   30.0 /* results that the model's own range counts for */
#define RANGE_OWN      1.2  /* and what it is taken for: clubs change, and the model's own range does not know how much */
#define RANGE_QUANTILE 0.93 /* of past errors; later ones are a little larger still */
#define RANGE_SKIP     0.2  /* share of the oldest rows that are not tested: a club of a few rows is another club */

struct replay {
    const struct facts *facts;
    const struct equation_options *options;
    const struct variances *variances;
    int blocks;
    double skip; /* share of the rows, oldest first, that are only learned from */
    const atomic_bool *stop;
};
bool replay_run(const struct replay *p, replay_callback row, void *user, struct fault *f);
/* Puts the multipliers of the range into `v`: (n·q + 30·t)/(n + 30) per basis kind, t = RANGE_OWN, q the quantile of errors in units of the model's own half width. */
bool replay_ranges(const struct facts *x, const struct equation_options *o, struct variances *v, const atomic_bool *stop, struct fault *f);

#endif
