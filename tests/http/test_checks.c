/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is refused from the head alone, with its status, its code and the headers that go with it.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

static struct stand s;
static struct speaker k;
static struct answer a;
static char text[512];

#define J   "Content-Type: application/json\r\n"
#define TWO "Content-Length: 2\r\n\r\n{}"

static void refusals(void **state)
{
    (void)state;
    static const struct {
        const char *request;
        int status;
        const char *code; /* NULL: not refused */
        const char *header, *value;
        bool closes;
    } cases[] = {
        {"GET /nowhere HTTP/1.1\r\nHost: a\r\n\r\n", 404, "unknown-path", NULL, NULL, false},
        {"DELETE /hello HTTP/1.1\r\nHost: a\r\n\r\n", 405, "method-not-allowed", "Allow", "GET, HEAD, OPTIONS", false},
        {"POST /echo/a HTTP/1.1\r\nHost: a\r\n\r\n", 405, "method-not-allowed", "Allow", "GET, HEAD, PUT, DELETE, OPTIONS", false},
        {"GET /made HTTP/1.1\r\nHost: a\r\n\r\n", 405, "method-not-allowed", "Allow", "POST, OPTIONS", false},
        {"OPTIONS /echo/a HTTP/1.1\r\nHost: a\r\n\r\n", 204, NULL, "Allow", "GET, HEAD, PUT, DELETE, OPTIONS", false},
        {"OPTIONS * HTTP/1.1\r\nHost: a\r\n\r\n", 204, NULL, NULL, NULL, false},
        {"OPTIONS /nowhere HTTP/1.1\r\nHost: a\r\n\r\n", 404, "unknown-path", NULL, NULL, false},
        {"GET /%2e%2e/etc HTTP/1.1\r\nHost: a\r\n\r\n", 400, "dot-segment", NULL, NULL, false},
        {"GET /hello?a=%zz HTTP/1.1\r\nHost: a\r\n\r\n", 400, "bad-percent-encoding", NULL, NULL, false},
        {"GET /hello?a=%ff HTTP/1.1\r\nHost: a\r\n\r\n", 400, "bad-utf-8", NULL, NULL, false},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n\r\n", 415, "media-type", "Accept", "application/json", false},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" J "\r\n", 200, NULL, NULL, NULL, false},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" TWO, 415, "media-type", "Accept", "application/json", true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nContent-Type: text/json\r\n" TWO, 415, "media-type", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nContent-Type: application/jsonx\r\n" TWO, 415, "media-type", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nContent-Type: application/json; charset=latin1\r\n" TWO, 415, "charset", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nContent-Type: Application/JSON ; Charset=\"UTF-8\"\r\n" TWO, 200, NULL, NULL, NULL, false},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" J "Content-Encoding: gzip\r\n" TWO, 415, "content-coding", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" J "Content-Encoding: identity\r\n" TWO, 200, NULL, NULL, NULL, false},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" J "Content-Length: 65537\r\n\r\n", 413, "too-large", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\n" J "Expect: 100-continue\r\nContent-Length: 65537\r\n\r\n", 413, "too-large", NULL, NULL,
         true},
        {"POST /weigh HTTP/1.1\r\nHost: a\r\nContent-Type: text/csv\r\nContent-Length: 3000001\r\n\r\n", 413, "too-large", NULL, NULL,
         true},
        {"POST /weigh HTTP/1.1\r\nHost: a\r\n" TWO, 415, "media-type", "Accept",
         "application/x-ndjson, application/ndjson, application/jsonl, text/csv", true},
        {"GET /hello HTTP/1.1\r\nHost: a\r\n" TWO, 413, "no-body-expected", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nOrigin: http://b\r\n" J TWO, 403, "cross-site", NULL, NULL, true},
        {"PUT /echo/a HTTP/1.1\r\nHost: a\r\nOrigin: http://a\r\n" J TWO, 200, NULL, NULL, NULL, false},
        {"DELETE /echo/a HTTP/1.1\r\nHost: a\r\nSec-Fetch-Site: cross-site\r\n" J "\r\n", 403, "cross-site", NULL, NULL, false},
        {"GET /hello HTTP/1.1\r\nHost: a\r\nSec-Fetch-Site: cross-site\r\nOrigin: http://b\r\n\r\n", 200, NULL, NULL, NULL, false},
    };
    stand_up(&s, (struct http_options){0});
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        dial_in(&s, &k);
        say(&k, cases[i].request);
        if (!hear(&k, &a, false))
            fail_msg("%s: no reply", cases[i].request);
        if (a.status != cases[i].status)
            fail_msg("%s: %d %s", cases[i].request, a.status, a.body);
        if (cases[i].code) {
            char member[80];
            snprintf(member, sizeof member, "\"code\":\"%s\"", cases[i].code);
            assert_non_null(strstr(a.body, member));
            assert_string_equal(header_of(&a, "Content-Type", text), "application/problem+json");
        }
        if (cases[i].header)
            assert_string_equal(header_of(&a, cases[i].header, text), cases[i].value);
        if (cases[i].closes) {
            assert_string_equal(header_of(&a, "Connection", text), "close");
            assert_true(hears_end(&k, 3000));
        } else { /* the connection goes on */
            say(&k, ROUTE("GET /hello") "\r\n");
            assert_true(hear(&k, &a, false));
            assert_int_equal(a.status, 200);
        }
        hang_up(&k);
    }
    stand_down(&s);
}

/* Names that were made to point to this machine get nothing from an open club. */
static void open_club_and_foreign_names(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.open = true});
    ask(&s, "GET /hello HTTP/1.1\r\nHost: rebound.example:8460\r\n", &a);
    assert_int_equal(a.status, 403);
    assert_non_null(strstr(a.body, "\"foreign-host\""));
    ask(&s, "GET http://rebound.example/hello HTTP/1.1\r\nHost: localhost\r\n", &a);
    assert_int_equal(a.status, 403);
    ask(&s, "GET /hello HTTP/1.1\r\nHost: 127.0.0.1:8460\r\n", &a);
    assert_int_equal(a.status, 200);
    ask(&s, "GET /hello HTTP/1.0\r\n", &a); /* no browser speaks so */
    assert_int_equal(a.status, 200);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(refusals), cmocka_unit_test(open_club_and_foreign_names)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
