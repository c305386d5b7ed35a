/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * All that can be refused from the head alone, alike for every route, in the order in which it is told: framing, target, host, route, origin,
 * key and role, body.
 */
#include "inside.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

static bool method_of(const char *text, enum http_method *method)
{
    static const char *const names[] = {[HTTP_GET] = "GET",   [HTTP_HEAD] = "HEAD",     [HTTP_PUT] = "PUT",
                                        [HTTP_POST] = "POST", [HTTP_DELETE] = "DELETE", [HTTP_OPTIONS] = "OPTIONS"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (strcmp(text, names[i]) == 0) {
            *method = (enum http_method)i;
            return true;
        }
    return false;
}

static bool unsafe(enum http_method m)
{
    return m == HTTP_PUT || m == HTTP_POST || m == HTTP_DELETE;
}

/* The media type alone, lower case, to c->media_type; false when it is too long to be one of ours. */
static bool take_media_type(struct call *c, const char *value)
{
    size_t n = strcspn(value, "; \t");
    c->media_type[0] = '\0';
    if (n >= sizeof c->media_type)
        return false;
    for (size_t i = 0; i < n; i++)
        c->media_type[i] = (char)tolower((unsigned char)value[i]);
    c->media_type[n] = '\0';
    return true;
}

static bool listed(const char *types, const char *type)
{
    size_t n = strlen(type);
    for (const char *p = types; n && *p; p += strcspn(p, " "), p += strspn(p, " "))
        if (strcspn(p, " ") == n && memcmp(p, type, n) == 0)
            return true;
    return false;
}

/* No charset, or UTF-8, quoted or not (RFC 9110, 8.3.2: names in any case). */
static bool charset_fits(const char *value)
{
    const char *charset = strcasestr(value, "charset=");
    if (!charset)
        return true;
    charset += 8;
    if (*charset == '"')
        charset++;
    size_t n = strcspn(charset, "\"; \t");
    return (n == 5 && strncasecmp(charset, "utf-8", 5) == 0) || (n == 8 && strncasecmp(charset, "us-ascii", 8) == 0);
}

static enum refusal_number check_body(struct call *c)
{
    const struct head *head = &c->head;
    int64_t largest = c->route ? route_largest_body(c->route) : 0;
    if (head->content_length > 0 && largest == 0)
        return REFUSE_BODY;
    if (head->content_length > largest)
        return REFUSE_BODY_SIZE;
    if (largest == 0 || !unsafe(c->x.request.method))
        return REFUSE_NOTHING;
    if (head->content_encoding && strcasecmp(head->content_encoding, "identity") != 0)
        return REFUSE_BODY_CODING;
    const char *type = head->content_type ? head->content_type : "";
    if (!take_media_type(c, type) || !listed(route_types(c->route), c->media_type))
        return REFUSE_BODY_TYPE;
    return charset_fits(type) ? REFUSE_NOTHING : REFUSE_BODY_CHARSET;
}

/* Which row answers; c->route stays NULL for files and OPTIONS. */
static enum refusal_number choose(struct call *c)
{
    struct request *q = &c->x.request;
    struct http *h = c->client->http;
    if (q->method == HTTP_OPTIONS && strcmp(q->path, "*") == 0)
        return REFUSE_NOTHING;
    c->route = route_find(h->routes, q->path, q->method, &c->captures, &c->allowed);
    if (c->route) {
        for (int i = 0; i < c->captures.count; i++)
            q->captures[i] = c->captures.text[i];
        return REFUSE_NOTHING;
    }
    if (c->allowed)
        return q->method == HTTP_OPTIONS ? REFUSE_NOTHING : REFUSE_METHOD;
    if (!assets_answer(h->assets, &c->x))
        return REFUSE_PATH;
    c->allowed = METHOD_GET;
    return unsafe(q->method) ? REFUSE_METHOD : REFUSE_NOTHING;
}

bool for_people(const struct call *c)
{
    if (!c->head.accept || !strstr(c->head.accept, "text/html"))
        return false;
    return c->route ? (c->route->flags & ROUTE_PAGE) != 0 : strncmp(c->x.request.path, "/api/", 5) != 0;
}

void checks_head(struct call *c, const char *method)
{
    struct http *h = c->client->http;
    struct request *q = &c->x.request;
    call_refuse(c, c->head.refused); /* framing before all else: it decides whether the connection can go on */
    call_refuse(c, c->target.refused);
    if (!method_of(method, &q->method))
        call_refuse(c, REFUSE_METHOD_UNKNOWN);
    if (atomic_load_explicit(&h->refusing, memory_order_relaxed))
        call_refuse(c, REFUSE_STOPPING);
    if (h->options.open && !h->unix_path[0] && c->head.host && !host_is_own(h, c->head.host))
        call_refuse(c, REFUSE_FOREIGN_HOST);
    if (c->refused == REFUSE_NOTHING)
        call_refuse(c, choose(c));
    if (c->refused == REFUSE_NOTHING && unsafe(q->method) && !origin_is_own(&c->head))
        call_refuse(c, REFUSE_CROSS_SITE);
    if (c->refused == REFUSE_NOTHING && c->route)
        call_refuse(c, who_asks(c));
    if (c->refused == REFUSE_NO_KEY && for_people(c)) { /* what it sent is kept while it signs in */
        c->refused = REFUSE_NOTHING;
        c->route = &route_sign_in_first[unsafe(q->method)];
    }
    if (c->refused == REFUSE_NOTHING)
        call_refuse(c, check_body(c));
}
