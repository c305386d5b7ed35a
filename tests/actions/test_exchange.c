/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Faults become problem documents (RFC 9457), and which status a kind becomes is the contract's list.
 */
#include "actions/exchange.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static void kinds_and_statuses(void **state)
{
    (void)state;
    static const struct {
        enum fault_kind kind;
        int status, retry_after_s;
    } cases[] = {{FAULT_MALFORMED, 400, 0}, {FAULT_NO_KEY, 401, 0},       {FAULT_ROLE, 403, 0},         {FAULT_UNKNOWN, 404, 0},
                 {FAULT_METHOD, 405, 0},    {FAULT_CONFLICT, 409, 0},     {FAULT_PRECONDITION, 412, 0}, {FAULT_TOO_LARGE, 413, 0},
                 {FAULT_BODY_TYPE, 415, 0}, {FAULT_UNACCEPTABLE, 422, 0}, {FAULT_THROTTLED, 429, 1},    {FAULT_INTERNAL, 500, 0},
                 {FAULT_MEMORY, 500, 0},    {FAULT_BUSY, 503, 1},         {FAULT_STORE, 503, 1}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct reply r = {.file = -1};
        struct fault f = {0};
        char text[40];
        buffer_init(&r.body, 10000);
        fault_add(&f, cases[i].kind, "bias", "outside-dial", "keep it inside the dial");
        reply_fault(&r, &f);
        assert_int_equal(r.status, cases[i].status);
        assert_int_equal(r.retry_after_s, cases[i].retry_after_s);
        assert_string_equal(r.content_type, "application/problem+json");
        snprintf(text, sizeof text, "\"status\":%d", cases[i].status);
        assert_non_null(strstr(r.body.data, text));
        assert_non_null(strstr(r.body.data, "\"field\":\"bias\""));
        buffer_free(&r.body);
    }
}

/* What an action had begun to answer is gone. */
static void nothing_is_left(void **state)
{
    (void)state;
    struct fault f = {0};
    int fd = open("/dev/null", O_RDONLY);
    struct reply r = {.file = fd,
                      .fixed = "x",
                      .fixed_length = 1,
                      .etag = "e",
                      .location = "l",
                      .link = "k",
                      .cache_control = "c",
                      .file_name = "n",
                      .retry_after_s = 7};
    buffer_init(&r.body, 10000);
    buffer_text(&r.body, "half an answer");
    fault_add(&f, FAULT_BUSY, "", "busy", "come again");
    reply_fault(&r, &f);
    assert_int_equal(r.file, -1);
    assert_int_equal(fcntl(fd, F_GETFD), -1);
    assert_null(r.fixed);
    assert_string_equal(r.etag, "");
    assert_string_equal(r.location, "");
    assert_string_equal(r.link, "");
    assert_string_equal(r.cache_control, "");
    assert_string_equal(r.file_name, "");
    assert_int_equal(r.retry_after_s, 7); /* the action knew better */
    assert_null(strstr(r.body.data, "half an answer"));
    buffer_free(&r.body);
}

static void parameters(void **state)
{
    (void)state;
    struct request q = {.parameter_count = 3, .parameters = {{"deck", "a"}, {"deck", "b"}, {"at", ""}}};
    assert_string_equal(request_parameter(&q, "deck"), "a");
    assert_string_equal(request_parameter(&q, "at"), "");
    assert_null(request_parameter(&q, "stock"));
    assert_null(request_parameter(&q, "dec"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kinds_and_statuses),
        cmocka_unit_test(nothing_is_left),
        cmocka_unit_test(parameters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
