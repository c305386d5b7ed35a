/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Replies: headers, tags, HEAD, files, and what an action left unusable.
 */
#include "stand.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct stand s;
static struct speaker k;
static struct answer a;
static char text[512];

static void get(const char *request)
{
    say(&k, request);
    say(&k, "\r\n");
    assert_true(hear(&k, &a, strncmp(request, "HEAD", 4) == 0));
}

static void headers_of_data(void **state)
{
    (void)state;
    static const char *const asks[] = {ROUTE("GET /hello"), ROUTE("GET /nowhere"), ROUTE("HEAD /hello"), ROUTE("OPTIONS /hello"),
                                       ROUTE("GET /file")};
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    for (size_t i = 0; i < sizeof asks / sizeof *asks; i++) {
        get(asks[i]);
        assert_string_equal(header_of(&a, "X-Content-Type-Options", text), "nosniff");
        assert_string_equal(header_of(&a, "Cache-Control", text), "no-store");
        assert_string_equal(header_of(&a, "Referrer-Policy", text), "no-referrer");
        assert_string_equal(header_of(&a, "Cross-Origin-Resource-Policy", text), "same-origin");
        assert_string_equal(header_of(&a, "Content-Security-Policy", text), "default-src 'none'; frame-ancestors 'none'");
        assert_int_equal(headers_of(&a, "Content-Length"), a.status != 204);
        assert_int_equal(headers_of(&a, "Date"), 1);
        assert_int_equal(headers_of(&a, "Server"), 0);
        assert_int_equal(headers_of(&a, "Access-Control-Allow-Origin"), 0);
    }
    hang_up(&k);
    stand_down(&s);
}

static void tags(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    get(ROUTE("GET /hello?etag=7-1"));
    assert_int_equal(a.status, 200);
    assert_string_equal(header_of(&a, "ETag", text), "\"7-1\"");
    static const struct {
        const char *request;
        int status;
    } cases[] = {
        {ROUTE("GET /hello?etag=7-1") "If-None-Match: \"7-1\"\r\n", 304},
        {ROUTE("HEAD /hello?etag=7-1") "If-None-Match: W/\"7-1\"\r\n", 304},
        {ROUTE("GET /hello?etag=7-1") "If-None-Match: \"6\"\r\nIf-None-Match: \"7-1\"\r\n", 304},
        {ROUTE("GET /hello?etag=7-1") "If-None-Match: *\r\n", 304},
        {ROUTE("GET /hello?etag=7-1") "If-None-Match: \"7\"\r\n", 200},
        {ROUTE("GET /hello") "If-None-Match: *\r\n", 200},
        {ROUTE("GET /nowhere") "If-None-Match: *\r\n", 404},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        get(cases[i].request);
        assert_int_equal(a.status, cases[i].status);
        if (a.status != 304)
            continue;
        assert_string_equal(header_of(&a, "ETag", text), "\"7-1\"");
        assert_int_equal(a.body_n, 0);
        if (headers_of(&a, "Content-Length")) /* if stated, then that of the 200 (RFC 9110, 8.6) */
            assert_int_equal(atoi(header_of(&a, "Content-Length", text)), strlen("{\"hello\":true}"));
    }
    get(ROUTE("GET /hello")); /* and no byte of a body came behind a 304 */
    assert_int_equal(a.status, 200);
    hang_up(&k);
    stand_down(&s);
}

static void files(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    for (int i = 0; i < 3; i++) {
        get(ROUTE("GET /file"));
        assert_int_equal(a.status, 200);
        assert_int_equal(a.body_n, 10000);
        assert_memory_equal(a.body + 9990, "0123456789", 10);
        assert_string_equal(header_of(&a, "Content-Disposition", text), "attachment; filename=\"club.ndjson\"");
        get(ROUTE("HEAD /file"));
        assert_string_equal(header_of(&a, "Content-Length", text), "10000");
    }
    hang_up(&k);
    stand_down(&s);
}

static void rarer_headers(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    say(&k, ROUTE("POST /made") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 201);
    assert_string_equal(header_of(&a, "Location", text), "./made/1");
    assert_string_equal(header_of(&a, "Link", text), "<./made?after=1>; rel=\"next\"");
    get(ROUTE("GET /hello")); /* not carried over */
    assert_int_equal(headers_of(&a, "Location") + headers_of(&a, "Link"), 0);
    hang_up(&k);
    stand_down(&s);
}

static void unusable_replies(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    get(ROUTE("GET /nothing"));
    assert_int_equal(a.status, 500);
    assert_non_null(strstr(a.body, "\"unanswered\""));
    get(ROUTE("GET /too-long"));
    assert_int_equal(a.status, 500);
    assert_non_null(strstr(a.body, "\"out-of-memory\""));
    get(ROUTE("GET /hello"));
    assert_int_equal(a.status, 200);
    hang_up(&k);
    stand_down(&s);
}

/* RFC 9457, 3: the members a problem document has, and that its status is the reply's. */
static void problem_documents(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    get(ROUTE("GET /nowhere"));
    assert_string_equal(header_of(&a, "Content-Type", text), "application/problem+json");
    static const char *const members[] = {"\"type\"",  "\"title\"", "\"status\":404", "\"errors\"", "\"code\":\"unknown-path\"",
                                          "\"detail\""};
    for (size_t i = 0; i < sizeof members / sizeof *members; i++)
        if (!strstr(a.body, members[i]))
            fail_msg("%s not in %s", members[i], a.body);
    hang_up(&k);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(headers_of_data),
        cmocka_unit_test(tags),
        cmocka_unit_test(files),
        cmocka_unit_test(rarer_headers),
        cmocka_unit_test(unusable_replies),
        cmocka_unit_test(problem_documents),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
