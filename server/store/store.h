/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The club's file: opening, migrating, closing. store/ is the only room that knows SQL.
 *
 * One writer thread owns the only connection that writes (writer.h); readers are separate read-only connections
 * (reader.h). WAL, synchronous=FULL: what was acknowledged is on the disk.
 */
#ifndef BIASBOOK_STORE_STORE_H
#define BIASBOOK_STORE_STORE_H

#include "../ground/fault.h"

#include <stdbool.h>
#include <stdint.h>

struct store; /* private */

struct store_options {
    const char *path;
    bool create;      /* make the club when the file does not exist; false: a missing file is a fault */
    bool must_be_new; /* `init`: an existing club is a fault */
    bool no_writer;   /* command-line reading only: no writer thread, nothing is written */
};

/* Opens, checks (application_id, user_version, quick_check), copies the file and migrates when it is older, starts the writer. NULL and
 * a fault otherwise: "not a biasbook file", "made by a newer biasbook", "damaged", "cannot open". */
struct store *store_open(const struct store_options *options, struct fault *f) __attribute__((warn_unused_result));

/* Refuses new writes, drains what waits, checkpoints, closes. NULL allowed. */
void store_close(struct store *s);
/* First half of it: refuse new writes and wait until all accepted ones have been answered. */
void store_quiesce(struct store *s);

int64_t store_last_seq(struct store *s);       /* highest committed seq */
int64_t store_last_commit_us(struct store *s); /* CLOCK_NONE when none */
/* True when another process has changed the file since the last call (PRAGMA data_version). */
bool store_changed_outside(struct store *s);

/* Integrity, foreign keys, counters, digests: everything that can be proved from the file alone. Adds one item a finding. */
bool store_check(struct store *s, struct fault *f);

/* False and a fault when the disk is so full that the next commits would fail. */
bool store_has_room(struct store *s, struct fault *f);

struct store_figures {
    int64_t wal_bytes, file_bytes, commits, rows_written, largest_group, queue_rows;
};
void store_figures(struct store *s, struct store_figures *out);

#endif
