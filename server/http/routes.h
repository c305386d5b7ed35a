/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The routes table: one row of data a resource and method set, with its needs. What a row states (role, body, largest body, media types) is
 * checked alike for every route, before its action is called.
 *
 * A pattern is literal segments and {name} captures; a capture is one whole segment, or one with a literal suffix ("{id}.svg").
 * Literal segments win over captures by standing earlier in the table.
 */
#ifndef BIASBOOK_HTTP_ROUTES_H
#define BIASBOOK_HTTP_ROUTES_H

#include "../actions/exchange.h"

#include <stdbool.h>
#include <stdint.h>

enum run_mode {
    RUN_INLINE, /* on the HTTP thread: memory only, no SQL, no drawing; answers with ACTION_DONE */
    RUN_WRITE,  /* decodes on the HTTP thread, hands over to the writer, answers ACTION_LATER (a refusal may be ACTION_DONE) */
    RUN_WORKER, /* on a worker: SQL and drawing */
};

enum body_kind {
    BODY_NONE,
    BODY_RECORD, /* one JSON document in memory */
    BODY_FORM,   /* application/x-www-form-urlencoded in memory, undecoded */
    BODY_SPOOL,  /* NDJSON or CSV in an unlinked file: request.body_fd */
};

enum {
    METHOD_GET = 1u << HTTP_GET, /* HEAD comes with it */
    METHOD_PUT = 1u << HTTP_PUT,
    METHOD_POST = 1u << HTTP_POST,
    METHOD_DELETE = 1u << HTTP_DELETE,
};

enum {
    ROUTE_PRIVATE = 1, /* public read does not open it */
    ROUTE_WHO = 2,     /* needs no key, but looks at one that is presented */
    ROUTE_BARE = 8,    /* takes no query parameters: any is refused by name */
    ROUTE_PAGE = 4,    /* for people: to a browser its refusals are pages, and without a key it gets a way to sign in */
};

struct route {
    const char *pattern; /* NULL closes the table */
    unsigned methods;    /* METHOD_… */
    enum role role;      /* ROLE_NONE: no key needed */
    unsigned flags;      /* ROUTE_… */
    enum run_mode run;
    action_fn action;
    enum body_kind body;
    int64_t largest_body; /* bytes; 0 = what the body kind allows */
    const char *types;    /* media types accepted, separated by spaces; NULL = what the body kind says */
};

extern const struct route biasbook_routes[];
/* What answers a browser without a key in place of a row with ROUTE_PAGE. */
extern const struct route route_sign_in_first[2]; /* [0] when it reads, [1] when it posts */

struct captures {
    char text[3][LIMIT_SLUG + 16]; /* slug or UUID with room to see that it is too long */
    int count;
};

/* The row for this path and method. NULL: no row has this path (`*allowed` 0) or none of those that do takes the method (`*allowed` is
 * the union of their methods). */
const struct route *route_find(const struct route *table, const char *path, enum http_method method, struct captures *captures,
                               unsigned *allowed);

int64_t route_largest_body(const struct route *r);
const char *route_types(const struct route *r);

#endif
