/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Pages and their parts, from a folder and from the binary.
 */
#include "stand.h"

#include "ground/embedded.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct stand s;
static struct answer a;
static char text[512], folder[] = "/tmp/biasbook-test-XXXXXX";

static void write_file(const char *name, const char *content)
{
    char path[200];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs(content, f);
    fclose(f);
}

static void get(const char *path, const char *more)
{
    char bytes[1200];
    snprintf(bytes, sizeof bytes, "GET %s HTTP/1.1\r\nHost: localhost\r\n%s", path, more);
    ask(&s, bytes, &a);
}

static void from_a_folder(void **state)
{
    (void)state;
    static const char *const names[][2] = {{"index.html", "text/html; charset=utf-8"},
                                           {"page-2.html", "text/html; charset=utf-8"},
                                           {"log.js", "text/javascript; charset=utf-8"},
                                           {"ledger.css", "text/css; charset=utf-8"},
                                           {"mark.svg", "image/svg+xml"},
                                           {"app.webmanifest", "application/manifest+json"},
                                           {"other.bin", "application/octet-stream"}};
    assert_non_null(mkdtemp(folder));
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        write_file(names[i][0], names[i][0]);
    write_file(".hidden", "secret");
    stand_up(&s, (struct http_options){.static_dir = folder});
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        snprintf(text, sizeof text, "/%s", names[i][0]);
        get(text, "");
        assert_int_equal(a.status, 200);
        assert_string_equal(a.body, names[i][0]);
        assert_string_equal(header_of(&a, "Content-Type", text), names[i][1]);
        assert_string_equal(header_of(&a, "Cache-Control", text), "no-cache");
    }
    static const char *const nowhere[] = {"/.hidden",           "/nothing.html",   "/Index.html",  "/..",
                                          "/%2e%2e/index.html", "/sub/index.html", "/index.html/", "/index.html%20"};
    for (size_t i = 0; i < sizeof nowhere / sizeof *nowhere; i++) {
        get(nowhere[i], "");
        if (a.status != 404 && a.status != 400)
            fail_msg("%s: %d", nowhere[i], a.status);
    }
    stand_down(&s);
}

static void tags_follow_the_bytes(void **state)
{
    (void)state;
    char tag[64], more[120];
    stand_up(&s, (struct http_options){.static_dir = folder});
    get("/", "");
    assert_string_equal(a.body, "index.html");
    snprintf(tag, sizeof tag, "%s", header_of(&a, "ETag", text));
    assert_int_equal(strlen(tag), 34);
    snprintf(more, sizeof more, "If-None-Match: %s\r\n", tag);
    get("/", more);
    assert_int_equal(a.status, 304);
    get("/index.html", more);
    assert_int_equal(a.status, 304);
    get("/page-2.html", more);
    assert_int_equal(a.status, 200);
    write_file("index.html", "changed");
    get("/", more);
    assert_int_equal(a.status, 200);
    assert_string_equal(a.body, "changed");
    stand_down(&s);
}

static void policies(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.static_dir = folder});
    static const char *const pages[] = {"/", "/mark.svg", "/log.js"};
    for (int i = 0; i < 3; i++) {
        get(pages[i], "");
        header_of(&a, "Content-Security-Policy", text);
        static const char *const parts[] = {"default-src 'none'", "script-src 'self'",  "frame-ancestors 'none'",
                                            "base-uri 'none'",    "form-action 'self'", "connect-src 'self'"};
        for (size_t p = 0; p < sizeof parts / sizeof *parts; p++)
            assert_non_null(strstr(text, parts[p]));
        assert_null(strstr(text, "unsafe"));
        assert_string_equal(header_of(&a, "Cross-Origin-Opener-Policy", text), "same-origin");
    }
    stand_down(&s);
}

static void methods(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.static_dir = folder});
    ask(&s, ROUTE("HEAD /ledger.css"), &a);
    assert_int_equal(a.status, 200);
    assert_string_equal(header_of(&a, "Content-Length", text), "10");
    ask(&s, ROUTE("PUT /ledger.css"), &a);
    assert_int_equal(a.status, 405);
    assert_string_equal(header_of(&a, "Allow", text), "GET, HEAD, OPTIONS");
    ask(&s, ROUTE("OPTIONS /ledger.css"), &a);
    assert_int_equal(a.status, 204);
    get("/favicon.ico", "");
    assert_int_equal(a.status, 204);
    stand_down(&s);
    snprintf(text, sizeof text, "rm -r '%s'", folder);
    assert_int_equal(system(text), 0);
}

static void from_the_binary(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    for (const struct embedded *e = embedded_static; e->name; e++) {
        snprintf(text, sizeof text, "/%s", e->name);
        get(text, "");
        assert_int_equal(a.status, 200);
        assert_int_equal((size_t)atol(header_of(&a, "Content-Length", text)), embedded_length(e));
        assert_memory_equal(a.body, e->data, a.body_n);
        assert_string_not_equal(header_of(&a, "Content-Type", text), "application/octet-stream");
    }
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(from_a_folder), cmocka_unit_test(tags_follow_the_bytes), cmocka_unit_test(policies),
        cmocka_unit_test(methods),       cmocka_unit_test(from_the_binary),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
