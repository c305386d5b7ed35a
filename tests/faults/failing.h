/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A machine that fails when told: the heap and the calls for files, interposed in the test program and therefore in every library that it loads. Only
 * children feel it: the orders stand in a page that a test shares with the processes it forks, so the very daemon and verbs of the product run on it and
 * the test itself does not.
 *
 * Of files only those below one folder fail, so that a library may still look at the machine.
 */
#ifndef BIASBOOK_TESTS_FAULTS_FAILING_H
#define BIASBOOK_TESTS_FAULTS_FAILING_H

#include <stdbool.h>

enum fail_kind {
    FAIL_NOTHING,
    FAIL_MEMORY, /* an allocation returns NULL */
    FAIL_ERROR,  /* a call on a file: EIO (opening: EACCES) */
    FAIL_FULL,   /* writing and growing: half of it, then ENOSPC */
    FAIL_SHORT,  /* reading and writing: half of what was asked for, which is no error */
    FAIL_SYNC,   /* syncing: EIO */
    FAIL_KILL,   /* writing, syncing, truncating, renaming, removing: SIGKILL half-way */
};

/* Once, before any child. `folder`: see above. */
bool failing_start(const char *folder);
/* The Nth matching call from now on fails, and with `ever_after` all later ones. 0 = none. */
void fail_at(enum fail_kind kind, long n, bool ever_after);
bool has_failed(void);   /* it has come to that */
long calls_seen(void);   /* matching ones since fail_at */
long blocks_alive(void); /* of the child that was forked last */

#endif
