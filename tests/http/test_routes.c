/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rules that every row of the daemon's own table must keep.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

static bool changes(const struct route *r)
{
    return (r->methods & (METHOD_PUT | METHOD_DELETE)) || ((r->methods & METHOD_POST) && strcmp(r->pattern, "/api/next-move") != 0);
}

/* Signing in and out: for programs and, as a form, for browsers without scripts. */
static bool of_sessions(const struct route *r)
{
    return !strcmp(r->pattern, "/api/session") || !strcmp(r->pattern, "/sign-in") || !strcmp(r->pattern, "/sign-out");
}

static void every_row(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++) {
        assert_int_equal(r->pattern[0], '/');
        assert_non_null(r->action);
        assert_true(r->methods != 0);
        for (const struct route *other = biasbook_routes; other < r; other++) /* no row hides another */
            if (strcmp(r->pattern, other->pattern) == 0)
                assert_int_equal(r->methods & other->methods, 0);
        /* a reader may sign in and out, and rotate or revoke their own keys; the action looks whose they are */
        bool own = of_sessions(r) || strncmp(r->pattern, "/api/members/{id}/keys/{key}", 28) == 0;
        if (changes(r) && !own && r->role < ROLE_LOGGER)
            fail_msg("%s may be changed without the role of a logger", r->pattern);
        if (r->run == RUN_WRITE && r->body == BODY_NONE)
            fail_msg("%s writes without a body", r->pattern);
        if (r->body == BODY_SPOOL)
            assert_int_equal(r->run, RUN_WORKER);
        if (r->methods & METHOD_GET)
            assert_int_equal(r->body, BODY_NONE);
        assert_true(route_largest_body(r) <= LIMIT_BODY_IMPORT);
    }
}

/* What a club lets in without a key: contract, section 2. */
static void open_without_a_key(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++)
        if (r->role == ROLE_NONE && strcmp(r->pattern, "/livez") != 0 && strcmp(r->pattern, "/readyz") != 0 && !of_sessions(r) &&
            strcmp(r->pattern, "/.well-known/security.txt") != 0) /* RFC 9116: for strangers */
            fail_msg("%s needs no key", r->pattern);
}

/* Public reading opens all but export and members. */
static void private_rows(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++) {
        bool private = strcmp(r->pattern, "/api/export") == 0 || strncmp(r->pattern, "/api/members", 12) == 0;
        assert_int_equal((r->flags & ROUTE_PRIVATE) != 0, private && (r->methods & METHOD_GET));
    }
}

/* An example path of each row finds that row, so that none stands behind one that catches its paths. */
static void every_row_is_reached(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++) {
        char path[200] = "";
        struct captures c;
        unsigned allowed;
        for (const char *p = r->pattern; *p; p++) {
            size_t n = strlen(path);
            if (*p == '{') {
                snprintf(path + n, sizeof path - n, "x");
                p = strchr(p, '}');
            } else {
                snprintf(path + n, sizeof path - n, "%c", *p);
            }
        }
        static const enum http_method methods[] = {HTTP_GET, HTTP_PUT, HTTP_POST, HTTP_DELETE};
        for (size_t m = 0; m < sizeof methods / sizeof *methods; m++)
            if (r->methods & (1u << methods[m]))
                assert_ptr_equal(route_find(biasbook_routes, path, methods[m], &c, &allowed), r);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_row),
        cmocka_unit_test(open_without_a_key),
        cmocka_unit_test(private_rows),
        cmocka_unit_test(every_row_is_reached),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
