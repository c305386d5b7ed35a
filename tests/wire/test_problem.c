/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Problem documents against RFC 9457 section 3.1: type, title, status, detail; about:blank has the status phrase as title (4.2.1). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "wire/parse.h"
#include "wire/wire.h"

#include <string.h>

static void two_faults(void **state)
{
    (void)state;
    struct fault f = {0};
    struct buffer b;
    struct document d;
    buffer_init(&b, 10000);
    fault_add(&f, FAULT_UNACCEPTABLE, "moves[3].bias", "outside-dial", "7 is outside \"the dial\"");
    fault_add(&f, FAULT_UNACCEPTABLE, "", "second", "another");
    wire_write_problem(&b, 422, &f);
    assert_true(document_parse_object(&d, b.data, b.length, NULL));
    assert_string_equal(json_string_value(json_object_get(d.root, "type")), "about:blank");
    assert_string_equal(json_string_value(json_object_get(d.root, "title")), "Unprocessable Content");
    assert_true(json_number_value(json_object_get(d.root, "status")) == 422);
    assert_string_equal(json_string_value(json_object_get(d.root, "detail")), "moves[3].bias: 7 is outside \"the dial\"");
    const json_t *errors = json_object_get(d.root, "errors");
    assert_int_equal(json_array_size(errors), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(errors, 0), "field")), "moves[3].bias");
    assert_string_equal(json_string_value(json_object_get(json_array_get(errors, 0), "code")), "outside-dial");
    assert_string_equal(json_string_value(json_object_get(json_array_get(errors, 1), "detail")), "another");
    document_free(&d);
    buffer_free(&b);
}

/* Phrases: RFC 9110 section 15, RFC 6585. */
static void titles(void **state)
{
    (void)state;
    static const struct {
        int status;
        const char *title;
    } cases[] = {{400, "Bad Request"},         {401, "Unauthorized"},          {403, "Forbidden"},
                 {404, "Not Found"},           {405, "Method Not Allowed"},    {409, "Conflict"},
                 {412, "Precondition Failed"}, {413, "Content Too Large"},     {415, "Unsupported Media Type"},
                 {429, "Too Many Requests"},   {500, "Internal Server Error"}, {503, "Service Unavailable"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct buffer b;
        buffer_init(&b, 1000);
        wire_write_problem(&b, cases[i].status, NULL);
        assert_non_null(strstr(b.data, cases[i].title));
        assert_non_null(strstr(b.data, "\"errors\":[]"));
        buffer_free(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_faults),
        cmocka_unit_test(titles),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
