/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The only door to the heap, so that tests can make the Nth allocation fail. All functions return NULL when memory is
 * out, never abort. `mem_free` takes NULL.
 *
 * An arena is the memory of one request or one line: everything in it is freed at once. It has its maximum at birth.
 */
#ifndef BIASBOOK_GROUND_MEMORY_H
#define BIASBOOK_GROUND_MEMORY_H

#include <stddef.h>

void *mem_alloc(size_t size) __attribute__((malloc, warn_unused_result));
void *mem_zero(size_t count, size_t size) __attribute__((malloc, warn_unused_result)); /* zeroed, overflow-checked */
void *mem_grow(void *p, size_t count, size_t size)
    __attribute__((warn_unused_result));                                      /* realloc, overflow-checked; on NULL the old block lives */
char *mem_text(const char *text) __attribute__((malloc, warn_unused_result)); /* copy of a string */
void mem_free(void *p);

/* Tests only: the Nth call from now fails (0 = never); `ever_after` lets all later ones fail too. */
void mem_fail_at(long n, int ever_after);
/* Blocks alive now, for leak checks. */
long mem_alive(void);

struct arena;                                                            /* private */
struct arena *arena_new(size_t max) __attribute__((warn_unused_result)); /* NULL: out of memory. Grows in blocks up to `max` bytes. */
void arena_free(struct arena *a);                                        /* NULL allowed */
void arena_reset(struct arena *a);                                       /* forget everything, keep the first block */
void *arena_alloc(struct arena *a, size_t size) __attribute__((warn_unused_result)); /* zeroed, 16-byte aligned; NULL past max */
void *arena_room(struct arena *a, size_t size)
    __attribute__((warn_unused_result)); /* the same with whatever bytes: its user fills all of it */
char *arena_text(struct arena *a, const char *text, size_t length) __attribute__((warn_unused_result)); /* NUL-terminated copy */

#endif
