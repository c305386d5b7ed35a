/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The decks and stocks of the club as one frozen list with an index by slug: what a question or a check looks up without SQL and
 * without a lock. A change makes a new catalog that shares all unchanged entries. Entries and catalogs are counted; the last holder frees.
 *
 * 0 decks and 0 stocks is a valid catalog. Lookup is O(1); making a changed copy is O(entries) pointers.
 */
#ifndef BIASBOOK_LIVE_CATALOG_H
#define BIASBOOK_LIVE_CATALOG_H

#include "../trade/records.h"

#include <stdatomic.h>
#include <stddef.h>

struct catalog_entry {
    atomic_long holders;
    bool is_deck;
    struct deck *deck; /* one of the two, owned with its texts */
    struct stock *stock;
    struct stamp stamp;
};

struct catalog {
    atomic_long holders;
    size_t room;  /* entries that fit before it must be made anew */
    size_t count; /* entries, decks and stocks together, in order of arrival */
    struct catalog_entry **entries;
    size_t slots;    /* power of two, > count */
    uint32_t *index; /* hash table: 0 = empty, else entry number + 1 */
};

struct catalog *catalog_new(void);
struct catalog *catalog_hold(struct catalog *c);
void catalog_drop(struct catalog *c); /* NULL allowed */

/* A copy of `c` with these records added or replaced by id; NULL when memory is out (the old one is unharmed). */
struct catalog_change {
    const struct deck *deck; /* one of the two; copied */
    const struct stock *stock;
    const struct stamp *stamp;
};
struct catalog *catalog_with(const struct catalog *c, const struct catalog_change *changes, size_t count);

/* Adds or replaces in place, while nobody else holds `*c` yet (loading). `*c` may be moved. False when memory is out. */
bool catalog_put(struct catalog **c, const struct catalog_change *change);

const struct catalog_entry *catalog_find(const struct catalog *c, bool is_deck, const char *id); /* NULL: unknown */
const struct deck *catalog_deck(const struct catalog *c, const char *id);
const struct stock *catalog_stock(const struct catalog *c, const char *id);

#endif
