/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Clients and their deadlines. libmicrohttpd's own timeout is reset by every byte, so a byte a second holds a connection for ever; here a whole
 * head, a whole body, a pause and the sending of a reply each have a total. One thread looks at all clients a few times a second.
 */
#include "inside.h"

#include "../ground/clock.h"

#include <errno.h>
#include <sys/socket.h>
#include <time.h>

#define LOOK_US 100000 /* how late a deadline may be noticed */

static bool is_crowded(const struct http *h)
{
    return atomic_load(&h->figures.connections_open) * 4 >= (long long)h->options.connections * 3;
}

void client_opened(struct http *h, struct MHD_Connection *connection, void **context)
{
    struct client *client = mem_zero(1, sizeof *client);
    *context = client;
    if (!client)
        return; /* the first request will find none and the connection is closed */
    client->http = h;
    client->connection = connection;
    client->fd = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD)->connect_fd;
    client_idle(client, clock_monotonic_us(), h->options.head_s);
    figure_add(&h->figures.connections_open, 1);
    figure_add(&h->figures.connections_total, 1);
    pthread_mutex_lock(&h->clients_lock);
    client->next = h->clients;
    if (client->next)
        client->next->previous = client;
    else
        h->first_client = client;
    h->clients = client;
    if (is_crowded(h))
        pthread_cond_signal(&h->reaper_wake);
    pthread_mutex_unlock(&h->clients_lock);
}

/* libmicrohttpd tells us before it closes the descriptor, so the reaper, which holds the lock, never meets a descriptor used again. */
void client_closed(struct http *h, void **context)
{
    struct client *client = *context;
    *context = NULL;
    if (!client)
        return;
    pthread_mutex_lock(&h->clients_lock);
    if (client->previous)
        client->previous->next = client->next;
    else
        h->clients = client->next;
    if (client->next)
        client->next->previous = client->previous;
    else
        h->first_client = client->previous;
    pthread_mutex_unlock(&h->clients_lock);
    figure_add(&h->figures.connections_open, -1);
    call_free(client->call);
    mem_free(client);
}

/* When three quarters of all connections are in use, nobody may sit on one for long without a request: those who have one get in. */
static bool too_late(struct client *client, int64_t now, bool crowded)
{
    int64_t deadline = atomic_load_explicit(&client->deadline_us, memory_order_relaxed);
    int64_t idle = atomic_load_explicit(&client->idle_us, memory_order_relaxed);
    if (deadline == 0)
        return false;
    return now >= deadline || (crowded && idle && now - idle >= LIMIT_CROWDED_SECONDS * 1000000LL);
}

/* A peer that ended its side before its last reply was sent: libmicrohttpd is told of that end once, while it does not read, and would keep the
 * connection until its deadline. Listened for once in a pause. */
static bool has_left(struct client *client, int64_t now)
{
    char byte;
    int64_t idle = atomic_load_explicit(&client->idle_us, memory_order_relaxed);
    if (!idle || idle == client->heard_idle_us || now - idle < LOOK_US)
        return false;
    client->heard_idle_us = idle;
    return recv(client->fd, &byte, 1, MSG_PEEK | MSG_DONTWAIT) == 0;
}

static void let_go(struct http *h, struct client *client)
{
    figure_add(&h->figures.connections_reaped, 1);
    client_no_deadline(client);
    shutdown(client->fd, SHUT_RDWR); /* its HTTP thread sees the end and closes it */
}

/* Room for those who have something to ask: of the connections that never asked anything the oldest go, until seven in ten are left. */
static void make_room(struct http *h)
{
    long long over = atomic_load(&h->figures.connections_open) - (long long)h->options.connections * 7 / 10;
    for (struct client *client = h->first_client; client && over > 0; client = client->previous) {
        if (client->call)
            continue;
        if (atomic_load_explicit(&client->deadline_us, memory_order_relaxed)) /* else it is on its way already */
            let_go(h, client);
        over--;
    }
}

static void look(struct http *h)
{
    int64_t now = clock_monotonic_us();
    bool crowded = is_crowded(h);
    if (crowded)
        make_room(h);
    if (now - h->looked_us < LOOK_US)
        return;
    h->looked_us = now;
    for (struct client *client = h->clients; client; client = client->next)
        if (too_late(client, now, crowded) || has_left(client, now))
            let_go(h, client);
}

static void *reap(void *user)
{
    struct http *h = user;
    pthread_mutex_lock(&h->clients_lock);
    while (!h->reaper_end) {
        look(h);
        int64_t then = clock_monotonic_us() + LOOK_US;
        struct timespec at = {.tv_sec = then / 1000000, .tv_nsec = then % 1000000 * 1000};
        pthread_cond_timedwait(&h->reaper_wake, &h->clients_lock, &at);
    }
    pthread_mutex_unlock(&h->clients_lock);
    return NULL;
}

bool reaper_start(struct http *h)
{
    h->reaper_started = pthread_create(&h->reaper, NULL, reap, h) == 0;
    return h->reaper_started;
}

void reaper_stop(struct http *h)
{
    if (!h->reaper_started)
        return;
    pthread_mutex_lock(&h->clients_lock);
    h->reaper_end = true;
    pthread_cond_signal(&h->reaper_wake);
    pthread_mutex_unlock(&h->clients_lock);
    pthread_join(h->reaper, NULL);
    h->reaper_started = false;
}
