/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Copies of a club and the proof that a copy is whole.
 */
#ifndef BIASBOOK_STORE_BACKUP_H
#define BIASBOOK_STORE_BACKUP_H

#include "store.h"

/* A consistent copy while the club goes on logging: written under a temporary name beside `destination`, proved (store_verify_file),
 * synced, then renamed; so `destination` is the old copy or the whole new one, never a part. Also on a store opened with no_writer. */
bool store_backup(struct store *s, const char *destination, struct fault *f);

/* Proves that a file is a whole club: ours, not too new, SQLite's integrity, references, gapless changes, chains of revisions, and each
 * row's digest. Reads only; works on a copy on a read-only medium. Adds one item a finding. */
bool store_verify_file(const char *path, struct fault *f);

/* Proves `backup`, copies it beside `path`, proves the copy, puts it in place of `path`; what was there is kept as `path`.replaced. Refuses while another process
 * has `path` open (FAULT_BUSY "in-use"). */
bool store_restore(const char *backup, const char *path, struct fault *f);

/* A private copy of the club to try something on (a dry run of a large import): same reading and writing functions, nothing reaches the
 * club, and store_close removes it. NULL and a fault when there is no room for it. */
struct store *store_rehearsal(struct store *s, struct fault *f) __attribute__((warn_unused_result));

#endif
