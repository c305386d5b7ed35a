/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A disk that fails when told: a layer between SQLite and the system's files, the default one once installed. It can fail the Nth operation, and
 * it can lose power: what was not synced may then be there, be gone, or be torn at any 512 bytes, in any order.
 */
#ifndef BIASBOOK_TESTS_STORE_FAULTY_DISK_H
#define BIASBOOK_TESTS_STORE_FAULTY_DISK_H

#include <stdbool.h>
#include <stdint.h>

enum disk_fault {
    DISK_ERROR, /* writing, syncing, truncating: an I/O error */
    DISK_FULL,  /* writing: no room */
    DISK_SHORT, /* writing: half of it, then an I/O error */
    DISK_READ,  /* reading, and nothing else: an I/O error */
    DISK_POWER, /* from this operation on nothing reaches the disk; see disk_power_off */
};

bool disk_install(void);
/* The Nth operation from now fails, 0 = none; `ever_after` the later ones as well (DISK_POWER always). */
void disk_fail_at(long n, enum disk_fault fault, bool ever_after);
bool disk_failed(void); /* it has come to that */
/* From now on remembers what has not been synced. */
void disk_watch(void);
/* After everything on it was closed: each remembered piece stays or is taken back as `seed` says, shared memory files vanish, and the disk is
 * whole again. */
void disk_power_off(uint64_t seed);

#endif
