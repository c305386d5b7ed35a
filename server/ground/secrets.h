/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Everything that asks libsodium: keys, digests, random bytes. secrets_start once before the threads.
 */
#ifndef BIASBOOK_GROUND_SECRETS_H
#define BIASBOOK_GROUND_SECRETS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define KEY_TEXT     48 /* "bb1_" + 43 characters base64url of 256 random bits + NUL */
#define DIGEST_BYTES 32
#define DIGEST_HEX   65

bool secrets_start(void); /* false: no entropy source; may be called again */
void secrets_random(void *out, size_t n);
void key_make(char out[KEY_TEXT]);
bool key_shape(const char *text);                          /* looks like one of our keys */
void key_hash(const char *key, uint8_t out[DIGEST_BYTES]); /* BLAKE2b-256: keys are random, no salt or stretching needed */
bool digest_same(const uint8_t a[DIGEST_BYTES], const uint8_t b[DIGEST_BYTES]); /* constant time */
void digest_of(const void *bytes, size_t n, uint8_t out[DIGEST_BYTES]);         /* BLAKE2b-256, for content comparison */
char *digest_hex(const uint8_t d[DIGEST_BYTES], char out[DIGEST_HEX]);

/* SHA-256 in pieces, for the export's end line. */
struct sum {
    uint64_t state[16];
    uint8_t opaque[128];
}; /* private part; large enough for libsodium's state, asserted in the .c */
void sum_start(struct sum *s);
void sum_add(struct sum *s, const void *bytes, size_t n);
void sum_finish(struct sum *s, uint8_t out[DIGEST_BYTES]);

#endif
