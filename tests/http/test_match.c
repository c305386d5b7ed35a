/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Paths against patterns.
 */
#include "stand.h"

#include <string.h>

static struct captures c;
static unsigned allowed;

static const char *found(const char *path, enum http_method method)
{
    const struct route *r = route_find(stand_routes, path, method, &c, &allowed);
    return r ? r->pattern : "";
}

static void literals_and_captures(void **state)
{
    (void)state;
    assert_string_equal(found("/hello", HTTP_GET), "/hello");
    assert_int_equal(c.count, 0);
    assert_string_equal(found("/hello", HTTP_HEAD), "/hello");
    assert_string_equal(found("/echo/deck-1", HTTP_GET), "/echo/{id}");
    assert_int_equal(c.count, 1);
    assert_string_equal(c.text[0], "deck-1");
    assert_string_equal(found("/echo/a/b", HTTP_GET), "/echo/{id}/{uuid}");
    assert_int_equal(c.count, 2);
    assert_string_equal(c.text[0], "a");
    assert_string_equal(c.text[1], "b");
    assert_string_equal(found("/echo/fixed/b", HTTP_GET), "/echo/fixed/{uuid}"); /* the earlier row */
    assert_int_equal(c.count, 1);
    assert_string_equal(found("/drawings/deck.svg", HTTP_GET), "/drawings/{id}.svg");
    assert_string_equal(c.text[0], "deck");
    assert_string_equal(found("/drawings/a.svg.svg", HTTP_GET), "/drawings/{id}.svg");
    assert_string_equal(c.text[0], "a.svg");
}

static void nothing_there(void **state)
{
    (void)state;
    static const char *const paths[] = {"/",      "/hell",    "/hello/",  "/hello/a",    "//hello",     "/Hello",         "/echo",
                                        "/echo/", "/echo//b", "/echo/a/", "/echo/a/b/c", "/drawings/a", "/drawings/.svg", "/drawings/a.png",
                                        "*",      "/{id}",    "/hello{"};
    for (size_t i = 0; i < sizeof paths / sizeof *paths; i++) {
        if (*found(paths[i], HTTP_GET))
            fail_msg("%s", paths[i]);
        assert_int_equal(allowed, 0);
    }
    char path[200] = "/echo/"; /* longer than any slug or UUID: no such thing */
    memset(path + 6, 'a', 100);
    assert_string_equal(found(path, HTTP_GET), "");
    path[6 + LIMIT_SLUG] = '\0';
    assert_string_equal(found(path, HTTP_GET), "/echo/{id}");
}

static void methods_allowed(void **state)
{
    (void)state;
    assert_string_equal(found("/echo/a", HTTP_POST), "");
    assert_int_equal(allowed, METHOD_GET | METHOD_PUT | METHOD_DELETE);
    assert_string_equal(found("/made", HTTP_GET), "");
    assert_int_equal(allowed, METHOD_POST);
    assert_string_equal(found("/hello", HTTP_OPTIONS), "");
    assert_int_equal(allowed, METHOD_GET);
}

static void what_a_body_kind_says(void **state)
{
    (void)state;
    struct route r = {.body = BODY_RECORD};
    assert_int_equal(route_largest_body(&r), LIMIT_BODY_RECORD);
    assert_string_equal(route_types(&r), "application/json");
    r.body = BODY_NONE;
    assert_int_equal(route_largest_body(&r), 0);
    assert_string_equal(route_types(&r), "");
    r.body = BODY_FORM;
    assert_int_equal(route_largest_body(&r), LIMIT_BODY_FORM);
    r.body = BODY_SPOOL;
    assert_int_equal(route_largest_body(&r), LIMIT_BODY_IMPORT);
    r.largest_body = 5;
    r.types = "text/plain";
    assert_int_equal(route_largest_body(&r), 5);
    assert_string_equal(route_types(&r), "text/plain");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(literals_and_captures),
        cmocka_unit_test(nothing_there),
        cmocka_unit_test(methods_allowed),
        cmocka_unit_test(what_a_body_kind_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
