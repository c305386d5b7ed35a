/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The only file that asks libsodium.
 */
#include "secrets.h"

#include <assert.h>
#include <sodium.h>
#include <stdalign.h>
#include <string.h>

#define KEY_PREFIX        "bb1_"
#define KEY_PREFIX_LENGTH (sizeof KEY_PREFIX - 1)
#define KEY_BYTES         32 /* 256 bits */

static_assert(KEY_PREFIX_LENGTH + sodium_base64_ENCODED_LEN(KEY_BYTES, sodium_base64_VARIANT_URLSAFE_NO_PADDING) == KEY_TEXT,
              "room for a key");
static_assert(sizeof(struct sum) >= sizeof(crypto_hash_sha256_state), "room for the state");
static_assert(alignof(struct sum) >= alignof(crypto_hash_sha256_state), "place for the state");
static_assert(DIGEST_BYTES == crypto_hash_sha256_BYTES, "SHA-256 has 256 bits");
static_assert(DIGEST_BYTES == crypto_generichash_BYTES, "and so has the other sum");

bool secrets_start(void)
{
    return sodium_init() >= 0;
}

void secrets_random(void *out, size_t n)
{
    randombytes_buf(out, n);
}

void key_make(char out[KEY_TEXT])
{
    uint8_t bytes[KEY_BYTES];
    randombytes_buf(bytes, sizeof bytes);
    memcpy(out, KEY_PREFIX, KEY_PREFIX_LENGTH);
    sodium_bin2base64(out + KEY_PREFIX_LENGTH, KEY_TEXT - KEY_PREFIX_LENGTH, bytes, sizeof bytes, sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    sodium_memzero(bytes, sizeof bytes);
}

bool key_shape(const char *text)
{
    uint8_t bytes[KEY_BYTES];
    size_t n = 0;
    if (strnlen(text, KEY_TEXT) != KEY_TEXT - 1 || memcmp(text, KEY_PREFIX, KEY_PREFIX_LENGTH) != 0)
        return false;
    bool good = sodium_base642bin(bytes, sizeof bytes, text + KEY_PREFIX_LENGTH, KEY_TEXT - 1 - KEY_PREFIX_LENGTH, NULL, &n, NULL,
                                  sodium_base64_VARIANT_URLSAFE_NO_PADDING) == 0;
    sodium_memzero(bytes, sizeof bytes);
    return good && n == sizeof bytes;
}

void key_hash(const char *key, uint8_t out[DIGEST_BYTES])
{
    digest_of(key, strlen(key), out);
}

bool digest_same(const uint8_t a[DIGEST_BYTES], const uint8_t b[DIGEST_BYTES])
{
    return sodium_memcmp(a, b, DIGEST_BYTES) == 0;
}

void digest_of(const void *bytes, size_t n, uint8_t out[DIGEST_BYTES])
{
    crypto_generichash(out, DIGEST_BYTES, bytes, n, NULL, 0);
}

char *digest_hex(const uint8_t d[DIGEST_BYTES], char out[DIGEST_HEX])
{
    return sodium_bin2hex(out, DIGEST_HEX, d, DIGEST_BYTES);
}

/* libsodium keeps plain bytes in its state, so it may live inside ours. */
static crypto_hash_sha256_state *state(struct sum *s)
{
    return (crypto_hash_sha256_state *)(void *)s;
}

void sum_start(struct sum *s)
{
    crypto_hash_sha256_init(state(s));
}

void sum_add(struct sum *s, const void *bytes, size_t n)
{
    crypto_hash_sha256_update(state(s), bytes, n);
}

void sum_finish(struct sum *s, uint8_t out[DIGEST_BYTES])
{
    crypto_hash_sha256_final(state(s), out);
}
