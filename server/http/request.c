/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The way of a request, called by libmicrohttpd several times for each: once with the head, then with each piece of body, then at its end, and
 * once more when an exchange that waited was finished.
 *
 * A reply given at the first of these calls closes the connection, so without a body to come even a refusal waits for the second.
 */
#include "inside.h"

#include "../actions/answer.h"
#include "../ground/clock.h"

#include <string.h>

/* ---- values that an action reads: copied, since a call can outlive its connection ---- */

static const char *copy(struct call *c, const char *value)
{
    if (!value)
        return NULL;
    const char *text = arena_text(c->x.arena, value, strlen(value));
    if (!text)
        call_refuse(c, REFUSE_MEMORY);
    return text;
}

struct join {
    const char *name;
    struct buffer *out;
};

static enum MHD_Result join_line(void *cls, enum MHD_ValueKind kind, const char *name, const char *value)
{
    (void)kind;
    struct join *j = cls;
    if (strcasecmp(name, j->name) == 0) {
        if (j->out->length)
            buffer_text(j->out, ", ");
        buffer_text(j->out, value);
    }
    return MHD_YES;
}

/* A list header on several lines is one list (RFC 9110, 5.3). */
static const char *copy_list(struct call *c, const char *name, const char *first, int lines)
{
    if (lines < 2)
        return copy(c, first);
    struct buffer all;
    buffer_init(&all, LIMIT_BODY_RECORD);
    struct join j = {name, &all};
    MHD_get_connection_values(c->client->connection, MHD_HEADER_KIND, join_line, &j);
    const char *text = all.failed ? NULL : copy(c, all.data);
    if (all.failed)
        call_refuse(c, REFUSE_MEMORY);
    buffer_free(&all);
    return text;
}

static void copy_values(struct call *c)
{
    struct request *q = &c->x.request;
    q->content_type = c->media_type;
    if (c->head.accept)
        q->accept = copy(c, c->head.accept);
    q->if_match = copy_list(c, "If-Match", c->head.if_match, c->head.if_matches);
    q->if_none_match = copy_list(c, "If-None-Match", c->head.if_none_match, c->head.if_none_matches);
}

/* ---- the head ---- */

static enum MHD_Result take_head(struct call *c, const char *method, const char *version)
{
    struct client *client = c->client;
    c->media_type[0] = '\0';
    head_read(client->connection, method, version, &c->target, &c->head);
    checks_head(c, method);
    if (c->refused == REFUSE_NOTHING)
        copy_values(c);
    if (c->refused == REFUSE_NOTHING && c->route && c->route->body != BODY_NONE)
        body_open(c);
    if (c->refused != REFUSE_NOTHING) {
        c->phase = PHASE_REPLY;
        return c->head.body_to_come || refusal_of(c->refused)->close ? send_reply(c) : MHD_YES;
    }
    c->phase = PHASE_BODY;
    if (c->head.body_to_come) {
        const struct http_options *o = &client->http->options;
        client_deadline(client, clock_monotonic_us(), c->route->body == BODY_SPOOL ? o->spool_s : o->body_s);
    }
    return MHD_YES;
}

/* ---- the action ---- */

/* The exchange was handed to someone who may be finished already: whoever comes second resumes. */
static enum MHD_Result wait_for_finish(struct call *c)
{
    struct http *h = c->client->http;
    struct MHD_Connection *connection = c->client->connection;
    if (atomic_load(&c->state) == CALL_FINISHED) {
        atomic_fetch_sub(&h->waiting, 1);
        return send_reply(c);
    }
    client_no_deadline(c->client);
    MHD_suspend_connection(connection);
    int running = CALL_RUNNING;
    if (!atomic_compare_exchange_strong(&c->state, &running, CALL_SUSPENDED)) {
        MHD_resume_connection(connection);
        atomic_fetch_sub(&h->waiting, 1);
    }
    return MHD_YES; /* the call is not ours any more */
}

static enum action_result start(struct call *c)
{
    struct http *h = c->client->http;
    if (c->route->run == RUN_WORKER) {
        if (workers_take(h->workers, c))
            return ACTION_LATER;
        figure_add(&h->figures.worker_refusals, 1);
        call_refuse(c, REFUSE_WORKERS);
        return ACTION_DONE;
    }
    return c->route->action(h->options.house, &c->x);
}

static enum MHD_Result run(struct call *c)
{
    struct http *h = c->client->http;
    if (c->route && c->route->body != BODY_NONE)
        body_close(c);
    c->phase = PHASE_REPLY;
    call_in_hand(c);
    if (!c->route || c->refused != REFUSE_NOTHING) /* a file of ours, OPTIONS, or a body that could not be kept */
        return send_reply(c);
    c->x.request.now_us = clock_now_us();
    if ((c->route->flags & ROUTE_BARE) && c->x.request.parameter_count) {
        answer_no_parameters(&c->x);
        return send_reply(c);
    }
    if (c->route->run == RUN_INLINE) {
        if (c->route->action(h->options.house, &c->x) != ACTION_DONE)
            reply_clear(&c->x.reply); /* cannot happen: the routes table is wrong; answered as a defect */
        return send_reply(c);
    }
    /* Counted before looking whether we stop, as http_stop looks after having said so: one of both sees the other. */
    atomic_fetch_add(&h->waiting, 1);
    if (atomic_load(&h->refusing))
        call_refuse(c, REFUSE_STOPPING);
    atomic_store(&c->state, CALL_RUNNING);
    if (c->refused == REFUSE_NOTHING && start(c) == ACTION_LATER)
        return wait_for_finish(c);
    atomic_fetch_sub(&h->waiting, 1);
    return send_reply(c);
}

enum MHD_Result request_handler(void *cls, struct MHD_Connection *connection, const char *url, const char *method, const char *version,
                                const char *upload, size_t *upload_n, void **context)
{
    (void)cls, (void)connection, (void)url;
    struct client *client = *context;
    if (client && client->abandoned)
        return send_abandoned(client);
    struct call *c = client ? client->call : NULL;
    if (!c)
        return MHD_NO; /* out of memory at the request line: nothing can be said */
    switch (c->phase) {
    case PHASE_HEAD: return take_head(c, method, version);
    case PHASE_BODY:
        if (*upload_n == 0)
            return run(c);
        if (c->route)
            body_take(c, upload, *upload_n);
        break;
    case PHASE_REPLY:
        if (*upload_n == 0)
            return send_reply(c);
        break;
    }
    *upload_n = 0;
    return MHD_YES;
}
