/* SPDX-License-Identifier: GPL-3.0-or-later
 * See slugs.h. */
#include "slugs.h"

#include "../ground/memory.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

/* FNV-1a, 64 bits: ids are a steward's own, nobody gains by colliding them. */
static size_t slot_of(const struct slugs *s, const char *slug)
{
    uint64_t h = 14695981039346656037u;
    for (const unsigned char *p = (const unsigned char *)slug; *p; p++)
        h = (h ^ *p) * 1099511628211u;
    size_t i = (size_t)(h ^ h >> 32) & (s->slots - 1);
    while (s->list[i][0] && strcmp(s->list[i], slug) != 0)
        i = (i + 1) & (s->slots - 1);
    return i;
}

static bool grow(struct slugs *s)
{
    struct slugs more = {.slots = s->slots ? 2 * s->slots : 64, .count = s->count};
    more.list = mem_zero(more.slots, sizeof *more.list);
    if (!more.list)
        return false;
    for (size_t i = 0; i < s->slots; i++)
        if (s->list[i][0])
            memcpy(more.list[slot_of(&more, s->list[i])], s->list[i], sizeof s->list[i]);
    mem_free(s->list);
    *s = more;
    return true;
}

bool slugs_have(const struct slugs *s, const char *slug)
{
    return s->slots && s->list[slot_of(s, slug)][0];
}

bool slugs_add(struct slugs *s, const char *slug)
{
    if (slugs_have(s, slug))
        return true;
    if (2 * (s->count + 1) > s->slots && !grow(s))
        return false;
    snprintf(s->list[slot_of(s, slug)], sizeof s->list[0], "%s", slug);
    s->count++;
    return true;
}

void slugs_free(struct slugs *s)
{
    mem_free(s->list);
    *s = (struct slugs){NULL, 0, 0};
}
