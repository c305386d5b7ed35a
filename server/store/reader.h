/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Questions that need SQL. A reader is one read-only connection taken from a small pool; it sees one snapshot between reader_take and
 * reader_give. Never on an HTTP thread. Records come in the caller's arena.
 *
 * Every function returns READ_OK, READ_NONE (no such row) or READ_FAILED (fault set).
 */
#ifndef BIASBOOK_STORE_READER_H
#define BIASBOOK_STORE_READER_H

#include "../ground/memory.h"
#include "../trade/records.h"
#include "store.h"
#include "writer.h"

struct reader; /* private */
enum read_result { READ_OK, READ_NONE, READ_FAILED };

struct reader *reader_take(struct store *s, struct fault *f) __attribute__((warn_unused_result)); /* begins a snapshot */
void reader_give(struct reader *r);                                                               /* NULL allowed */

enum read_result read_deck(struct reader *r, const char *id, struct arena *a, struct deck *out, struct stamp *stamp, struct fault *f);
enum read_result read_stock(struct reader *r, const char *id, struct arena *a, struct stock *out, struct stamp *stamp, struct fault *f);
enum read_result read_calibration(struct reader *r, const struct uuid *id, struct arena *a, struct calibration *out, struct stamp *stamp,
                                  struct fault *f);
enum read_result read_service(struct reader *r, const struct uuid *id, struct arena *a, struct service *out, struct stamp *stamp,
                              struct fault *f);
enum read_result read_check(struct reader *r, const struct uuid *id, struct arena *a, struct deck_check *out, struct stamp *stamp,
                            struct fault *f);

/* Walks: the callback gets a record that is valid until it returns; false stops the walk (not a failure). The walk resets its own arena
 * a row, so memory does not grow. Order: slug for decks and stocks, seq of the current state for the rest. */
typedef bool (*deck_row)(void *user, const struct deck *d, const struct stamp *stamp);
typedef bool (*stock_row)(void *user, const struct stock *s, const struct stamp *stamp);
typedef bool (*calibration_row)(void *user, const struct calibration *c, const struct stamp *stamp);
typedef bool (*service_row)(void *user, const struct service *s, const struct stamp *stamp);
typedef bool (*check_row)(void *user, const struct deck_check *c, const struct stamp *stamp);

enum read_result walk_decks(struct reader *r, const char *after_id, int limit /* 0 = all */, deck_row row, void *user, struct fault *f);
enum read_result walk_stocks(struct reader *r, const char *after_id, int limit, stock_row row, void *user, struct fault *f);
enum read_result walk_services(struct reader *r, const char *deck /* NULL = all */, service_row row, void *user, struct fault *f);
enum read_result walk_checks(struct reader *r, const char *deck /* NULL = all */, check_row row, void *user, struct fault *f);

struct calibration_filter {
    const char *deck, *stock, *member; /* NULL = any */
    const char *origin;                /* the club it came from, "" = this one; NULL = any */
    int64_t since_us;                  /* made_at >= since; CLOCK_NONE = any */
    int64_t after_seq;                 /* keyset: rows with a larger seq; 0 = from the start */
    bool newest_first;                 /* then after_seq means smaller than (0 = from the newest) */
    int limit;                         /* 0 = all */
    bool all_revisions;                /* also states that were corrected since */
};
/* Moves and proof are filled only `with_moves`. */
enum read_result walk_calibrations(struct reader *r, const struct calibration_filter *filter, bool with_moves, calibration_row row,
                                   void *user, struct fault *f);

/* `*bytes` is mem_alloc'ed, the caller frees. */
enum read_result read_blob(struct reader *r, const char *name, void **bytes, size_t *n, struct fault *f);
/* Free-standing facts: "club_id" (UUID text made at init), "club_name", "last_backup" (RFC 3339). */
enum read_result read_fact(struct reader *r, const char *name, char *out, size_t size, struct fault *f);

#endif
