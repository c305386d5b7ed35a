/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who calibrated what and when: evenings of one member at one deck with a few tapes, streamed in order of time, so that a million
 * rows need no more memory than the club itself.
 */
#ifndef BIASBOOK_SEED_DIARY_H
#define BIASBOOK_SEED_DIARY_H

#include "club.h"

struct diary; /* private */

struct diary_row {
    struct calibration calibration; /* its notes point to static text */
    int deck, stock, member;        /* `deck` is where it really happened, also when the row names another */
    int batch, tape;
    struct bench_place place;
    struct bench_fact fact;
};

struct diary *diary_new(const struct club *c, long rows)
    __attribute__((warn_unused_result)); /* NULL: out of memory. The club must outlive it. */
void diary_free(struct diary *d);
bool diary_next(struct diary *d, struct diary_row *row); /* false after the last */

/* Setting that would be flat for a typical, fresh tape of this stock in the middle of a side, nominal dB: what a suggestion is judged against. */
void diary_truth(const struct club *c, int deck, int stock, int setup, enum channel channel, int64_t at_us, double truth[2]);
bool diary_possible(const struct club *c, int deck, int stock); /* media and classes agree */
#endif
