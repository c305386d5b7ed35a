/* SPDX-License-Identifier: GPL-3.0-or-later
 * See catalog.h. Open addressing with linear probing; the table is at most half full, so a miss ends soon. */
#include "catalog.h"

#include "../ground/memory.h"

#include <string.h>

static uint64_t hash_id(bool is_deck, const char *id)
{
    uint64_t h = is_deck ? 1469598103934665603ULL : 1099511628211ULL * 31;
    for (; *id; id++)
        h = (h ^ (unsigned char)*id) * 1099511628211ULL; /* FNV-1a */
    return h ^ (h >> 29);
}

static void entry_drop(struct catalog_entry *e)
{
    if (!e || atomic_fetch_sub(&e->holders, 1) != 1)
        return;
    if (e->deck)
        mem_free((void *)(uintptr_t)e->deck->notes);
    if (e->stock)
        mem_free((void *)(uintptr_t)e->stock->notes);
    mem_free(e->deck);
    mem_free(e->stock);
    mem_free(e);
}

static struct catalog_entry *entry_new(const struct catalog_change *change)
{
    struct catalog_entry *e = mem_zero(1, sizeof *e);
    if (!e)
        return NULL;
    atomic_init(&e->holders, 1);
    e->is_deck = change->deck != NULL;
    e->stamp = *change->stamp;
    const char *notes = e->is_deck ? change->deck->notes : change->stock->notes;
    char *copy = notes ? mem_text(notes) : NULL;
    if (e->is_deck && (e->deck = mem_alloc(sizeof *e->deck))) {
        *e->deck = *change->deck;
        e->deck->notes = copy;
    } else if (!e->is_deck && (e->stock = mem_alloc(sizeof *e->stock))) {
        *e->stock = *change->stock;
        e->stock->notes = copy;
    } else {
        mem_free(copy);
        mem_free(e);
        return NULL;
    }
    if (notes && !copy) {
        entry_drop(e);
        return NULL;
    }
    return e;
}

static const char *entry_id(const struct catalog_entry *e)
{
    return e->is_deck ? e->deck->id : e->stock->id;
}

/* The slot that holds this id, or the empty one where it would go. */
static size_t find_slot(const struct catalog *c, bool is_deck, const char *id)
{
    size_t at = (size_t)hash_id(is_deck, id) & (c->slots - 1);
    while (c->index[at]) {
        const struct catalog_entry *e = c->entries[c->index[at] - 1];
        if (e->is_deck == is_deck && !strcmp(entry_id(e), id))
            break;
        at = (at + 1) & (c->slots - 1);
    }
    return at;
}

static struct catalog *make(size_t room)
{
    struct catalog *c = mem_zero(1, sizeof *c);
    if (!c)
        return NULL;
    atomic_init(&c->holders, 1);
    c->room = room + 1;
    c->slots = 16;
    while (c->slots < 2 * (room + 1))
        c->slots *= 2;
    c->entries = mem_zero(room + 1, sizeof(struct catalog_entry *));
    c->index = mem_zero(c->slots, sizeof *c->index);
    if (!c->entries || !c->index) {
        catalog_drop(c);
        return NULL;
    }
    return c;
}

struct catalog *catalog_new(void)
{
    return make(0);
}

struct catalog *catalog_hold(struct catalog *c)
{
    atomic_fetch_add(&c->holders, 1);
    return c;
}

void catalog_drop(struct catalog *c)
{
    if (!c || atomic_fetch_sub(&c->holders, 1) != 1)
        return;
    for (size_t i = 0; i < c->count; i++)
        entry_drop(c->entries[i]);
    mem_free(c->entries);
    mem_free(c->index);
    mem_free(c);
}

static struct catalog *copy_with_room(const struct catalog *old, size_t room)
{
    struct catalog *c = make(room);
    if (!c)
        return NULL;
    for (size_t i = 0; i < old->count; i++) {
        struct catalog_entry *e = old->entries[i];
        atomic_fetch_add(&e->holders, 1);
        c->entries[c->count++] = e;
        c->index[find_slot(c, e->is_deck, entry_id(e))] = (uint32_t)c->count;
    }
    return c;
}

static bool insert(struct catalog *c, const struct catalog_change *change)
{
    struct catalog_entry *e = entry_new(change);
    if (!e)
        return false;
    size_t slot = find_slot(c, e->is_deck, entry_id(e));
    if (c->index[slot]) {
        size_t at = c->index[slot] - 1;
        entry_drop(c->entries[at]);
        c->entries[at] = e;
    } else {
        c->entries[c->count++] = e;
        c->index[slot] = (uint32_t)c->count;
    }
    return true;
}

struct catalog *catalog_with(const struct catalog *old, const struct catalog_change *changes, size_t count)
{
    struct catalog *c = copy_with_room(old, old->count + count);
    for (size_t i = 0; c && i < count; i++)
        if (!insert(c, &changes[i])) {
            catalog_drop(c);
            c = NULL;
        }
    return c;
}

bool catalog_put(struct catalog **c, const struct catalog_change *change)
{
    if ((*c)->count == (*c)->room) {
        struct catalog *larger = copy_with_room(*c, 2 * (*c)->room);
        if (!larger)
            return false;
        catalog_drop(*c);
        *c = larger;
    }
    return insert(*c, change);
}

const struct catalog_entry *catalog_find(const struct catalog *c, bool is_deck, const char *id)
{
    size_t slot = find_slot(c, is_deck, id);
    return c->index[slot] ? c->entries[c->index[slot] - 1] : NULL;
}

const struct deck *catalog_deck(const struct catalog *c, const char *id)
{
    const struct catalog_entry *e = catalog_find(c, true, id);
    return e ? e->deck : NULL;
}

const struct stock *catalog_stock(const struct catalog *c, const char *id)
{
    const struct catalog_entry *e = catalog_find(c, false, id);
    return e ? e->stock : NULL;
}
