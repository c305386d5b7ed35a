/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Keys and sums against published digests. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/secrets.h"

#include <stdbool.h>
#include <string.h>

static const char *hex_of(const uint8_t d[DIGEST_BYTES])
{
    static char text[DIGEST_HEX];
    return digest_hex(d, text);
}

static void sha256_published(void **state)
{
    (void)state; /* FIPS 180-4 examples: "abc" and the 448-bit message */
    uint8_t d[DIGEST_BYTES];
    struct sum s;
    sum_start(&s);
    sum_add(&s, "abc", 3);
    sum_finish(&s, d);
    assert_string_equal(hex_of(d), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    const char *message = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    sum_start(&s);
    for (const char *p = message; *p; p++)
        sum_add(&s, p, 1);
    sum_finish(&s, d);
    assert_string_equal(hex_of(d), "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

static void blake2b_published(void **state)
{
    (void)state; /* BLAKE2b-256 of the empty text and "abc": known answers, as coreutils' b2sum -l 256 prints them */
    uint8_t d[DIGEST_BYTES];
    digest_of("", 0, d);
    assert_string_equal(hex_of(d), "0e5751c026e543b2e8ab2eb06099daa1d1e5df47778f7787faab45cdf12fe3a8");
    digest_of("abc", 3, d);
    assert_string_equal(hex_of(d), "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319");
}

static void keys(void **state)
{
    (void)state;
    char a[KEY_TEXT], b[KEY_TEXT];
    key_make(a);
    key_make(b);
    assert_int_equal(strlen(a), KEY_TEXT - 1);
    assert_memory_equal(a, "bb1_", 4);
    assert_string_not_equal(a, b);
    assert_true(key_shape(a));
    uint8_t x[DIGEST_BYTES], y[DIGEST_BYTES];
    key_hash(a, x);
    key_hash(b, y);
    assert_false(digest_same(x, y));
    key_hash(a, y);
    assert_true(digest_same(x, y));
    y[DIGEST_BYTES - 1] ^= 1;
    assert_false(digest_same(x, y));
    b[KEY_TEXT - 2] = '\0';
    assert_false(key_shape(b));
    a[10] = '+';
    assert_false(key_shape(a));
    assert_false(key_shape(""));
    assert_false(key_shape("bb1_"));
    assert_false(key_shape("bb2_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"));
    assert_true(key_shape("bb1_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"));
    assert_false(key_shape("bb1_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAB")); /* bits past the 256th */
    assert_false(key_shape("bb1_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"));
}

int main(void)
{
    if (!secrets_start() || !secrets_start())
        return 1;
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sha256_published),
        cmocka_unit_test(blake2b_published),
        cmocka_unit_test(keys),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
