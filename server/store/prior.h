/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The suggestion before each calibration: what the club's rows known strictly before it would have suggested. Made by live/ (track record,
 * ranges that answer for the future); can be rebuilt from the facts at any time. Index 0 is bias, 1 is level; dB.
 */
#ifndef BIASBOOK_STORE_PRIOR_H
#define BIASBOOK_STORE_PRIOR_H

#include "reader.h"
#include "store.h"

struct prior_suggestion {
    struct uuid calibration;
    int basis;     /* what it rested on: the estimator's list, opaque here */
    int64_t as_of; /* every change up to this seq was known to the replay */
    double mean[2], se[2], low90[2], high90[2];
};

/* Adds or replaces; commits in batches of LIMIT_PRIOR_BATCH that yield to members who log. Not finite: refused. */
bool store_save_prior(struct store *s, const struct prior_suggestion *list, int count, struct fault *f);
/* Forgets all, before a replay from scratch. */
bool store_clear_prior(struct store *s, struct fault *f);

enum read_result read_prior(struct reader *r, const struct uuid *calibration, struct prior_suggestion *out, struct fault *f);
/* In order of the calibrations' ids. */
typedef bool (*prior_row)(void *user, const struct prior_suggestion *p);
enum read_result walk_prior(struct reader *r, prior_row row, void *user, struct fault *f);

#endif
