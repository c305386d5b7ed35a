/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Private to store/: the thin layer over SQLite that the rest of the room is written in. A connection belongs to one thread at a time
 * and keeps every statement it has prepared, one slot each; values go in by a binder and come out by columns, both counting up, so that
 * a list of columns and the code beside it read in the same order. NULL is "not given" in both directions.
 */
#ifndef BIASBOOK_STORE_SQL_H
#define BIASBOOK_STORE_SQL_H

#include "../ground/fault.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* One slot a prepared text; a text always goes with the same slot. */
/* clang-format off */
enum sql {
    SQL_BEGIN, SQL_BEGIN_READ, SQL_COMMIT, SQL_ROLLBACK, SQL_SAVE, SQL_SAVE_RELEASE, SQL_SAVE_ROLLBACK,
    SQL_LAST_CHANGE, SQL_DATA_VERSION, SQL_USER_VERSION,
    SQL_FACT_GET, SQL_FACT_SET,
    SQL_MEMBER_FIND, SQL_MEMBER_NAME, SQL_MEMBER_ADD, SQL_KEY_ADD, SQL_KEYS,
    SQL_MEMBERS, SQL_MEMBER_KEYS, SQL_MEMBER_GET, SQL_MEMBER_CHANGE, SQL_STEWARDS, SQL_KEY_GET, SQL_KEY_REVOKE, SQL_KEY_USED, SQL_EVENT_ADD,
    SQL_DECK_ID, SQL_DECK_NEW, SQL_DECK_STATE, SQL_DECK_PUT, SQL_DECK_REPLACE, SQL_DECK_HISTORY,
    SQL_DIAL_PUT, SQL_DIAL_POINT_PUT, SQL_SETUP_PUT, SQL_COUNTER_PUT,
    SQL_DECK_GET, SQL_DECK_WALK, SQL_DIALS, SQL_DIAL_POINTS, SQL_SETUPS, SQL_COUNTERS,
    SQL_STOCK_ID, SQL_STOCK_NEW, SQL_STOCK_STATE, SQL_STOCK_PUT, SQL_STOCK_REPLACE, SQL_STOCK_HISTORY, SQL_ALIAS_PUT,
    SQL_STOCK_GET, SQL_STOCK_WALK, SQL_ALIASES,
    SQL_CALIBRATION_STATE, SQL_CALIBRATION_PUT, SQL_CALIBRATION_REPLACE, SQL_CALIBRATION_VOID, SQL_CALIBRATION_HISTORY,
    SQL_MOVE_PUT, SQL_PROOF_PUT,
    SQL_CALIBRATION_GET, SQL_CALIBRATION_UP, SQL_CALIBRATION_DOWN, SQL_CALIBRATION_LIST_UP, SQL_CALIBRATION_LIST_DOWN,
    SQL_MOVES, SQL_PROOF,
    SQL_SERVICE_STATE, SQL_SERVICE_PUT, SQL_SERVICE_REPLACE, SQL_SERVICE_HISTORY,
    SQL_SERVICE_GET, SQL_SERVICE_WALK, SQL_SERVICE_WALK_DECK,
    SQL_CHECK_STATE, SQL_CHECK_PUT, SQL_CHECK_REPLACE, SQL_CHECK_HISTORY,
    SQL_CHECK_GET, SQL_CHECK_WALK, SQL_CHECK_WALK_DECK,
    SQL_BLOB_NEXT, SQL_BLOB_PART_PUT, SQL_BLOB_STAND, SQL_BLOB_DROP_OLD, SQL_BLOB_FIND, SQL_BLOB_PARTS,
    SQL_PRIOR_PUT, SQL_PRIOR_GET, SQL_PRIOR_WALK, SQL_PRIOR_CLEAR,
    SQL_CALIBRATION_CHAIN, SQL_CALIBRATION_UNDO, SQL_CALIBRATION_BEFORE, SQL_CALIBRATION_FROM_UP, SQL_CALIBRATION_FROM_DOWN, SQL_DECK_CHAIN,
    SQL_STOCK_CHAIN, SQL_JOURNAL, SQL_REVIEW_PUT, SQL_REVIEW_WALK,
    SQL_COUNT
};
/* clang-format on */

struct connection {
    sqlite3 *db;
    sqlite3_stmt *ready[SQL_COUNT];
};

enum sql_mode { SQL_READ, SQL_WRITE, SQL_READ_IMMUTABLE /* a file nobody writes: needs no -shm beside it */ };

/* Opens and hardens (no extensions, defensive, untrusted schema, foreign keys, no mmap). False and a fault. */
bool sql_open(struct connection *c, const char *path, enum sql_mode mode, struct fault *f);
void sql_close(struct connection *c); /* closed ones allowed */
void sql_limit(struct connection *c); /* lowers SQLite's limits to what the product needs; after migrating */
/* The statement of a slot, prepared on first use, reset. NULL: fault set. */
sqlite3_stmt *sql_get(struct connection *c, enum sql which, const char *text, struct fault *f);
/* Steps: 1 a row, 0 done, -1 failed (fault set, statement reset). */
int sql_step(struct connection *c, sqlite3_stmt *s, struct fault *f);
/* Steps to the end and resets: for what gives no rows. */
bool sql_run(struct connection *c, sqlite3_stmt *s, struct fault *f);
/* Text without rows, in one go (migrations, pragmas). */
bool sql_text(struct connection *c, const char *text, struct fault *f);
/* First column of the first row of a text that is not kept. */
bool sql_number(struct connection *c, const char *text, int64_t *out, struct fault *f);
/* Says what SQLite's current error on `c` means to a person. Always false. */
bool sql_fault(struct connection *c, struct fault *f);
/* The same of a row that quick_check or integrity_check gave and that is not "ok"; NULL: it had no memory for one. Returns false. (unreadable.c) */
bool sql_finding(const char *finding, struct fault *f);
void unreadable_install(void); /* once, before the first connection: a page that the disk would not give is not told as damage */

/* ---- values in ---- */
struct binder {
    sqlite3_stmt *s;
    int n;       /* parameters bound so far */
    bool failed; /* a value was too large: the statement must not run */
};
static inline struct binder bind(sqlite3_stmt *s)
{
    return (struct binder){.s = s};
}
void bind_null(struct binder *b);
void bind_int(struct binder *b, int64_t v);
void bind_count(struct binder *b, int v);         /* -1: NULL */
void bind_id(struct binder *b, int64_t v);        /* 0: NULL */
void bind_real(struct binder *b, double v);       /* NaN: NULL */
void bind_text(struct binder *b, const char *t);  /* NULL: NULL; must live until the statement ran, as all of these */
void bind_given(struct binder *b, const char *t); /* "" or NULL: NULL */
void bind_bytes(struct binder *b, const void *p, size_t n);
bool bind_run(struct binder *b, struct connection *c, struct fault *f); /* sql_run, unless a value failed */
int bind_step(struct binder *b, struct connection *c, struct fault *f);

/* ---- values out ---- */
struct columns {
    sqlite3_stmt *s;
    int n; /* columns taken so far */
};
static inline struct columns columns(sqlite3_stmt *s)
{
    return (struct columns){.s = s};
}
bool take_is_null(const struct columns *c); /* looks at the next one */
void take_skip(struct columns *c);
int64_t take_int(struct columns *c); /* NULL: 0 */
int take_count(struct columns *c);   /* NULL: -1 */
bool take_flag(struct columns *c);
double take_real(struct columns *c);                       /* NULL: ABSENT */
void take_text(struct columns *c, char *out, size_t room); /* NULL: "" */
const char *take_long(struct columns *c);                  /* NULL: NULL; lives until the statement moves on */
void take_bytes(struct columns *c, void *out, size_t n);   /* other sizes: zeroes */

#endif
