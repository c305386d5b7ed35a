/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who asks, proved by a key in the head or by a session's cookie, and whether the route's role allows it.
 */
#include "inside.h"

#include "../ground/clock.h"
#include "../ground/log.h"
#include "../ground/secrets.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

bool bearer_key(const char *authorization, char key[KEY_TEXT + 1])
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

const char *client_address(const struct call *c, char out[WHO_ADDRESS])
{
    const union MHD_ConnectionInfo *info = MHD_get_connection_info(c->client->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    snprintf(out, WHO_ADDRESS, "unix");
    if (c->client->http->options.behind_proxy && c->head.forwarded_for &&
        proxies_trust(&c->client->http->proxies, info ? info->client_addr : NULL) &&
        proxies_client(&c->client->http->proxies, c->head.forwarded_for, out, WHO_ADDRESS))
        return out;
    if (info && info->client_addr && info->client_addr->sa_family == AF_INET)
        inet_ntop(AF_INET, &((const struct sockaddr_in *)(const void *)info->client_addr)->sin_addr, out, WHO_ADDRESS);
    else if (info && info->client_addr && info->client_addr->sa_family == AF_INET6)
        inet_ntop(AF_INET6, &((const struct sockaddr_in6 *)(const void *)info->client_addr)->sin6_addr, out, WHO_ADDRESS);
    return out;
}

enum refusal_number wrong_key(struct call *c)
{
    struct http *h = c->client->http;
    char address[WHO_ADDRESS];
    client_address(c, address);
    figure_add(&h->figures.wrong_keys, 1);
    enum throttle_says says = throttle_wrong(h->throttle, address, clock_monotonic_us());
    if (says == THROTTLE_FINE)
        log_line(LOG_WARN, "wrong key", "address", address, "path", c->x.request.path, NULL);
    else if (says == THROTTLE_FIRST_TOO_MANY)
        log_line(LOG_WARN, "too many wrong keys, the next are not logged", "address", address, NULL);
    return says == THROTTLE_FINE ? REFUSE_WRONG_KEY : REFUSE_WRONG_KEYS;
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
    return wrong_key(c);
}

/* A cookie is sent by the browser whoever made it ask, so what changes something has to say that a page of ours did. A session that is over is no
 * wrong key: its member is told to sign in again. */
static enum refusal_number find_session(struct call *c)
{
    const struct http_options *o = &c->client->http->options;
    struct request *q = &c->x.request;
    if (!o->find_key || !o->find_key(o->house, c->session, &q->who)) {
        q->who = (struct identity){.role = ROLE_NONE};
        return REFUSE_NOTHING;
    }
    q->by_session = true;
    bool reads = q->method == HTTP_GET || q->method == HTTP_HEAD;
    return reads || c->head.origin || c->head.fetch_site ? REFUSE_NOTHING : REFUSE_NO_ORIGIN;
}

static void look_for_session(struct call *c)
{
    c->x.request.secure = call_is_secure(c);
    c->session[0] = '\0';
    if (c->head.cookie && cookie_token(c->head.cookie, c->x.request.secure, c->session) && !key_shape(c->session))
        c->x.request.session = c->session;
    else
        c->session[0] = '\0'; /* a key itself in a cookie is none of ours */
}

enum refusal_number who_asks(struct call *c)
{
    const struct http_options *o = &c->client->http->options;
    const struct route *route = c->route;
    c->x.request.who = (struct identity){.role = o->open ? ROLE_STEWARD : ROLE_NONE};
    if (o->open || (route->role == ROLE_NONE && !(route->flags & ROUTE_WHO)))
        return REFUSE_NOTHING;
    look_for_session(c);
    enum refusal_number refused = c->head.authorization ? find_key(c) : c->session[0] ? find_session(c) : REFUSE_NOTHING;
    if (refused != REFUSE_NOTHING)
        return refused;
    if (c->x.request.who.role >= route->role)
        return REFUSE_NOTHING;
    bool reads = c->x.request.method == HTTP_GET || c->x.request.method == HTTP_HEAD;
    if (o->public_read && reads && !(route->flags & ROUTE_PRIVATE) && route->role == ROLE_READER)
        return REFUSE_NOTHING;
    return c->head.authorization || c->x.request.by_session ? REFUSE_ROLE : REFUSE_NO_KEY;
}
