/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The decks and stocks an import has met, so that each is read from the store once and those of the same file count as known. Bounded by the club's limits.
 */
#ifndef BIASBOOK_ACTIONS_IMPORT_NAMES_H
#define BIASBOOK_ACTIONS_IMPORT_NAMES_H

#include "../store/store.h"
#include "../wire/wire.h"

struct import_names;
struct import_names *import_names_new(void);
void import_names_free(struct import_names *n);
bool import_names_add(struct import_names *n, const struct line *l); /* LINE_DECK or LINE_STOCK; false: memory */
/* NULL when the club has no such deck; a failing store or lack of memory is a fault. */
const struct deck *import_names_deck(struct import_names *n, struct store *s, const char *id, struct fault *f);
const struct stock *import_names_stock(struct import_names *n, struct store *s, const char *id, struct fault *f);
/* What the store has takes the place of what the file said. False: a fault. */
bool import_names_refresh(struct import_names *n, struct store *s, bool is_deck, const char *id, struct fault *f);

#endif
