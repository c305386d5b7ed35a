/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A pool of texts with an index by hash; called a few times a record.
 */
#include "words.h"

#include "../ground/memory.h"

#include <string.h>

uint64_t word_hash(uint64_t seed, const void *bytes, size_t n)
{
    const unsigned char *p = bytes;
    uint64_t h = 0xcbf29ce484222325u ^ (seed * 0x9e3779b97f4a7c15u);
    for (size_t i = 0; i < n; i++)
        h = (h ^ p[i]) * 0x100000001b3u;
    h = (h ^ (h >> 31)) * 0xbf58476d1ce4e5b9u;
    h = (h ^ (h >> 27)) * 0x94d049bb133111ebu;
    return h ^ (h >> 31);
}

void words_init(struct words *w)
{
    *w = (struct words){0};
}

void words_free(struct words *w)
{
    mem_free(w->at);
    mem_free(w->bytes);
    mem_free(w->index);
    words_init(w);
}

static void *duplicate(const void *from, size_t n)
{
    void *to = mem_alloc(n);
    if (to && n)
        memcpy(to, from, n);
    return to;
}

bool words_copy(struct words *to, const struct words *from)
{
    *to = *from;
    to->at = duplicate(from->at, (size_t)from->room * sizeof *from->at);
    to->bytes = duplicate(from->bytes, from->bytes_room);
    to->index = duplicate(from->index, from->slots * sizeof *from->index);
    if (to->at && to->bytes && to->index)
        return true;
    words_free(to);
    return false;
}

static size_t slot_of(const struct words *w, const char *text, size_t length)
{
    size_t s = (size_t)word_hash(0, text, length) & (w->slots - 1);
    while (w->index[s] && strcmp(w->bytes + w->at[w->index[s] - 1], text) != 0)
        s = (s + 1) & (w->slots - 1);
    return s;
}

static bool more_slots(struct words *w)
{
    size_t slots = w->slots ? w->slots * 2 : 256;
    int *index = mem_zero(slots, sizeof *index);
    if (!index)
        return false;
    mem_free(w->index);
    w->index = index;
    w->slots = slots;
    for (int i = 0; i < w->count; i++) {
        const char *text = w->bytes + w->at[i];
        w->index[slot_of(w, text, strlen(text))] = i + 1;
    }
    return true;
}

static bool room_for(struct words *w, size_t length)
{
    if (w->count == w->room) {
        int room = w->room ? w->room * 2 : 128;
        uint32_t *at = mem_grow(w->at, (size_t)room, sizeof *at);
        if (!at)
            return false;
        w->at = at;
        w->room = room;
    }
    if (w->used + length + 1 > w->bytes_room) {
        size_t room = w->bytes_room ? w->bytes_room * 2 : 4096;
        char *bytes = mem_grow(w->bytes, room, 1);
        if (!bytes)
            return false;
        w->bytes = bytes;
        w->bytes_room = room;
    }
    return w->used + length < UINT32_MAX && ((size_t)w->count * 2 < w->slots || more_slots(w));
}

bool words_put(struct words *w, const char *text, int *word)
{
    *word = WORD_NONE;
    if (!text || !*text)
        return true;
    *word = words_find(w, text);
    if (*word != WORD_NONE)
        return true;
    size_t length = strlen(text);
    if (!room_for(w, length))
        return false;
    memcpy(w->bytes + w->used, text, length + 1);
    w->at[w->count] = (uint32_t)w->used;
    w->index[slot_of(w, text, length)] = w->count + 1;
    w->used += length + 1;
    *word = w->count++;
    return true;
}

int words_find(const struct words *w, const char *text)
{
    if (!w->slots || !text || !*text)
        return WORD_NONE;
    return w->index[slot_of(w, text, strlen(text))] - 1;
}

const char *words_text(const struct words *w, int word)
{
    return word < 0 ? "" : w->bytes + w->at[word];
}
