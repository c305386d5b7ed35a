/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * If-None-Match compares weakly, If-Match strongly, in lists (RFC 9110, 8.8.3.2 and 13.1.2).
 */
#include "ground/etag.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void listed(void **state)
{
    (void)state;
    static const char *const values[] = {"\"a1\"",  "W/\"a1\"",      "\"b\", \"a1\"",          "\"b\",W/\"a1\"", " \"a1\" ",
                                         "*",       " * ",           "\"b\" , \"a1\" , \"c\"", ", ,\"a1\"",      "\"a,b\", \"a1\"",
                                         "\"a1\",", "W/\"\", \"a1\""};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        if (!etag_listed(values[i], "a1", ETAG_WEAK))
            fail_msg("%s", values[i]);
}

static void not_listed(void **state)
{
    (void)state;
    static const char *const values[] = {"",         "\"a\"",        "\"a12\"",       "a1",        "\"A1\"", "w/\"a1\"",
                                         "\"a1",     "\"b\" \"a1\"", "\"b\"; \"a1\"", "*, \"b\"",  "**",     "\"x\"*",
                                         "\"a,a1\"", "W\"a1\"",      "\"\"",          "\"b\", a1", ",",      "W/"};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        if (etag_listed(values[i], "a1", ETAG_WEAK))
            fail_msg("%s", values[i]);
}

static void strong(void **state)
{
    (void)state;
    assert_true(etag_listed("\"x\", \"a1\"", "a1", ETAG_STRONG));
    assert_false(etag_listed("W/\"a1\"", "a1", ETAG_STRONG));
    assert_true(etag_listed("W/\"a1\", \"a1\"", "a1", ETAG_STRONG));
    assert_true(etag_listed("*", "a1", ETAG_STRONG));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(listed), cmocka_unit_test(not_listed), cmocka_unit_test(strong)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
