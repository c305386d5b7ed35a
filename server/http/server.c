/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Start and stop of the listener, and the callbacks by which libmicrohttpd tells of clients and requests.
 */
#include "inside.h"

#include "../ground/clock.h"
#include "../ground/log.h"

#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

/* ---- callbacks ---- */

void on_line(void *cls, struct MHD_Connection *connection, void **context, enum MHD_ConnectionNotificationCode code)
{
    if (code == MHD_CONNECTION_NOTIFY_STARTED)
        client_opened(cls, connection, context);
    else
        client_closed(cls, context);
}

/* The request line has come: the only sight of the target as it was sent. Its result is the request's context. */
void *on_target(void *cls, const char *uri, struct MHD_Connection *connection)
{
    struct http *h = cls;
    struct client *client = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT)->socket_context;
    if (!client)
        return NULL;
    if (!client->call) {
        struct call *c = call_new(client);
        pthread_mutex_lock(&h->clients_lock); /* http_stop looks at calls */
        client->call = c;
        pthread_mutex_unlock(&h->clients_lock);
    }
    if (client->call)
        call_begin(client->call, uri);
    return client;
}

void on_request_over(void *cls, struct MHD_Connection *connection, void **context, enum MHD_RequestTerminationCode code)
{
    (void)connection, (void)code;
    struct http *h = cls;
    struct client *client = *context;
    *context = NULL;
    if (!client)
        return;
    if (client->call)
        call_over(client->call);
    if (client->abandoned) {
        client->abandoned = false;
        atomic_fetch_sub(&h->late, 1);
    }
    client_idle(client, clock_monotonic_us(), h->options.idle_s);
}

/* ---- start ---- */

#define OTHER_DESCRIPTORS 128 /* the club's file, spooled bodies and replies, logs */

/* As many of the connections wanted as the process may have descriptors for, raising its own limit as far as it may. */
static int descriptors_for(int connections)
{
    struct rlimit r;
    rlim_t want = (rlim_t)connections + OTHER_DESCRIPTORS;
    if (getrlimit(RLIMIT_NOFILE, &r) != 0 || r.rlim_cur >= want)
        return connections;
    r.rlim_cur = r.rlim_max < want ? r.rlim_max : want;
    if (setrlimit(RLIMIT_NOFILE, &r) != 0)
        getrlimit(RLIMIT_NOFILE, &r);
    if (r.rlim_cur >= want)
        return connections;
    log_line(LOG_WARN, "fewer connections", "reason", "the limit of open files is too low", NULL);
    return r.rlim_cur > 2 * OTHER_DESCRIPTORS ? (int)r.rlim_cur - OTHER_DESCRIPTORS : (int)r.rlim_cur / 2;
}

static void defaults(struct http_options *o)
{
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    if (o->threads <= 0)
        o->threads = cores > 0 ? (int)cores : 1;
    if (o->workers <= 0)
        o->workers = 2;
    if (o->worker_queue <= 0)
        o->worker_queue = LIMIT_WORKER_QUEUE;
    if (o->connections <= 0)
        o->connections = LIMIT_CONNECTIONS;
    o->connections = descriptors_for(o->connections);
    if (o->connections < o->threads)
        o->connections = o->threads;
    if (o->head_s <= 0)
        o->head_s = LIMIT_HEAD_SECONDS;
    if (o->body_s <= 0)
        o->body_s = LIMIT_BODY_SECONDS;
    if (o->spool_s <= 0)
        o->spool_s = LIMIT_SPOOL_SECONDS;
    if (o->idle_s <= 0)
        o->idle_s = LIMIT_IDLE_SECONDS;
    if (!o->spool_dir)
        o->spool_dir = "/var/tmp";
}

static bool start_prepared(struct http *h, struct fault *f)
{
    h->prepared = prepared_new(h->options.tls_cert ? send_usual_headers_tls : send_usual_headers);
    h->throttle = throttle_new();
    return (h->prepared && h->throttle) || fault_add(f, FAULT_MEMORY, "", "out-of-memory", "out of memory");
}

static bool prepare(struct http *h)
{
    pthread_condattr_t attributes;
    if (pthread_mutex_init(&h->clients_lock, NULL) != 0)
        return false;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    bool fine = pthread_cond_init(&h->reaper_wake, &attributes) == 0;
    pthread_condattr_destroy(&attributes);
    return fine;
}

static void dismantle(struct http *h)
{
    listener_stop(h);
    reaper_stop(h);
    assets_free(h->assets);
    prepared_free(h->prepared);
    throttle_free(h->throttle);
    if (h->unix_path[0])
        unlink(h->unix_path);
    pthread_cond_destroy(&h->reaper_wake);
    pthread_mutex_destroy(&h->clients_lock);
    mem_free(h);
}

struct http *http_start(const struct http_options *options, const struct route *routes, struct fault *f)
{
    struct http *h = mem_zero(1, sizeof *h);
    if (!h || !prepare(h)) {
        mem_free(h);
        fault_add(f, FAULT_MEMORY, "", "out-of-memory", "out of memory");
        return NULL;
    }
    h->options = *options;
    h->routes = routes;
    defaults(&h->options);
    if (options->behind_proxy && !proxies_read(options->trusted_proxies ? options->trusted_proxies : "127.0.0.0/8,::1", &h->proxies, f)) {
        dismantle(h);
        return NULL;
    }
    int fd = options->listen_fd > 0 ? options->listen_fd : listen_open(options->listen, h, f);
    if (options->listen_fd > 0)
        listen_describe(fd, h);
    bool fine = fd >= 0 && (h->assets = assets_new(options->static_dir, f)) && start_prepared(h, f) &&
                (h->workers = workers_new(h, h->options.workers, h->options.worker_queue, f)) &&
                (reaper_start(h) || fault_add(f, FAULT_MEMORY, "", "no-thread", "the reaper could not be started")) &&
                listener_start(h, fd, f);
    if (fine)
        return h;
    if (fd >= 0)
        close(fd);
    workers_stop(h->workers);
    dismantle(h);
    return NULL;
}

char *http_address(const struct http *h, char out[HTTP_ADDRESS])
{
    snprintf(out, HTTP_ADDRESS, "%s", h->address);
    return out;
}

void http_write_figures(void *http, struct buffer *b)
{
    const struct http *h = http;
    figures_write(&h->figures, b);
}

/* ---- stop ---- */

#define LATE_MS 1000 /* at most so long for the short replies to those who were left waiting */

void http_refuse(struct http *h)
{
    atomic_store(&h->refusing, true);
}

static void pause_ms(long ms)
{
    struct timespec t = {.tv_nsec = ms * 1000000};
    nanosleep(&t, NULL);
}

/* Takes the calls that still wait away from their clients, so that their connections can be closed; whoever holds one frees it by finishing it. */
static void abandon_waiting(struct http *h)
{
    pthread_mutex_lock(&h->clients_lock);
    for (struct client *client = h->clients; client; client = client->next) {
        int suspended = CALL_SUSPENDED;
        if (!client->call || !atomic_compare_exchange_strong(&client->call->state, &suspended, CALL_ABANDONED))
            continue;
        client->call = NULL;
        client->abandoned = true; /* from here on in_hand is not counted any more, but in `late` */
        atomic_fetch_add(&h->late, 1);
        atomic_fetch_sub(&h->in_hand, 1);
        MHD_resume_connection(client->connection);
        atomic_fetch_sub(&h->waiting, 1);
    }
    pthread_mutex_unlock(&h->clients_lock);
}

void http_stop(struct http *h, int64_t deadline_us)
{
    if (!h)
        return;
    http_refuse(h);
    while (atomic_load(&h->in_hand) > 0 && clock_monotonic_us() < deadline_us)
        pause_ms(1);
    while (atomic_load(&h->waiting) > 0) {
        abandon_waiting(h);
        pause_ms(1);
    }
    for (int ms = 0; atomic_load(&h->late) > 0 && ms < LATE_MS; ms++)
        pause_ms(1);
    listener_stop(h);
    workers_stop(h->workers);
    dismantle(h);
}
