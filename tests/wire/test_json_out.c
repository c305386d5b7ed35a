/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * JSON that is written is JSON (RFC 8259), and UTF-8 that is taken is UTF-8 (RFC 3629). (json_out.c, utf8.c) */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/parse.h"
#include "wire/utf8.h"

#include <stdlib.h>
#include <string.h>

static const char *written(const char *text)
{
    static struct buffer b;
    buffer_free(&b);
    buffer_init(&b, 10000);
    json_text(&b, text);
    return b.data;
}

static void texts(void **state)
{
    (void)state;
    assert_string_equal(written("plain"), "\"plain\"");
    assert_string_equal(written(NULL), "\"\"");
    assert_string_equal(written("a\"b\\c/d"), "\"a\\\"b\\\\c/d\"");
    assert_string_equal(written("\n\r\t\b\f\x01\x7F"), "\"\\n\\r\\t\\u0008\\u000c\\u0001\\u007f\"");
    assert_string_equal(written("\xC3\xA9\xE2\x82\xAC\xF0\x9F\x8E\x9B"), "\"\xC3\xA9\xE2\x82\xAC\xF0\x9F\x8E\x9B\"");
    assert_string_equal(written("a\xFF"
                                "b\xC3"),
                        "\"a\xEF\xBF\xBD"
                        "b\xEF\xBF\xBD\"");
}

/* Eight bytes are looked at together: each of the 255 at each place among plain ones comes out as it does alone. */
static void every_byte_at_every_place(void **state)
{
    (void)state;
    for (int c = 1; c < 256; c++)
        for (int at = 0; at < 20; at++) {
            char alone[2] = {(char)c, 0}, text[21], want[40] = "\"aaaaaaaaaaaaaaaaaaaa";
            memset(text, 'a', 20);
            text[20] = '\0';
            text[at] = (char)c;
            const char *one = written(alone);
            size_t n = strlen(one) - 2;
            memcpy(want + 1 + at, one + 1, n);
            memset(want + 1 + at + n, 'a', (size_t)(19 - at));
            memcpy(want + 1 + n + 19, "\"", 2);
            assert_string_equal(written(text), want);
        }
}

/* Whatever bytes come: the result parses, and valid UTF-8 comes back as it was. */
static void any_bytes_parse(void **state)
{
    (void)state;
    srandom(11);
    for (int i = 0; i < 5000; i++) {
        char bytes[40];
        size_t n = (size_t)below(39);
        any_bytes(bytes, n, "\"\\\n\xC3\xA9 a");
        for (size_t k = 0; k < n; k++)
            bytes[k] = bytes[k] ? bytes[k] : 'x';
        bytes[n] = '\0';
        const char *json = written(bytes);
        struct document d;
        assert_true(document_parse(&d, json, strlen(json), NULL));
        if (utf8_valid(bytes, n))
            assert_string_equal(json_string_value(d.root), bytes);
        document_free(&d);
    }
}

static void members(void **state)
{
    (void)state;
    struct buffer b;
    buffer_init(&b, 1000);
    buffer_char(&b, '{');
    json_member_text(&b, "a", "x{");
    json_member_number(&b, "b", 0.1);
    json_member_number(&b, "c", ABSENT);
    json_member_fixed(&b, "d", 1.0 / 3, 2);
    json_member_whole(&b, "e", -7);
    json_member_flag(&b, "f", true);
    json_member_time(&b, "g", 0, 90);
    json_member_time(&b, "h", CLOCK_NONE, 0);
    json_name(&b, "i");
    buffer_char(&b, '[');
    buffer_char(&b, '{');
    json_member_flag(&b, "j", false);
    buffer_text(&b, "}]}");
    assert_string_equal(b.data, "{\"a\":\"x{\",\"b\":0.1,\"c\":null,\"d\":0.33,\"e\":-7,\"f\":true,\"g\":\"1970-01-01T01:30:00+01:30\","
                                "\"h\":null,\"i\":[{\"j\":false}]}");
    buffer_free(&b);
}

/* RFC 3629 section 3 and 4: the ends of each range, overlong forms, surrogates, past U+10FFFF. */
static void utf8(void **state)
{
    (void)state;
    static const char *const good[] = {"",
                                       "a",
                                       "\x7F",
                                       "\xC2\x80",
                                       "\xDF\xBF",
                                       "\xE0\xA0\x80",
                                       "\xED\x9F\xBF",
                                       "\xEE\x80\x80",
                                       "\xEF\xBF\xBF",
                                       "\xF0\x90\x80\x80",
                                       "\xF4\x8F\xBF\xBF"};
    static const char *const bad[] = {"\x80",
                                      "\xBF",
                                      "\xC0\x80",
                                      "\xC1\xBF",
                                      "\xC2",
                                      "\xC2\x41",
                                      "\xE0\x80\x80",
                                      "\xE0\x9F\xBF",
                                      "\xED\xA0\x80",
                                      "\xED\xBF\xBF",
                                      "\xE2\x82",
                                      "\xF0\x80\x80\x80",
                                      "\xF0\x8F\xBF\xBF",
                                      "\xF4\x90\x80\x80",
                                      "\xF5\x80\x80\x80",
                                      "\xFF",
                                      "\xFE",
                                      "\xF0\x9F\x8E"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(utf8_valid(good[i], strlen(good[i])));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(utf8_valid(bad[i], strlen(bad[i])));
    /* every code point, written by the definition, is one step and nothing else of its bytes is */
    for (unsigned long u = 0; u <= 0x10FFFF; u += u < 0x3000 ? 1 : 37) {
        char p[5] = {0};
        size_t n = u < 0x80 ? 1 : u < 0x800 ? 2 : u < 0x10000 ? 3 : 4;
        for (size_t k = n - 1; k > 0; k--)
            p[k] = (char)(0x80 | ((u >> (6 * (n - 1 - k))) & 0x3F));
        p[0] = (char)(n == 1 ? u : (0xF00 >> n & 0xFF) | (u >> (6 * (n - 1))));
        assert_int_equal(utf8_step(p, n), u >= 0xD800 && u < 0xE000 ? 0 : n);
        if (n > 1)
            assert_int_equal(utf8_step(p, n - 1), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(texts), cmocka_unit_test(every_byte_at_every_place), cmocka_unit_test(any_bytes_parse), cmocka_unit_test(members),
        cmocka_unit_test(utf8),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
