/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Counts blocks and, when a test asks, makes one allocation (or all from one on) fail. The counters are atomic because
 * every thread allocates; outside tests the price is one relaxed load and one relaxed addition a call.
 */
#include "memory.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static atomic_long alive;
static atomic_long countdown; /* calls until the failing one; 0 = off; -1 = failing for ever */
static atomic_int ever;

static bool must_fail(void)
{
    long left = atomic_load_explicit(&countdown, memory_order_relaxed);
    if (left == 0)
        return false;
    if (left < 0)
        return true;
    left = atomic_fetch_sub(&countdown, 1);
    if (left == 1 && atomic_load(&ever))
        atomic_store(&countdown, -1);
    return left == 1;
}

void mem_fail_at(long n, int ever_after)
{
    atomic_store(&ever, ever_after);
    atomic_store(&countdown, n > 0 ? n : 0);
}

long mem_alive(void)
{
    return atomic_load(&alive);
}

static void *counted(void *p)
{
    if (p)
        atomic_fetch_add_explicit(&alive, 1, memory_order_relaxed);
    return p;
}

void *mem_alloc(size_t size)
{
    return must_fail() ? NULL : counted(malloc(size ? size : 1));
}

void *mem_zero(size_t count, size_t size)
{
    if (must_fail() || (size && count > SIZE_MAX / size))
        return NULL;
    return counted(calloc(count ? count : 1, size ? size : 1));
}

void *mem_grow(void *p, size_t count, size_t size)
{
    if (must_fail() || (size && count > SIZE_MAX / size))
        return NULL;
    size_t bytes = count * size;
    void *q = realloc(p, bytes ? bytes : 1);
    return p ? q : counted(q);
}

char *mem_text(const char *text)
{
    size_t n = strlen(text) + 1;
    char *copy = mem_alloc(n);
    if (copy)
        memcpy(copy, text, n);
    return copy;
}

void mem_free(void *p)
{
    if (!p)
        return;
    atomic_fetch_sub_explicit(&alive, 1, memory_order_relaxed);
    free(p);
}
