/* SPDX-License-Identifier: GPL-3.0-or-later
 * See import_names.h; it is a catalog (live/catalog.h) of its own. */
#include "import_names.h"

#include "../ground/memory.h"
#include "../live/catalog.h"
#include "../store/reader.h"

struct import_names {
    struct catalog *catalog;
};

struct import_names *import_names_new(void)
{
    struct import_names *n = mem_zero(1, sizeof *n);
    if (n && !(n->catalog = catalog_new())) {
        mem_free(n);
        return NULL;
    }
    return n;
}

void import_names_free(struct import_names *n)
{
    if (!n)
        return;
    catalog_drop(n->catalog);
    mem_free(n);
}

bool import_names_add(struct import_names *n, const struct line *l)
{
    struct stamp none = {0};
    struct catalog_change change = {
        .deck = l->kind == LINE_DECK ? &l->as.deck : NULL, .stock = l->kind == LINE_STOCK ? &l->as.stock : NULL, .stamp = &none};
    return catalog_put(&n->catalog, &change);
}

/* From the store into the catalog; NULL when the store has none or a fault is set. */
static const struct catalog_entry *read_in(struct import_names *n, struct store *s, bool is_deck, const char *id, struct fault *f)
{
    struct arena *a = arena_new(LIMIT_ARENA);
    struct line *l = a ? arena_alloc(a, sizeof *l) : NULL;
    struct reader *r = l ? reader_take(s, f) : NULL;
    struct stamp stamp = {0};
    enum read_result got = READ_FAILED;
    if (r) {
        l->kind = is_deck ? LINE_DECK : LINE_STOCK;
        got = is_deck ? read_deck(r, id, a, &l->as.deck, &stamp, f) : read_stock(r, id, a, &l->as.stock, &stamp, f);
    }
    reader_give(r);
    if (!l || (got == READ_OK && !import_names_add(n, l)))
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while importing");
    arena_free(a);
    return got == READ_OK ? catalog_find(n->catalog, is_deck, id) : NULL;
}

static const struct catalog_entry *fetch(struct import_names *n, struct store *s, bool is_deck, const char *id, struct fault *f)
{
    const struct catalog_entry *known = catalog_find(n->catalog, is_deck, id);
    return known ? known : read_in(n, s, is_deck, id, f);
}

bool import_names_refresh(struct import_names *n, struct store *s, bool is_deck, const char *id, struct fault *f)
{
    read_in(n, s, is_deck, id, f);
    return !fault_set(f);
}

const struct deck *import_names_deck(struct import_names *n, struct store *s, const char *id, struct fault *f)
{
    const struct catalog_entry *e = fetch(n, s, true, id, f);
    return e ? e->deck : NULL;
}

const struct stock *import_names_stock(struct import_names *n, struct store *s, const char *id, struct fault *f)
{
    const struct catalog_entry *e = fetch(n, s, false, id, f);
    return e ? e->stock : NULL;
}
