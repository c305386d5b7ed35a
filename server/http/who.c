/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who asks, and whether the route's role allows it. The one place to add other proofs (a session cookie): fill request.who.
 */
#include "inside.h"

#include "../ground/log.h"
#include "../ground/secrets.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* RFC 6750, 2.1: the scheme's name in any case, one or more blanks, the key; blanks behind it belong to the header line. False: another scheme. */
static bool bearer_key(const char *authorization, char key[KEY_TEXT + 1])
{
    if (strncasecmp(authorization, "Bearer", 6) != 0 || authorization[6] != ' ')
        return false;
    const char *start = authorization + 6 + strspn(authorization + 6, " ");
    size_t n = strlen(start);
    while (n > 0 && (start[n - 1] == ' ' || start[n - 1] == '\t'))
        n--;
    snprintf(key, KEY_TEXT + 1, "%.*s", (int)(n < KEY_TEXT ? n : KEY_TEXT),
             start); /* one byte more than a key has: too long stays too long */
    return true;
}

static void log_wrong_key(struct call *c)
{
    const union MHD_ConnectionInfo *info = MHD_get_connection_info(c->client->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    char address[INET6_ADDRSTRLEN] = "unix";
    if (info && info->client_addr && info->client_addr->sa_family == AF_INET)
        inet_ntop(AF_INET, &((const struct sockaddr_in *)(const void *)info->client_addr)->sin_addr, address, sizeof address);
    else if (info && info->client_addr && info->client_addr->sa_family == AF_INET6)
        inet_ntop(AF_INET6, &((const struct sockaddr_in6 *)(const void *)info->client_addr)->sin6_addr, address, sizeof address);
    figure_add(&c->client->http->figures.wrong_keys, 1);
    log_line(LOG_WARN, "wrong key", "address", address, "path", c->x.request.path, NULL);
}

static enum refusal_number find_key(struct call *c)
{
    const struct http_options *o = &c->client->http->options;
    char key[KEY_TEXT + 1];
    if (!bearer_key(c->head.authorization, key))
        return REFUSE_KEY_SCHEME;
    if (key_shape(key) && o->find_key && o->find_key(o->house, key, &c->x.request.who))
        return REFUSE_NOTHING;
    c->x.request.who = (struct identity){.role = ROLE_NONE};
    log_wrong_key(c);
    return REFUSE_WRONG_KEY;
}

enum refusal_number who_asks(struct call *c)
{
    const struct http_options *o = &c->client->http->options;
    const struct route *route = c->route;
    c->x.request.who = (struct identity){.role = o->open ? ROLE_STEWARD : ROLE_NONE};
    if (o->open || (route->role == ROLE_NONE && !(route->flags & ROUTE_WHO)))
        return REFUSE_NOTHING;
    if (c->head.authorization) {
        enum refusal_number refused = find_key(c);
        if (refused != REFUSE_NOTHING)
            return refused;
    }
    if (c->x.request.who.role >= route->role)
        return REFUSE_NOTHING;
    bool reads = c->x.request.method == HTTP_GET || c->x.request.method == HTTP_HEAD;
    if (o->public_read && reads && !(route->flags & ROUTE_PRIVATE) && route->role == ROLE_READER)
        return REFUSE_NOTHING;
    return c->head.authorization ? REFUSE_ROLE : REFUSE_NO_KEY;
}
