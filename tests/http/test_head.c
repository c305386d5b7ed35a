/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Requests that two readers could frame differently. Each row is sent whole on one connection; exactly one reply must come, and the connection must
 * be closed behind it, so that what follows is never taken for a request.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

#define H     "Host: localhost\r\n"
#define J     "Content-Type: application/json\r\n"
#define INNER "GET /hello HTTP/1.1\r\n" H "\r\n" /* what an attacker wants to be taken for a request */

struct row {
    const char *reason;
    const char *bytes;
    size_t n; /* 0 = strlen */
    int status;
    bool head_repeated; /* libmicrohttpd 0.9.75 refuses it before it asks us, and sends its own reply's head twice before it closes */
};

static const struct row rows[] = {
    {"length and chunked", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n" INNER, 0, 400,
     false},
    {"chunked and length", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n0\r\n\r\n" INNER, 0, 400,
     false},
    {"chunked alone", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" INNER, 0, 411, false},
    {"chunked, bare line feeds", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: chunked\r\n\r\n2\n{}\n0\n\n" INNER, 0, 411, false},
    {"chunked on a GET", "GET /hello HTTP/1.1\r\n" H "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n" INNER, 0, 411, false},
    {"unknown coding", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: xchunked\r\n\r\n" INNER, 0, 411, false},
    {"coding with a vertical tab", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: \vchunked\r\n\r\n0\r\n\r\n" INNER, 0, 400, false},
    {"empty coding", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding:\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"two codings", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n\r\n0\r\n\r\n" INNER, 0,
     411, false},
    {"two lengths", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\r\nContent-Length: 40\r\n\r\n{}" INNER, 0, 400, false},
    {"two lengths, other order", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 40\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"two equal lengths", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"length list", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2, 2\r\n\r\n{}" INNER, 0, 400, true},
    {"negative length", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: -2\r\n\r\n{}" INNER, 0, 400, true},
    {"length with a plus", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: +2\r\n\r\n{}" INNER, 0, 400, true},
    {"hexadecimal length", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 0x2\r\n\r\n{}" INNER, 0, 400, true},
    {"length with junk", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2x\r\n\r\n{}" INNER, 0, 400, true},
    {"empty length", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length:\r\n\r\n{}" INNER, 0, 400, true},
    {"length past 64 bits", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 18446744073709551618\r\n\r\n{}" INNER, 0, 413, true},
    {"length past 63 bits", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 9223372036854775810\r\n\r\n{}" INNER, 0, 400, false},
    {"blank before the colon", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length : 2\r\n\r\n{}" INNER, 0, 400, false},
    {"tab before the colon", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length\t: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"blank before coding's colon", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n" INNER, 0, 400, false},
    {"folded length", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\r\n 0\r\n\r\n{}" INNER, 0, 400, false},
    {"folded coding", "PUT /echo/a HTTP/1.1\r\n" H J "Transfer-Encoding:\r\n chunked\r\n\r\n0\r\n\r\n" INNER, 0, 400, false},
    {"folded to make a length", "PUT /echo/a HTTP/1.1\r\n" H J "Content: 2\r\n -Length\r\n\r\n{}" INNER, 0, 400, false},
    {"folded, tab", "GET /hello HTTP/1.1\r\n" H "X-A: b\r\n\tc\r\n\r\n" INNER, 0, 400, false},
    {"folded twice", "GET /hello HTTP/1.1\r\n" H "X-A: b\r\n c\r\n d\r\n\r\n" INNER, 0, 400, false},
    {"blank before the first header", "GET /hello HTTP/1.1\r\n " H "\r\n" INNER, 0, 400, false},
    {"no host", "GET /hello HTTP/1.1\r\nX-A: b\r\n\r\n" INNER, 0, 400, false},
    {"no header at all", "GET /hello HTTP/1.1\r\n\r\n" INNER, 0, 400, false},
    {"two hosts", "GET /hello HTTP/1.1\r\n" H "Host: other\r\n\r\n" INNER, 0, 400, false},
    {"two equal hosts", "GET /hello HTTP/1.1\r\n" H H "\r\n" INNER, 0, 400, false},
    {"empty host", "GET /hello HTTP/1.1\r\nHost:\r\n\r\n" INNER, 0, 400, false},
    {"host with a path", "GET /hello HTTP/1.1\r\nHost: localhost/x\r\n\r\n" INNER, 0, 400, false},
    {"host with a user", "GET /hello HTTP/1.1\r\nHost: a@localhost\r\n\r\n" INNER, 0, 400, false},
    {"header without a colon", "GET /hello HTTP/1.1\r\n" H "Nonsense\r\n\r\n" INNER, 0, 400, false},
    {"header without a name", "GET /hello HTTP/1.1\r\n" H ": x\r\n\r\n" INNER, 0, 400, false},
    {"header without a name, first", "GET /hello HTTP/1.0\r\n: x\r\n" H "\r\n" INNER, 0, 400, false},
    {"header without a name hides a length", "PUT /echo/a HTTP/1.1\r\n" H J ": x\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"bare line feed after the request line", "GET /hello HTTP/1.1\n" H "\r\n" INNER, 0, 400, false},
    {"bare line feed after a header", "GET /hello HTTP/1.1\r\nHost: localhost\nX-A: b\r\n\r\n" INNER, 0, 400, false},
    {"bare line feed at the end", "GET /hello HTTP/1.1\r\n" H "\n" INNER, 0, 400, false},
    {"bare line feeds throughout", "GET /hello HTTP/1.1\nHost: localhost\n\n" INNER, 0, 400, false},
    {"two carriage returns", "GET /hello HTTP/1.1\r\nHost: localhost\r\r\n\r\n" INNER, 0, 400, false},
    {"quote in a header name", "GET /hello HTTP/1.1\r\n" H "X\"A: x\r\n\r\n" INNER, 0, 400, false},
    {"carriage return in a value", "GET /hello HTTP/1.1\r\n" H "X-A: b\rContent-Length: 5\r\n\r\n" INNER, 0, 400, false},
    {"control character in a value", "GET /hello HTTP/1.1\r\n" H "X-A: b\x01\r\n\r\n" INNER, 0, 400, false},
    {"two keys", "GET /hello HTTP/1.1\r\n" H "Authorization: Bearer a\r\nAuthorization: Bearer b\r\n\r\n" INNER, 0, 400, false},
    {"two content types", "PUT /echo/a HTTP/1.1\r\n" H J J "Content-Length: 2\r\n\r\n{}" INNER, 0, 400, false},
    {"unknown method", "BREW /hello HTTP/1.1\r\n" H "\r\n" INNER, 0, 501, false},
    {"method in lower case", "get /hello HTTP/1.1\r\n" H "\r\n" INNER, 0, 501, false},
    {"TRACE", "TRACE /hello HTTP/1.1\r\n" H "\r\n" INNER, 0, 501, false},
    {"CONNECT", "CONNECT localhost:1 HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"PATCH", "PATCH /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\r\n\r\n{}" INNER, 0, 501, false},
    {"no version", "GET /hello\r\n" H "\r\n" INNER, 0, 400, false},
    {"HTTP/2", "GET /hello HTTP/2.0\r\n" H "\r\n" INNER, 0, 505, false},
    {"HTTP/1.7", "GET /hello HTTP/1.7\r\n" H "\r\n" INNER, 0, 505, false},
    {"preface of HTTP/2", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 0, 505, false},
    {"encoded NUL in the path", "GET /hello%00 HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"encoded NUL in the query", "GET /hello?a=%00 HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"blank in the target", "GET /hel lo HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"fragment", "GET /hello#a HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"high byte in the target", "GET /hell\xc3\xb6 HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"no path", "GET hello HTTP/1.1\r\n" H "\r\n" INNER, 0, 400, false},
    {"unknown expectation", "PUT /echo/a HTTP/1.1\r\n" H J "Expect: 200-ok\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 417, false},
    {"NUL in the request line", "GET /hello\0 HTTP/1.1\r\n" H "\r\n" INNER, sizeof("GET /hello\0 HTTP/1.1\r\n" H "\r\n" INNER) - 1, 400,
     false},
    {"NUL in a header value", "GET /hello HTTP/1.1\r\n" H "X-A: b\0c\r\n\r\n" INNER,
     sizeof("GET /hello HTTP/1.1\r\n" H "X-A: b\0c\r\n\r\n" INNER) - 1, 400, false},
    {"NUL in a length", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\0009\r\n\r\n{}" INNER,
     sizeof("PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 2\0009\r\n\r\n{}" INNER) - 1, 400, false},
    {"NUL in a header name", "GET /hello HTTP/1.1\r\n" H "X\0A: b\r\n\r\n" INNER,
     sizeof("GET /hello HTTP/1.1\r\n" H "X\0A: b\r\n\r\n" INNER) - 1, 400, false},
    /* a body that is refused from the head: what the client still sends must not be taken for a request */
    {"body on a route without one", "GET /hello HTTP/1.1\r\n" H "Content-Length: 56\r\n\r\n" INNER INNER, 0, 413, false},
    {"body larger than the route takes", "PUT /echo/a HTTP/1.1\r\n" H J "Content-Length: 65537\r\n\r\n" INNER, 0, 413, false},
    {"body of another type", "PUT /echo/a HTTP/1.1\r\n" H "Content-Type: text/plain\r\nContent-Length: 2\r\n\r\n{}" INNER, 0, 415, false},
    {"body for an unknown path", "PUT /unknown HTTP/1.1\r\n" H J "Content-Length: 2\r\n\r\n{}" INNER, 0, 404, false},
};

static void one_reply_and_the_end(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k;
    static struct answer a;
    stand_up(&s, (struct http_options){0});
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct row *r = &rows[i];
        int before = atomic_load(&s.house.actions);
        dial_in(&s, &k);
        say_bytes(&k, r->bytes, r->n ? r->n : strlen(r->bytes));
        if (!hear(&k, &a, false))
            fail_msg("%s: no reply", r->reason);
        if (a.status != r->status)
            fail_msg("%s: %d instead of %d: %s", r->reason, a.status, r->status, a.body);
        if (r->head_repeated ? !hears_rest_and_end(&k, 3000) : !hears_end(&k, 3000))
            fail_msg("%s: the connection goes on: %.60s", r->reason, k.got);
        if (atomic_load(&s.house.actions) != before)
            fail_msg("%s: an action was called", r->reason);
        hang_up(&k);
    }
    stand_down(&s);
}

/* The same guards must let the ordinary through. */
static void ordinary_heads_pass(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k;
    static struct answer a;
    static const char *const heads[] = {
        "GET /hello HTTP/1.1\r\nHost: localhost:8460\r\n\r\n",
        "GET /hello HTTP/1.1\r\nHost: [::1]:8460\r\n\r\n",
        "GET /hello HTTP/1.1\r\nhost:localhost\r\nX-Empty:\r\nX-Tab: a\tb\r\nX-High: caf\xc3\xa9\r\n\r\n",
        "GET http://localhost/hello HTTP/1.1\r\nHost: localhost\r\n\r\n",
        "GET /hello?a=b&c HTTP/1.1\r\nHost: localhost\r\nCookie: a=b; c=d\r\nAccept: text/html\r\nAccept: */*\r\n\r\n",
        "GET /hello HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\n\r\n",
        "GET /hello HTTP/1.1\r\nHost: localhost \t\r\nX-Blank:   \r\nX-A:b \r\nX-B:\t c\t\r\n\r\n",
        "\r\nGET /hello HTTP/1.1\r\nHost: localhost\r\n\r\n",
    };
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    for (size_t i = 0; i < sizeof heads / sizeof *heads; i++) {
        say(&k, heads[i]);
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 200);
        assert_string_equal(a.body, "{\"hello\":true}");
    }
    hang_up(&k);
    stand_down(&s);
}

/* However the bytes of a head arrive, it is the same head. */
static void heads_in_pieces(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k;
    static struct answer a;
    static char head[12000];
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    static const char one[] = "GET /hello?a=b HTTP/1.1\r\nHost: localhost\r\nX-A: b\r\nX-B:\r\n\r\n";
    for (const char *p = one; *p; p++)
        say_bytes(&k, p, 1);
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    size_t n = (size_t)snprintf(head, sizeof head, "GET /hello HTTP/1.1\r\nHost: localhost\r\n");
    for (int i = 0; n < 6000; i++)
        n += (size_t)snprintf(head + n, sizeof head - n, "X-%d: %0*d\r\n", i, 1 + i % 90, 0);
    n += (size_t)snprintf(head + n, sizeof head - n, "\r\n");
    for (size_t step = 977; step < n; step *= 2) {
        for (size_t i = 0; i < n; i += step)
            say_bytes(&k, head + i, n - i < step ? n - i : step);
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 200);
    }
    hang_up(&k);
    stand_down(&s);
}

static void too_long_heads(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k;
    static struct answer a;
    static char text[60000];
    stand_up(&s, (struct http_options){0});
    static const struct {
        const char *before;
        int n;
        const char *after;
        int status;
    } cases[] = {
        {"GET /hello?a=", 4000, " HTTP/1.1\r\nHost: localhost\r\n\r\n", 200},
        {"GET /hello?a=", 4200, " HTTP/1.1\r\nHost: localhost\r\n\r\n", 414},
        {"GET /hello?a=", 50000, " HTTP/1.1\r\nHost: localhost\r\n\r\n", 414},
        {"GET /hello HTTP/1.1\r\nHost: localhost\r\nX-A: ", 5000, "\r\n\r\n", 200},
        {"GET /hello HTTP/1.1\r\nHost: localhost\r\nX-A: ", 50000, "\r\n\r\n", 431},
        {"GET /hello HTTP/1.1\r\nHost: ", 300, "\r\n\r\n", 400},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        dial_in(&s, &k);
        memset(text, 'a', sizeof text);
        say(&k, cases[i].before);
        say_bytes(&k, text, (size_t)cases[i].n);
        say(&k, cases[i].after);
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, cases[i].status);
        if (a.status != 200)
            assert_true(hears_end(&k, 3000) || k.got_n == 0);
        hang_up(&k);
    }
    stand_down(&s);
}

/* Heads damaged at random (fixed seed): whatever comes, the next client is served. */
static void damaged_heads(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k;
    static struct answer a;
    static const char pieces[][12] = {"\r\n", "\n", "\r", " ", ":",        "\0",    "\t",      "%",
                                      "%00",  "?",  "&",  "=", "\r\n\r\n", "\r\n ", "Host: a", "\xff"};
    unsigned random = 20;
    stand_up(&s, (struct http_options){0});
    for (int i = 0; i < 1000; i++) {
        char bytes[600];
        const struct row *r = &rows[(size_t)i % (sizeof rows / sizeof *rows)];
        size_t n = r->n ? r->n : strlen(r->bytes);
        memcpy(bytes, r->bytes, n);
        for (int damage = 0; damage < 1 + i % 4; damage++) {
            random = random * 1103515245 + 12345;
            const char *piece = pieces[random >> 16 & 15];
            size_t at = (random >> 20) % n, piece_n = *piece ? strlen(piece) : 1;
            if (at + piece_n <= n)
                memcpy(bytes + at, piece, piece_n);
        }
        dial_in(&s, &k);
        say_bytes(&k, bytes, n);
        if (i % 3 == 0)
            hears_nothing(&k, 5);
        hang_up(&k);
    }
    ask(&s, ROUTE("GET /hello"), &a);
    assert_int_equal(a.status, 200);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_reply_and_the_end), cmocka_unit_test(ordinary_heads_pass), cmocka_unit_test(heads_in_pieces),
        cmocka_unit_test(too_long_heads),        cmocka_unit_test(damaged_heads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
