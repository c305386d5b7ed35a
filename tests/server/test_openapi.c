/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The document that machines read names exactly what the routes table answers: paths, methods, roles, media types, what a path captures. Whether the answers keep
 * to it is tested from outside (tests/openapi).
 */
#include "daemon.h"

#include "ground/embedded.h"
#include "http/routes.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static json_t *document;

static int read_document(void **state)
{
    (void)state;
    json_error_t e;
    document = json_loadb((const char *)embedded_openapi[0].data, embedded_length(&embedded_openapi[0]), JSON_REJECT_DUPLICATES, &e);
    if (!document)
        print_message("openapi.json:%d: %s\n", e.line, e.text);
    return document ? 0 : -1;
}

static int forget_document(void **state)
{
    (void)state;
    json_decref(document);
    return 0;
}

static const struct {
    unsigned bit;
    const char *name;
} methods[] = {{METHOD_GET, "get"}, {METHOD_PUT, "put"}, {METHOD_POST, "post"}, {METHOD_DELETE, "delete"}};

static const struct route *row_of(const char *path, unsigned bit)
{
    for (const struct route *r = biasbook_routes; r->pattern; r++)
        if (!strcmp(r->pattern, path) && (r->methods & bit))
            return r;
    return NULL;
}

static void each_row_is_in_the_document(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++)
        for (size_t m = 0; m < sizeof methods / sizeof *methods; m++)
            if ((r->methods & methods[m].bit) &&
                !json_object_get(json_object_get(json_object_get(document, "paths"), r->pattern), methods[m].name))
                fail_msg("%s %s is not in openapi.json", methods[m].name, r->pattern);
}

static void nothing_else_is(void **state)
{
    (void)state;
    const char *path, *name;
    json_t *item, *operation;
    json_object_foreach(json_object_get(document, "paths"), path, item)
    {
        json_object_foreach(item, name, operation)
        {
            unsigned bit = 0;
            for (size_t m = 0; m < sizeof methods / sizeof *methods; m++)
                if (!strcmp(methods[m].name, name))
                    bit = methods[m].bit;
            if (!bit || !row_of(path, bit))
                fail_msg("openapi.json has %s %s, which nothing answers", name, path);
        }
    }
}

static bool declares(json_t *operation, const char *capture, size_t n)
{
    size_t i;
    json_t *p;
    json_array_foreach(json_object_get(operation, "parameters"), i, p)
    {
        const char *to = json_string_value(json_object_get(p, "$ref"));
        if (to)
            p = json_object_get(json_object_get(json_object_get(document, "components"), "parameters"), strrchr(to, '/') + 1);
        const char *name = json_string_value(json_object_get(p, "name")), *where = json_string_value(json_object_get(p, "in"));
        if (name && where && !strcmp(where, "path") && strlen(name) == n && !strncmp(name, capture, n))
            return true;
    }
    return false;
}

static void roles_bodies_and_captures_agree(void **state)
{
    (void)state;
    static const char *const roles[] = {NULL, "reader", "logger", "steward"};
    for (const struct route *r = biasbook_routes; r->pattern; r++)
        for (size_t m = 0; m < sizeof methods / sizeof *methods; m++) {
            if (!(r->methods & methods[m].bit))
                continue;
            json_t *o = json_object_get(json_object_get(json_object_get(document, "paths"), r->pattern), methods[m].name);
            const char *role = json_string_value(json_object_get(o, "x-role"));
            if (r->role == ROLE_NONE ? role != NULL : !role || strcmp(role, roles[r->role]))
                fail_msg("%s %s: the table wants %s, the document says %s", methods[m].name, r->pattern,
                         roles[r->role] ? roles[r->role] : "no key", role ? role : "no key");
            json_t *content = json_object_get(json_object_get(o, "requestBody"), "content");
            char types[256] = "";
            const char *type;
            json_t *unused;
            json_object_foreach(content, type, unused)
                snprintf(types + strlen(types), sizeof types - strlen(types), "%s%s", *types ? " " : "", type);
            if (strcmp(types, r->body == BODY_NONE ? "" : route_types(r)))
                fail_msg("%s %s: the table takes '%s', the document says '%s'", methods[m].name, r->pattern, route_types(r), types);
            for (const char *open = strchr(r->pattern, '{'); open; open = strchr(open + 1, '{'))
                if (!declares(o, open + 1, strcspn(open + 1, "}")))
                    fail_msg("%s %s: a part of the path is not declared", methods[m].name, r->pattern);
        }
}

static void it_is_served(void **state)
{
    (void)state;
    struct daemon d;
    char *db = scratch_path("served.db");
    const char *const init[] = {"init", "--db", db, NULL}, *const serve[] = {"serve",    "--db",        db,  "--open",
                                                                             "--listen", "127.0.0.1:0", NULL};
    assert_int_equal(run_verb(init, NULL, 0), 0);
    daemon_start(&d, serve);
    struct answer a = ask(&d, "GET", "/openapi.json", NULL, NULL);
    assert_int_equal(a.status, 200);
    assert_string_equal(a.type, "application/json");
    json_t *served = answer_json_of(&a);
    assert_true(json_equal(served, document));
    json_decref(served);
    char line[140];
    snprintf(line, sizeof line, "If-None-Match: %s", a.etag);
    answer_free(&a);
    a = ask(&d, "GET", "/openapi.json", NULL, line);
    assert_int_equal(a.status, 304);
    answer_free(&a);
    assert_int_equal(daemon_stop(&d), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_row_is_in_the_document),
        cmocka_unit_test(nothing_else_is),
        cmocka_unit_test(roles_bodies_and_captures_agree),
        cmocka_unit_test(it_is_served),
    };
    return cmocka_run_group_tests(tests, read_document, forget_document);
}
