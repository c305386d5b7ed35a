/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One deck over time: its results with the tapes taken off, what was done to it, what changed and since when. The trend, the deck's statistics, its chart and the
 * hints are drawn from this.
 */
#ifndef BIASBOOK_ACTIONS_DECK_COURSE_H
#define BIASBOOK_ACTIONS_DECK_COURSE_H

#include "results.h"

enum era_begin { BEGINS_FIRST, BEGINS_SERVICE, BEGINS_SIGNAL };
struct deck_era {
    int64_t from_us, to_us; /* first and last result */
    enum era_begin begin;
    int service;                           /* index of services, −1 */
    int results;                           /* one a tape and day */
    double mean[RESPONSES], se[RESPONSES]; /* where the deck stood against an average one, dB; ABSENT without results */
};

struct deck_course {
    const struct view *view;
    const struct deck *deck;
    struct results results;
    int service_count, check_count;
    struct service *services;    /* by time, not void */
    struct deck_check *checks;   /* by time, not void */
    double *standing[RESPONSES]; /* one a result of `results`: where the deck stood by it, dB; ABSENT when it tells nothing */
    double *spread
        [RESPONSES]; /* what such a standing should scatter by; ABSENT = seen, but not compared (another setup or method than usual) */
    int signal_count, era_count;
    struct course_signal signals[LIMIT_SIGNALS]; /* by `since` */
    struct deck_era *eras;
    struct outlook_stock club; /* of any stock: only the club's figures in it are used here */
};

/* False and a fault; deck_course_free in any case. The view must be held meanwhile. */
bool deck_course_make(struct house *house, const struct view *v, const struct deck *d, struct deck_course *out, struct fault *f);
void deck_course_free(struct deck_course *c);

/* Results the fit sees, between two instants, one a tape and day: writes indices, returns how many. */
int deck_course_between(const struct deck_course *c, int64_t from_us, int64_t to_us, enum response r, int *out, int most);

/* Before against after an instant: means of standings with the interval that holds the difference nine times in ten. At most `most` results of either side, no
 * further than the neighbouring service or signal that resets. */
struct course_change {
    int before, after;                                                          /* results */
    double mean[RESPONSES], se[RESPONSES], low90[RESPONSES], high90[RESPONSES]; /* ABSENT when fewer than two on either side */
};
bool deck_course_compare(const struct deck_course *c, int64_t at_us, struct course_change *out);

/* Mean change of the playback checks over an instant, dB at the high (low) tone, and its error. ABSENT when there was none on either side. */
void deck_course_playback(const struct deck_course *c, int64_t at_us, double *low_db, double *high_db, double *se_db);

#endif
