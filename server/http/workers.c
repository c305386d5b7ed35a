/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The threads for questions that need SQL or a drawing, so that these never hold up an HTTP thread and all its connections. The queue is
 * bounded: what would wait behind hundreds of others is told to come again.
 */
#include "inside.h"

struct workers {
    struct http *http;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    struct call *first, **last;
    int queued, queue_max;
    bool end;
    int threads;
    pthread_t thread[];
};

/* Waits for a call; NULL when it is time to end. */
static struct call *next_call(struct workers *w)
{
    pthread_mutex_lock(&w->lock);
    while (!w->first && !w->end)
        pthread_cond_wait(&w->wake, &w->lock);
    struct call *c = w->end ? NULL : w->first;
    if (c) {
        w->first = c->next;
        if (!w->first)
            w->last = &w->first;
        w->queued--;
    }
    pthread_mutex_unlock(&w->lock);
    return c;
}

static void *work(void *user)
{
    struct workers *w = user;
    for (struct call *c; (c = next_call(w));)
        if (c->route->action(w->http->options.house, &c->x) == ACTION_DONE)
            exchange_finish(&c->x);
    return NULL;
}

struct workers *workers_new(struct http *h, int threads, int queue, struct fault *f)
{
    struct workers *w = mem_zero(1, sizeof *w + (size_t)threads * sizeof w->thread[0]);
    if (!w) {
        fault_add(f, FAULT_MEMORY, "", "out-of-memory", "out of memory");
        return NULL;
    }
    w->http = h;
    w->last = &w->first;
    w->queue_max = queue;
    pthread_mutex_init(&w->lock, NULL);
    pthread_cond_init(&w->wake, NULL);
    while (w->threads < threads && pthread_create(&w->thread[w->threads], NULL, work, w) == 0)
        w->threads++;
    if (w->threads < threads) {
        fault_add(f, FAULT_MEMORY, "", "no-thread", "a worker thread could not be started");
        workers_stop(w);
        return NULL;
    }
    return w;
}

bool workers_take(struct workers *w, struct call *c)
{
    pthread_mutex_lock(&w->lock);
    bool room = w->queued < w->queue_max && !w->end;
    if (room) {
        c->next = NULL;
        *w->last = c;
        w->last = &c->next;
        w->queued++;
        pthread_cond_signal(&w->wake);
    }
    pthread_mutex_unlock(&w->lock);
    return room;
}

void workers_stop(struct workers *w)
{
    if (!w)
        return;
    pthread_mutex_lock(&w->lock);
    w->end = true;
    struct call *left = w->first;
    w->first = NULL;
    w->last = &w->first;
    pthread_cond_broadcast(&w->wake);
    pthread_mutex_unlock(&w->lock);
    while (left) {
        struct call *next = left->next;
        left->refused = REFUSE_STOPPING;
        exchange_finish(&left->x);
        left = next;
    }
    for (int i = 0; i < w->threads; i++)
        pthread_join(w->thread[i], NULL);
    pthread_cond_destroy(&w->wake);
    pthread_mutex_destroy(&w->lock);
    mem_free(w);
}
