/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A small invented club for the targets that need a file: two decks, three stocks, twelve calibrations with moves, a service, a check. Always the same rows.
 */
#ifndef BIASBOOK_TESTS_FUZZ_CLUB_H
#define BIASBOOK_TESTS_FUZZ_CLUB_H

#include "store/store.h"

#include <stddef.h>

const char *fuzz_folder(void); /* scratch of this process, removed at its end; in memory where the machine has /dev/shm */
struct store *fuzz_club(const char *name, char *path, size_t n); /* made anew in the folder; the caller closes it */

#endif
