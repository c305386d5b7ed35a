/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Parsing: what is not JSON, how deep, and that the memory taken before a parse is always enough for it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/parse.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void refused(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum fault_kind kind;
        const char *field, *code;
    } cases[] = {
        {"", FAULT_MALFORMED, "", "not-json"},
        {" ", FAULT_MALFORMED, "", "not-json"},
        {"{", FAULT_MALFORMED, "", "not-json"},
        {"{}x", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":1,}", FAULT_MALFORMED, "", "not-json"},
        {"{a:1}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":01}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":1e999}", FAULT_MALFORMED, "", "not-json"}, /* not finite */
        {"{\"a\":NaN}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":Infinity}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":\"\\u0000\"}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":\"\xFF\"}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":\"\n\"}", FAULT_MALFORMED, "", "not-json"},
        {"{\"a\":\"\\ud800\"}", FAULT_MALFORMED, "", "not-json"},
        {"[[[[[[[[[1]]]]]]]]]", FAULT_MALFORMED, "", "too-deep"},
        {"{\"bias\":1,\"level\":2,\"bias\":3}", FAULT_UNACCEPTABLE, "bias", "duplicate-member"},
        {"[]", FAULT_UNACCEPTABLE, "", "not-an-object"},
        {"1", FAULT_UNACCEPTABLE, "", "not-an-object"},
        {"null", FAULT_UNACCEPTABLE, "", "not-an-object"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct fault f = {0};
        struct document d;
        if (document_parse_object(&d, cases[i].text, strlen(cases[i].text), &f) || f.kind != cases[i].kind || f.count != 1 ||
            strcmp(f.items[0].field, cases[i].field) || strcmp(f.items[0].code, cases[i].code))
            fail_msg("%s: %s %s", cases[i].text, f.items[0].field, f.items[0].code);
        document_free(&d);
    }
}

static void taken(void **state)
{
    (void)state;
    struct document d;
    static const char deep[] = "{\"a\":[[[[[[[1]]]]]]],\"b\":\"[[[[[[[[[[\\\"\"}", large[] = "{\"a\":123456789012345678901234567890}";
    assert_true(document_parse_object(&d, deep, sizeof deep - 1, NULL)); /* brackets in a text are no depth */
    document_free(&d);
    assert_true(document_parse_object(&d, large, sizeof large - 1, NULL)); /* an integer of any size is a number */
    assert_true(json_number_value(json_object_get(d.root, "a")) == 123456789012345678901234567890.0);
    document_free(&d);
}

static void values_round(void **state)
{
    (void)state;
    static const char text[] = "{\"z\":[1,-2.5,1e+30,true,false,null,\"x\\ny\",{},[]],\"a\":{\"b\":\"\xC3\xA9\"}}";
    struct document d;
    struct buffer b;
    buffer_init(&b, 1000);
    assert_true(document_parse(&d, text, sizeof text - 1, NULL));
    json_value(&b, d.root);
    assert_string_equal(b.data, text);
    document_free(&d);
    buffer_free(&b);
}

/* With one allocation allowed and not a second, every text parses as it does with any number: the bound holds. */
static bool parses_in_one_block(const char *text, size_t n)
{
    struct document d;
    struct fault f = {0};
    mem_fail_at(2, 1);
    bool fine = document_parse(&d, text, n, &f);
    mem_fail_at(0, 0);
    document_free(&d);
    assert_true(f.kind != FAULT_MEMORY);
    return fine;
}

static void memory_is_enough(void **state)
{
    (void)state;
    static char text[LIMIT_LINE];
    static const char *const pieces[] = {
        "0,", "\"\",", "[],", "{},", "[[[[[0]]]]],", "{\"a\":0},", "{\"a\":{\"b\":{\"c\":\"\"}}},", "\"\\u00e9\","};
    for (size_t p = 0; p < sizeof pieces / sizeof *pieces; p++) { /* as many small things as a line holds */
        size_t n = strlen(pieces[p]), used = 0;
        text[used++] = '[';
        while (used + n + 2 < sizeof text) {
            memcpy(text + used, pieces[p], n);
            used += n;
        }
        text[used - 1] = ']';
        assert_true(parses_in_one_block(text, used));
    }
    for (size_t count = 1; count < 12000; count = count * 3 / 2 + 1) { /* members of one object, with short names */
        size_t used = 0;
        text[used++] = '{';
        for (size_t i = 0; i < count && used < sizeof text - 20; i++)
            used += (size_t)snprintf(text + used, 20, "\"%zx\":%zu,", i, i % 10);
        text[used - 1] = '}';
        assert_true(parses_in_one_block(text, used));
    }
    for (size_t n = 1; n < sizeof text - 2; n = n * 5 / 4 + 1) { /* one long text */
        memset(text, 'a', n + 2);
        text[0] = text[n + 1] = '"';
        assert_true(parses_in_one_block(text, n + 2));
    }
}

static void memory_is_enough_for_nonsense(void **state)
{
    (void)state;
    srandom(12);
    for (int i = 0; i < 20000; i++) {
        char bytes[200];
        size_t n = (size_t)below(sizeof bytes);
        any_bytes(bytes, n, "{}[]\",:\\0a ");
        parses_in_one_block(bytes, n);
    }
}

static void no_memory(void **state)
{
    (void)state;
    struct document d;
    struct fault f = {0};
    mem_fail_at(1, 0);
    assert_false(document_parse(&d, "{}", 2, &f));
    mem_fail_at(0, 0);
    assert_int_equal(f.kind, FAULT_MEMORY);
    document_free(&d);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(refused),
        cmocka_unit_test(taken),
        cmocka_unit_test(values_round),
        cmocka_unit_test(memory_is_enough),
        cmocka_unit_test(memory_is_enough_for_nonsense),
        cmocka_unit_test(no_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
