/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a filled reply to bytes: refusals as problem documents, 304, headers.
 */
#include "inside.h"

#include "../actions/html.h"
#include "../ground/clock.h"
#include "../ground/etag.h"
#include "../ground/log.h"
#include "../wire/wire.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

struct header {
    const char *name, *value;
};

/* Pages may load from here and nowhere else; nothing inline, never in a frame. Scripts carry the same: a service worker lives by the policy its own file came
 * with, and without connect-src it could fetch nothing, not even the pages. */
static const struct header page_headers[] = {
    {"Content-Security-Policy",
     "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
     "base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'; worker-src 'self'"},
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "same-origin"}, /* with none at all a form's Origin would be "null", to us as well */
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {NULL, NULL},
};

/* Data is no document: should a browser be made to show it, nothing in it may run. */
static const struct header data_headers[] = {
    {"Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {NULL, NULL},
};

/* ---- refusals ---- */

static void write_refusal_page(struct call *c, const struct refusal *r)
{
    struct buffer root;
    buffer_init(&root, LIMIT_URL);
    relative_reference(&root, c->x.request.path, "/");
    struct buffer *b = html_begin(&c->x, root.failed ? "" : root.data, r->status == 404 ? "Nothing here" : "Not done");
    buffer_text(b, "<p class=\"problem\">");
    html_text(b, r->detail);
    buffer_text(b, ".</p>\n<p><a href=\"");
    html_attribute(b, root.failed ? "" : root.data);
    buffer_text(b, "\">To the first page</a></p>\n");
    html_end(b);
    buffer_free(&root);
}

/* Not even the refusal could be written: one that needs no memory. */
static void say_memory_is_out(struct reply *reply)
{
    static const char text[] =
        "{\"type\":\"about:blank\",\"title\":\"Internal Server Error\",\"status\":500,\"errors\":[{\"field\":\"\",\"code\":"
        "\"out-of-memory\",\"detail\":\"the server is out of memory; try again\"}]}\n";
    reply_clear(reply);
    reply->status = 500;
    reply->content_type = "application/problem+json";
    reply->fixed = text;
    reply->fixed_length = sizeof text - 1;
}

static void write_refusal(struct call *c)
{
    const struct refusal *r = refusal_of(c->refused);
    struct reply *reply = &c->x.reply;
    struct fault f;
    fault_clear(&f);
    fault_add(&f, FAULT_MALFORMED, r->field, r->code, "%s", r->detail);
    reply_clear(reply);
    reply->status = r->status;
    reply->retry_after_s = r->retry_after_s;
    c->close |= r->close;
    if (for_people(c)) {
        write_refusal_page(c, r);
    } else {
        reply->content_type = "application/problem+json";
        wire_write_problem(&reply->body, r->status, &f);
    }
    if (reply->body.failed)
        say_memory_is_out(reply);
}

/* An action that left nothing usable: say so rather than send half a reply. */
static void check_filled(struct call *c)
{
    struct reply *r = &c->x.reply;
    if (c->refused == REFUSE_NOTHING && r->file < 0 && r->body.failed)
        c->refused = REFUSE_MEMORY;
    else if (c->refused == REFUSE_NOTHING && (r->status < 200 || r->status > 599))
        c->refused = REFUSE_UNANSWERED;
}

/* ---- headers ---- */

static bool add(struct MHD_Response *m, const char *name, const char *value)
{
    return MHD_add_response_header(m, name, value) == MHD_YES;
}

static bool add_all(struct MHD_Response *m, const struct header *h)
{
    bool fine = true;
    for (; h->name; h++)
        fine = fine && add(m, h->name, h->value);
    return fine;
}

static bool is_page(const char *type)
{
    return type && (strncmp(type, "text/html", 9) == 0 || strncmp(type, "image/svg", 9) == 0 || strncmp(type, "text/javascript", 15) == 0);
}

static bool add_allow(struct MHD_Response *m, unsigned methods)
{
    char text[64];
    snprintf(text, sizeof text, "%s%s%s%sOPTIONS", methods & METHOD_GET ? "GET, HEAD, " : "", methods & METHOD_PUT ? "PUT, " : "",
             methods & METHOD_POST ? "POST, " : "", methods & METHOD_DELETE ? "DELETE, " : "");
    return add(m, "Allow", text);
}

/* Media types a route takes, separated by commas (RFC 9110, 15.5.16). */
static bool add_accept(struct MHD_Response *m, const char *types)
{
    char text[256];
    size_t n = 0;
    for (; *types && n + 3 < sizeof text; types++) {
        if (*types == ' ')
            text[n++] = ',';
        text[n++] = *types;
    }
    text[n] = '\0';
    return n == 0 || add(m, "Accept", text);
}

static bool add_reference(struct MHD_Response *m, const char *name, void (*write)(struct buffer *, const char *, const char *),
                          const char *path, const char *to)
{
    struct buffer b;
    buffer_init(&b, 3 * LIMIT_URL);
    write(&b, path, to);
    bool fine = !b.failed && add(m, name, b.data);
    buffer_free(&b);
    return fine;
}

static bool add_rare(struct MHD_Response *m, const struct call *c)
{
    const struct reply *r = &c->x.reply;
    char text[128];
    bool fine = true;
    if (r->location[0])
        fine = fine && add_reference(m, "Location", relative_reference, c->x.request.path, r->location);
    if (r->link[0])
        fine = fine && add_reference(m, "Link", relative_link, c->x.request.path, r->link);
    if (r->set_cookie[0])
        fine = fine && add(m, "Set-Cookie", r->set_cookie);
    if (r->file_name[0]) {
        snprintf(text, sizeof text, "attachment; filename=\"%s\"", r->file_name);
        fine = fine && add(m, "Content-Disposition", text);
    }
    if (r->retry_after_s > 0) {
        snprintf(text, sizeof text, "%d", r->retry_after_s);
        fine = fine && add(m, "Retry-After", text);
    }
    if (r->status == 405 || (c->x.request.method == HTTP_OPTIONS && c->refused == REFUSE_NOTHING))
        fine = fine && add_allow(m, c->allowed);
    if (r->status == 401)
        fine = fine && add(m, "WWW-Authenticate",
                           c->refused == REFUSE_WRONG_KEY && c->head.authorization ? "Bearer realm=\"biasbook\", error=\"invalid_token\""
                                                                                   : "Bearer realm=\"biasbook\"");
    if (r->status == 415 && c->route)
        fine = fine && add_accept(m, route_types(c->route));
    if (c->close)
        fine = fine && add(m, "Connection", "close");
    return fine;
}

/* RFC 6797: a browser that came by TLS once does not come without it for a year. Browsers heed it under a name only, never under an address. */
static bool add_strict_transport(struct MHD_Response *m)
{
    return add(m, "Strict-Transport-Security", "max-age=31536000");
}

bool send_usual_headers(struct MHD_Response *m, const char *type)
{
    return add_all(m, data_headers) && add(m, "Cache-Control", "no-store") && add(m, "Content-Type", type);
}

bool send_usual_headers_tls(struct MHD_Response *m, const char *type)
{
    return send_usual_headers(m, type) && add_strict_transport(m);
}

/* True when the usual headers are all that this reply has, an entity tag and a place aside. */
static bool is_usual(const struct call *c, unsigned status)
{
    const struct reply *r = &c->x.reply;
    bool plain = r->content_type && !is_page(r->content_type) && r->file < 0 && !r->fixed;
    bool rare = r->link[0] || r->cache_control[0] || r->file_name[0] || r->set_cookie[0] || r->retry_after_s > 0 || c->close;
    return plain && !rare && status == (unsigned)r->status && r->status != 401 && r->status != 405 && r->status != 415 &&
           c->x.request.method != HTTP_OPTIONS;
}

static bool add_headers(struct MHD_Response *m, const struct call *c)
{
    const struct reply *r = &c->x.reply;
    bool fine = add_all(m, is_page(r->content_type) ? page_headers : data_headers) &&
                add(m, "Cache-Control", r->cache_control[0] ? r->cache_control : "no-store") &&
                (!r->content_type || add(m, "Content-Type", r->content_type)) &&
                (!c->client->http->options.tls_cert || add_strict_transport(m)) && add_rare(m, c);
    if (fine && r->etag[0]) {
        char text[sizeof r->etag + 2];
        snprintf(text, sizeof text, "\"%s\"", r->etag);
        fine = add(m, "ETag", text);
    }
    return fine;
}

/* ---- the response ---- */

static struct MHD_Response *response_of(struct reply *r, uint64_t *size)
{
    if (r->file >= 0) {
        *size = (uint64_t)r->file_size;
        struct MHD_Response *m = MHD_create_response_from_fd64(*size, r->file);
        if (m)
            r->file = -1; /* closed with the response */
        return m;
    }
    /* Bytes that stay until the request is over: libmicrohttpd only reads them. */
    union {
        const void *constant;
        void *pointer;
    } bytes = {r->fixed ? r->fixed : r->body.data ? r->body.data : ""};
    *size = r->fixed ? r->fixed_length : r->body.length;
    return MHD_create_response_from_buffer(*size, bytes.pointer, MHD_RESPMEM_PERSISTENT);
}

static unsigned status_of(const struct call *c)
{
    const struct request *q = &c->x.request;
    const struct reply *r = &c->x.reply;
    bool reads = q->method == HTTP_GET || q->method == HTTP_HEAD;
    if (reads && r->status == 200 && r->etag[0] && q->if_none_match && etag_listed(q->if_none_match, r->etag, ETAG_WEAK))
        return 304;
    return (unsigned)r->status;
}

static enum MHD_Result send_prepared(struct call *c)
{
    const struct reply *r = &c->x.reply;
    char etag[sizeof r->etag + 2] = "";
    if (r->etag[0]) {
        size_t n = strlen(r->etag);
        etag[0] = etag[n + 1] = '"';
        memcpy(etag + 1, r->etag, n);
        etag[n + 2] = '\0';
    }
    struct buffer location;
    buffer_init(&location, 3 * LIMIT_URL);
    if (r->location[0])
        relative_reference(&location, c->x.request.path, r->location);
    bool marked = !location.failed && prepared_mark(c->prepared, etag, r->location[0] ? location.data : "");
    buffer_free(&location);
    if (!marked)
        return MHD_NO;
    if (r->body.length)
        memcpy(c->prepared->bytes, r->body.data, r->body.length);
    return MHD_queue_response(c->client->connection, (unsigned)r->status, c->prepared->response);
}

static enum MHD_Result send_ordinary(struct call *c, unsigned status, uint64_t *size)
{
    struct MHD_Response *m = response_of(&c->x.reply, size);
    if (!m)
        return MHD_NO;
    enum MHD_Result sent = add_headers(m, c) ? MHD_queue_response(c->client->connection, status, m) : MHD_NO;
    MHD_destroy_response(m);
    return sent;
}

/* A page that asks for the key again stands as it is, until they are too many. */
static void count_wrong_key(struct call *c)
{
    enum refusal_number said = wrong_key(c);
    if (said != REFUSE_WRONG_KEY || !is_page(c->x.reply.content_type))
        call_refuse(c, said);
}

/* Who tried what may not be done (ASVS 16.3.2); a wrong key is logged where it is counted. */
static void log_forbidden(const struct call *c)
{
    static const char *const methods[] = {"GET", "HEAD", "PUT", "POST", "DELETE", "OPTIONS"};
    char address[WHO_ADDRESS];
    const struct request *q = &c->x.request;
    log_line(LOG_WARN, "forbidden", "member", q->who.member ? q->who.name : "nobody", "address", client_address(c, address), "method",
             methods[q->method], "path", q->path, "code", c->refused ? refusal_of(c->refused)->code : "by the action", NULL);
}

enum MHD_Result send_reply(struct call *c)
{
    struct client *client = c->client;
    struct http *h = client->http;
    call_in_hand(c);
    if (!c->route && c->x.request.method == HTTP_OPTIONS && c->refused == REFUSE_NOTHING)
        c->x.reply.status = 204;
    check_filled(c);
    if (c->refused == REFUSE_NOTHING && c->x.reply.wrong_key)
        count_wrong_key(c);
    if (c->refused != REFUSE_NOTHING)
        write_refusal(c);
    uint64_t size = c->x.reply.body.length;
    unsigned status = status_of(c);
    if (is_usual(c, status))
        c->prepared = prepared_take(h->prepared, c->x.reply.content_type, size);
    enum MHD_Result sent = c->prepared ? send_prepared(c) : send_ordinary(c, status, &size);
    int64_t now = clock_monotonic_us();
    client_deadline(client, now, h->options.body_s + (int64_t)(size / LIMIT_SLOWEST_BYTES_S));
    figures_reply(&h->figures, (int)status, now - c->started_us);
    if (status == 403)
        log_forbidden(c);
    if (status == 500)
        log_line(LOG_ERROR, "answered 500", "path", c->x.request.path, "code", c->refused ? refusal_of(c->refused)->code : "by the action",
                 NULL);
    return sent;
}

/* The holder of the exchange did not finish in time and still has it; nothing of the call may be used. */
enum MHD_Result send_abandoned(struct client *client)
{
    static char text[] =
        "{\"type\":\"about:blank\",\"title\":\"Service Unavailable\",\"status\":503,\"errors\":[{\"field\":\"\",\"code\":\"stopping\","
        "\"detail\":\"the server stopped before this was answered; ask again whether it was done\"}]}\n";
    struct MHD_Response *m = MHD_create_response_from_buffer(sizeof text - 1, text, MHD_RESPMEM_PERSISTENT);
    if (!m)
        return MHD_NO;
    bool fine = add_all(m, data_headers) && add(m, "Content-Type", "application/problem+json") && add(m, "Retry-After", "2") &&
                add(m, "Connection", "close");
    enum MHD_Result sent = fine ? MHD_queue_response(client->connection, 503, m) : MHD_NO;
    MHD_destroy_response(m);
    return sent;
}
