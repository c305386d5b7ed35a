/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The role table, made from the routes table itself: every path with every method by nobody, a stranger, a reader, a logger and a steward, in a closed and
 * in a readable club. The contract: 401 without a key or with a wrong one, 403 when the role does not reach, 405 for other methods, else whatever the
 * action says. Prints the table.
 */
#include "daemon.h"

#include "http/routes.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { NOBODY, STRANGER, READER, LOGGER, STEWARD, CALLERS };
static const char *const names[CALLERS] = {"nobody", "stranger", "reader", "logger", "steward"};
static const enum role roles[CALLERS] = {ROLE_NONE, ROLE_NONE, ROLE_READER, ROLE_LOGGER, ROLE_STEWARD};
static char keys[CALLERS][100]; /* header lines */
static struct daemon closed, readable;

static const struct {
    const char *name;
    enum http_method method;
} methods[] = {{"GET", HTTP_GET}, {"PUT", HTTP_PUT}, {"POST", HTTP_POST}, {"DELETE", HTTP_DELETE}};

static void new_key(char header[100], const char *const *args)
{
    char out[400];
    assert_int_equal(run_verb(args, out, sizeof out), 0);
    const char *key = strstr(out, "bb1_");
    assert_non_null(key);
    snprintf(header, 100, "Authorization: Bearer %.47s", key);
}

static int start(void **state)
{
    (void)state;
    char *db = strdup(scratch_path("roles.db"));
    new_key(keys[STEWARD], (const char *const[]){"init", "--db", db, NULL});
    new_key(keys[READER], (const char *const[]){"member", "add", "--db", db, "--name", "R", "--role", "reader", NULL});
    new_key(keys[LOGGER], (const char *const[]){"member", "add", "--db", db, "--name", "L", "--role", "logger", NULL});
    snprintf(keys[STRANGER], sizeof keys[0], "Authorization: Bearer bb1_%043d", 0);
    daemon_start(&closed, (const char *const[]){"serve", "--db", db, "--listen", "127.0.0.1:0", NULL});
    daemon_start(&readable, (const char *const[]){"serve", "--db", db, "--public-read", "--listen", "127.0.0.1:0", NULL});
    free(db);
    return 0;
}

static int stop(void **state)
{
    (void)state;
    return daemon_stop(&closed) || daemon_stop(&readable);
}

/* A path that only this row's pattern fits; nothing in the club is meant by it. */
static void example(const char *pattern, char out[300])
{
    size_t n = 0;
    while (*pattern) {
        if (*pattern != '{') {
            out[n++] = *pattern++;
            continue;
        }
        const char *what = strncmp(pattern, "{uuid}", 6) == 0  ? "0190a3de-89ab-7def-8123-456789abcdef"
                           : strncmp(pattern, "{key}", 5) == 0 ? "99"
                                                               : "98";
        n += (size_t)snprintf(out + n, 300 - n, "%s", what);
        pattern = strchr(pattern, '}') + 1;
    }
    out[n] = 0;
}

/* The row for a method, or NULL; *taken: the methods any row of this pattern takes. */
static const struct route *row_of(const char *pattern, enum http_method method, unsigned *taken)
{
    const struct route *found = NULL;
    *taken = 0;
    for (const struct route *r = biasbook_routes; r->pattern; r++)
        if (!strcmp(r->pattern, pattern)) {
            *taken |= r->methods;
            if (r->methods & (1u << method))
                found = r;
        }
    return found;
}

static bool sent_body(const struct route *r)
{
    return r && r->body != BODY_NONE;
}

static struct answer call(const struct daemon *d, const struct route *r, const char *method, const char *path, int caller)
{
    char header[700];
    const char *type = !sent_body(r)           ? NULL
                       : r->body == BODY_FORM  ? "application/x-www-form-urlencoded"
                       : r->body == BODY_SPOOL ? "application/x-ndjson"
                                               : "application/json";
    snprintf(header, sizeof header, "%s%s%s%.90s", type ? "Content-Type: " : "", type ? type : "", type && *keys[caller] ? "\r\n" : "",
             keys[caller]);
    return ask(d, method, path,
               sent_body(r) ? (r->body == BODY_SPOOL  ? "\n"
                               : r->body == BODY_FORM ? "a=b"
                                                      : "{}")
                            : NULL,
               *header ? header : NULL);
}

static bool let_in(const struct route *r, int caller, bool public_read)
{
    if (r->role == ROLE_NONE || roles[caller] >= r->role)
        return true;
    return public_read && caller == NOBODY && (r->methods & METHOD_GET) && r->role == ROLE_READER && !(r->flags & ROUTE_PRIVATE);
}

static void expect(const struct route *r, const char *method, const char *path, int caller, bool public_read, const struct answer *a)
{
    bool looks_at_keys = r->role != ROLE_NONE || (r->flags & ROUTE_WHO);
    if (caller == STRANGER && looks_at_keys) {
        if (a->status != 401 && a->status != 429)
            fail_msg("%s %s: a wrong key is answered %ld", method, path, a->status);
        return;
    }
    long status = a->status;
    bool inside = let_in(r, caller, public_read);
    /* within a route that a reader may call, whose keys they are decides */
    bool own_only = strncmp(r->pattern, "/api/members/{id}/keys", 22) == 0 && status == 403 && strstr(a->body, "not-yours");
    if (inside ? (status == 401 || (status == 403 && !own_only) || status == 405 || status >= 500)
               : status != (caller == NOBODY ? 401 : 403))
        fail_msg("%s %s by %s%s: %ld %s", method, path, names[caller], public_read ? " in a readable club" : "", status, a->body);
}

static void walk(const struct daemon *d, bool public_read)
{
    const char *last = "";
    print_message("%-7s %-52s %-8s %-8s %-8s %-8s\n", "", public_read ? "readable club" : "closed club", "nobody", "reader", "logger",
                  "steward");
    for (const struct route *first = biasbook_routes; first->pattern; first++) {
        char path[300];
        if (!strcmp(first->pattern, last))
            continue;
        last = first->pattern;
        example(first->pattern, path);
        for (size_t m = 0; m < sizeof methods / sizeof *methods; m++) {
            unsigned taken;
            long got[CALLERS] = {0};
            const struct route *r = row_of(first->pattern, methods[m].method, &taken);
            for (int caller = 0; caller < CALLERS; caller++) {
                struct answer a = call(d, r, methods[m].name, path, caller);
                got[caller] = a.status;
                if (r)
                    expect(r, methods[m].name, path, caller, public_read, &a);
                else if (a.status != 405)
                    fail_msg("%s %s: %ld instead of 405", methods[m].name, path, a.status);
                answer_free(&a);
            }
            if (r)
                print_message("%-7s %-52s %-8ld %-8ld %-8ld %-8ld\n", methods[m].name, first->pattern, got[NOBODY], got[READER],
                              got[LOGGER], got[STEWARD]);
        }
    }
}

static void a_closed_club(void **state)
{
    (void)state;
    walk(&closed, false);
}

static void a_readable_club(void **state)
{
    (void)state;
    walk(&readable, true);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_closed_club), cmocka_unit_test(a_readable_club)};
    return cmocka_run_group_tests(tests, start, stop);
}
