/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Decoded rows of an import until they go to the store as one transaction. Rows are kept for the next slice, texts are not. Held by the importer alone.
 */
#ifndef BIASBOOK_ACTIONS_IMPORT_SLICE_H
#define BIASBOOK_ACTIONS_IMPORT_SLICE_H

#include "../ground/memory.h"
#include "../wire/wire.h"
#include "importer.h"

struct held_row {
    struct line line;
    long number;
};

struct import_slice {
    struct arena *arena; /* texts of the rows */
    struct held_row **rows;
    struct write *writes;
    size_t count, capacity;
    bool holds_named;            /* it has decks or stocks */
    struct store_slice *written; /* while the store has it */
};

/* False: out of memory; import_slice_free is due in any case, and waits for the store. `atomic`: it will hold the whole import. */
bool import_slice_open(struct import_slice *l, bool atomic);
void import_slice_free(struct import_slice *l);
bool import_slice_grow(struct import_slice *l, size_t capacity);
struct held_row *import_slice_row(struct import_slice *l); /* room for the next row, not counted yet; NULL: out of memory */

/* Hands the rows to the store; they stay as they are until the end, which leaves the outcomes in `writes`. */
bool import_slice_begin(struct import_slice *l, struct store *s, const struct import_options *options, bool dry, struct fault *f);
bool import_slice_end(struct import_slice *l, struct fault *f);
void import_slice_empty(struct import_slice *l);

#endif
