/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The memory of one request or one line: blocks in a list, given out from the newest, all freed at once. The maximum counts what was
 * asked for, rounded to 16 bytes, so that it does not depend on how blocks happen to be cut.
 */
#include "memory.h"

#include <stdalign.h>
#include <stdint.h>
#include <string.h>

#define BLOCK_BYTES 16384 /* a deck, the largest record, is about half of it */
#define ALIGN       16

struct block {
    struct block *older;
    size_t size, used;
    alignas(ALIGN) unsigned char bytes[];
};

struct arena {
    struct block *newest; /* the first block is the last of the list and stays over a reset */
    size_t max, given;
};

static struct block *block_new(size_t size, struct block *older)
{
    if (size > SIZE_MAX - sizeof(struct block))
        return NULL;
    struct block *b = mem_alloc(sizeof *b + size);
    if (b)
        *b = (struct block){.older = older, .size = size};
    return b;
}

struct arena *arena_new(size_t max)
{
    struct arena *a = mem_alloc(sizeof *a);
    if (!a)
        return NULL;
    *a = (struct arena){.newest = block_new(max < BLOCK_BYTES ? (max + ALIGN - 1) / ALIGN * ALIGN : BLOCK_BYTES, NULL), .max = max};
    if (!a->newest) {
        mem_free(a);
        return NULL;
    }
    return a;
}

/* Frees all blocks but the first. */
static void drop_later(struct arena *a)
{
    while (a->newest->older) {
        struct block *older = a->newest->older;
        mem_free(a->newest);
        a->newest = older;
    }
}

void arena_free(struct arena *a)
{
    if (!a)
        return;
    drop_later(a);
    mem_free(a->newest);
    mem_free(a);
}

void arena_reset(struct arena *a)
{
    drop_later(a);
    a->newest->used = 0;
    a->given = 0;
}

void *arena_room(struct arena *a, size_t size)
{
    if (size > a->max)
        return NULL;
    size_t need = (size + ALIGN - 1) / ALIGN * ALIGN;
    if (need == 0)
        need = ALIGN;
    if (need > a->max - a->given && size > a->max - a->given)
        return NULL;
    struct block *b = a->newest;
    if (need > b->size - b->used) {
        b = block_new(need > BLOCK_BYTES ? need : BLOCK_BYTES, a->newest);
        if (!b)
            return NULL;
        a->newest = b;
    }
    void *p = b->bytes + b->used;
    b->used += need;
    a->given = need > a->max - a->given ? a->max : a->given + need;
    return p;
}

void *arena_alloc(struct arena *a, size_t size)
{
    void *p = arena_room(a, size);
    return p ? memset(p, 0, size) : NULL;
}

char *arena_text(struct arena *a, const char *text, size_t length)
{
    if (length == SIZE_MAX)
        return NULL;
    char *p = arena_room(a, length + 1);
    if (!p)
        return NULL;
    if (length)
        memcpy(p, text, length);
    p[length] = '\0';
    return p;
}
