/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was before: the states of one record, the log of what stewards did, and which suspicious calibrations were found right.
 */
#ifndef BIASBOOK_STORE_HISTORY_H
#define BIASBOOK_STORE_HISTORY_H

#include "reader.h"

/* All states of one thing, newest first, at most LIMIT_REVISIONS. `by`: who made this change (of a void: who voided; stamp.member is who wrote the
 * content); "" in an open club. READ_NONE: there is no such thing. */
typedef bool (*calibration_state_row)(void *user, const struct calibration *c, const struct stamp *stamp, const char *by);
typedef bool (*deck_state_row)(void *user, const struct deck *d, const struct stamp *stamp, const char *by);
typedef bool (*stock_state_row)(void *user, const struct stock *s, const struct stamp *stamp, const char *by);
enum read_result walk_calibration_states(struct reader *r, const struct uuid *id, calibration_state_row row, void *user, struct fault *f);
enum read_result walk_deck_states(struct reader *r, const char *id, deck_state_row row, void *user, struct fault *f);
enum read_result walk_stock_states(struct reader *r, const char *id, stock_state_row row, void *user, struct fault *f);

/* ---- the log ---- */
struct journal_entry {
    int64_t at_us;
    int source; /* which table it stands in, and its number there: together with at_us they order the log */
    int64_t number;
    char who[LIMIT_NAME + 1]; /* "" = somebody at the club's file, or an open club */
    /* void, unvoid, correction, deck, stock, service, check (changed by somebody else than who wrote it), or the event's own (schema) */
    char what[41];
    char subject[LIMIT_NAME + 1]; /* whose row or whom it is about */
    char detail[LIMIT_REASON + 1];
    char about[LIMIT_SLUG + 1]; /* UUID or slug of the row; "" = none */
};
/* Newest first, those older than `after` (NULL = from the newest). */
typedef bool (*journal_row)(void *user, const struct journal_entry *e);
enum read_result walk_journal(struct reader *r, const struct journal_entry *after, int limit, journal_row row, void *user, struct fault *f);

/* ---- reviews ---- */
/* The state that stands is found right. FAULT_UNKNOWN: no such calibration. */
bool store_review_accept(struct store *s, int64_t by, const struct uuid *id, struct fault *f);
/* Those whose standing state was found right. */
typedef bool (*review_row)(void *user, const struct uuid *id, int64_t seq);
enum read_result walk_reviews(struct reader *r, review_row row, void *user, struct fault *f);

#endif
