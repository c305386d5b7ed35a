/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A request's target as it was sent, and the routes table with what came of it. */
#include "fuzz.h"

#include "http/routes.h"
#include "http/target.h"
#include "wire/utf8.h"

#include <string.h>

void fuzz_query(const uint8_t *bytes, size_t n)
{
    struct target *t = calloc(1, sizeof *t);
    struct request *q = calloc(1, sizeof *q);
    struct captures captures;
    unsigned allowed;
    char *raw = malloc(n + 1);
    PROMISE(t && q && raw);
    memcpy(raw, bytes, n);
    raw[n] = '\0';
    target_read(raw, t, q);
    PROMISE(q->path && (q->path[0] == '/' || !strcmp(q->path, "*")));
    PROMISE(utf8_valid(q->path, strlen(q->path)));
    PROMISE(!strstr(q->path, "/../") && !strstr(q->path, "/./"));
    PROMISE(q->parameter_count <= LIMIT_QUERY_PARAMETERS);
    PROMISE(t->refused == REFUSE_NOTHING || q->parameter_count == 0);
    for (int i = 0; i < q->parameter_count; i++) {
        PROMISE(utf8_valid(q->parameters[i].name, strlen(q->parameters[i].name)));
        PROMISE(utf8_valid(q->parameters[i].value, strlen(q->parameters[i].value)));
    }
    for (int m = HTTP_GET; m <= HTTP_OPTIONS; m++)
        route_find(biasbook_routes, q->path, (enum http_method)m, &captures, &allowed);
    free(t);
    free(q);
    free(raw);
}
