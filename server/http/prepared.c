/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Free ones lie in buckets by size. There are never more than LIMIT_PREPARED; when all those are of sizes no longer asked for, one of them
 * goes for each new one.
 */
#include "prepared.h"

#include "../ground/limits.h"
#include "../ground/memory.h"

#include <pthread.h>
#include <string.h>

#define BUCKETS 256

struct prepared_store {
    pthread_mutex_t lock;
    prepared_headers headers;
    struct prepared *bucket[BUCKETS];
    int count;     /* free and taken */
    unsigned hand; /* bucket where the next one to go is looked for */
};

struct prepared_store *prepared_new(prepared_headers headers)
{
    struct prepared_store *s = mem_zero(1, sizeof *s);
    if (!s)
        return NULL;
    pthread_mutex_init(&s->lock, NULL);
    s->headers = headers;
    return s;
}

static void end(struct prepared *p)
{
    MHD_destroy_response(p->response);
    mem_free(p);
}

void prepared_free(struct prepared_store *s)
{
    if (!s)
        return;
    for (int i = 0; i < BUCKETS; i++)
        for (struct prepared *p = s->bucket[i], *next; p; p = next) {
            next = p->next;
            end(p);
        }
    pthread_mutex_destroy(&s->lock);
    mem_free(s);
}

static struct prepared *make(const struct prepared_store *s, const char *type, size_t size)
{
    struct prepared *p = mem_alloc(sizeof *p + size);
    if (!p)
        return NULL;
    p->size = size;
    p->etag[0] = p->location[0] = '\0';
    memcpy(p->type, type, strlen(type) + 1);
    p->response = MHD_create_response_from_buffer(size, p->bytes, MHD_RESPMEM_PERSISTENT);
    if (p->response && s->headers(p->response, type))
        return p;
    if (p->response)
        MHD_destroy_response(p->response);
    mem_free(p);
    return NULL;
}

/* Under the lock: unlinks a free one of any size; NULL when all are taken. */
static struct prepared *unlink_any(struct prepared_store *s)
{
    for (int i = 0; i < BUCKETS; i++) {
        struct prepared **place = &s->bucket[s->hand++ % BUCKETS], *p = *place;
        if (p) {
            *place = p->next;
            return p;
        }
    }
    return NULL;
}

struct prepared *prepared_take(struct prepared_store *s, const char *type, size_t size)
{
    if (size > PREPARED_BYTES || strlen(type) >= PREPARED_TYPE)
        return NULL;
    struct prepared *old = NULL, *p, **place;
    pthread_mutex_lock(&s->lock);
    for (place = &s->bucket[size % BUCKETS]; (p = *place); place = &p->next)
        if (p->size == size && strcmp(p->type, type) == 0)
            break;
    if (p)
        *place = p->next;
    bool room = !p && (s->count < LIMIT_PREPARED || (old = unlink_any(s)) != NULL);
    s->count += room && !old;
    pthread_mutex_unlock(&s->lock);
    if (old)
        end(old);
    if (!room)
        return p;
    p = make(s, type, size);
    if (!p) {
        pthread_mutex_lock(&s->lock);
        s->count--;
        pthread_mutex_unlock(&s->lock);
    }
    return p;
}

static bool mark(struct prepared *p, const char *name, const char *value, char *kept, size_t room)
{
    size_t n = strlen(value);
    if (n == 0)
        return true;
    if (n >= room || MHD_add_response_header(p->response, name, value) != MHD_YES)
        return false;
    memcpy(kept, value, n + 1);
    return true;
}

bool prepared_mark(struct prepared *p, const char *etag, const char *location)
{
    return mark(p, "ETag", etag, p->etag, sizeof p->etag) && mark(p, "Location", location, p->location, sizeof p->location);
}

static void unmark(struct prepared *p)
{
    if (p->etag[0])
        MHD_del_response_header(p->response, "ETag", p->etag);
    if (p->location[0])
        MHD_del_response_header(p->response, "Location", p->location);
    p->etag[0] = p->location[0] = '\0';
}

void prepared_give(struct prepared_store *s, struct prepared *p)
{
    if (!p)
        return;
    unmark(p);
    pthread_mutex_lock(&s->lock);
    p->next = s->bucket[p->size % BUCKETS];
    s->bucket[p->size % BUCKETS] = p;
    pthread_mutex_unlock(&s->lock);
}
