/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Texts as small numbers: each different text is kept once. Numbers depend on the order of arrival, so nothing that is computed may
 * depend on their order, only on equality.
 */
#ifndef BIASBOOK_MODEL_WORDS_H
#define BIASBOOK_MODEL_WORDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define WORD_NONE (-1)

struct words {
    int count, room;
    uint32_t *at; /* offset of each text */
    char *bytes;
    size_t used, bytes_room;
    size_t slots; /* power of two */
    int *index;   /* word + 1 */
};
void words_init(struct words *w);
void words_free(struct words *w);
bool words_copy(struct words *to, const struct words *from);
/* "" and NULL are WORD_NONE. False: out of memory. */
bool words_put(struct words *w, const char *text, int *word) __attribute__((warn_unused_result));
int words_find(const struct words *w, const char *text); /* WORD_NONE when not there */
const char *words_text(const struct words *w, int word); /* "" for WORD_NONE */

/* A 64-bit hash of bytes, the same on every machine and in every run (FNV-1a, then mixed). */
uint64_t word_hash(uint64_t seed, const void *bytes, size_t n);

#endif
