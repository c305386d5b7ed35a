/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The life of a call: made at a client's first request, forgotten and used again at each next one, so that an ordinary request allocates nothing.
 */
#include "inside.h"

#include "../ground/clock.h"

#include <string.h>
#include <unistd.h>

#define KEEP_BYTES (64 * 1024) /* a buffer that grew past this is given back after the request */

/* The holder of a waiting exchange is done with it. Any thread; the call may be gone at the end. */
static void finished(struct exchange *x)
{
    struct call *c = x->owner;
    int was = atomic_exchange(&c->state, CALL_FINISHED);
    if (was == CALL_ABANDONED) {
        call_free(c);
    } else if (was == CALL_SUSPENDED) {
        struct http *h = c->client->http; /* http_stop waits for us, so it outlives the next two lines */
        MHD_resume_connection(c->client->connection);
        atomic_fetch_sub(&h->waiting, 1);
    }
}

struct call *call_new(struct client *client)
{
    struct call *c = mem_zero(1, sizeof *c);
    if (!c)
        return NULL;
    c->x.arena = arena_new(LIMIT_ARENA);
    if (!c->x.arena) {
        mem_free(c);
        return NULL;
    }
    c->x.finish = finished;
    c->x.owner = c;
    c->x.request.body_fd = c->x.reply.file = -1;
    c->client = client;
    buffer_init(&c->body, LIMIT_BODY_RECORD);
    buffer_init(&c->x.reply.body, LIMIT_REPLY);
    return c;
}

void call_free(struct call *c)
{
    if (!c)
        return;
    call_forget(c);
    buffer_free(&c->body);
    buffer_free(&c->x.reply.body);
    arena_free(c->x.arena);
    mem_free(c);
}

static void close_file(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

static void give_back_if_large(struct buffer *b)
{
    if (b->capacity > KEEP_BYTES)
        buffer_free(b);
    else
        buffer_clear(b);
}

void call_forget(struct call *c)
{
    close_file(&c->x.request.body_fd);
    close_file(&c->x.reply.file);
    give_back_if_large(&c->body);
    give_back_if_large(&c->x.reply.body);
    arena_reset(c->x.arena);
}

void reply_clear(struct reply *r)
{
    close_file(&r->file);
    r->status = 0;
    r->content_type = NULL;
    buffer_clear(&r->body);
    r->file_size = 0;
    r->fixed = NULL;
    r->fixed_length = 0;
    r->etag[0] = r->location[0] = r->link[0] = r->cache_control[0] = r->file_name[0] = r->set_cookie[0] = '\0';
    r->wrong_key = false;
    r->retry_after_s = 0;
}

void call_begin(struct call *c, const char *raw_target)
{
    struct request *q = &c->x.request;
    q->method = HTTP_GET;
    q->captures[0] = q->captures[1] = q->captures[2] = NULL;
    q->content_type = q->accept = "";
    q->body = NULL;
    q->body_length = 0;
    q->if_match = q->if_none_match = NULL;
    q->who = (struct identity){.role = ROLE_NONE};
    q->by_session = q->secure = false;
    q->session = "";
    reply_clear(&c->x.reply);
    buffer_clear(&c->body);
    c->phase = PHASE_HEAD;
    c->route = NULL;
    c->refused = REFUSE_NOTHING;
    c->allowed = 0;
    c->close = false;
    c->started_us = clock_monotonic_us();
    atomic_store(&c->state, CALL_IDLE);
    target_read(raw_target, &c->target, q);
}

void call_in_hand(struct call *c)
{
    if (!c->in_hand)
        atomic_fetch_add(&c->client->http->in_hand, 1);
    c->in_hand = true;
}

void call_over(struct call *c)
{
    if (c->in_hand)
        atomic_fetch_sub(&c->client->http->in_hand, 1);
    c->in_hand = false;
    prepared_give(c->client->http->prepared, c->prepared);
    c->prepared = NULL;
    call_forget(c);
}

void call_refuse(struct call *c, enum refusal_number number)
{
    if (c->refused == REFUSE_NOTHING)
        c->refused = number;
}
