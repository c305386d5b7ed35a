/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The listener: everything between a socket and an action. The only room that knows libmicrohttpd.
 *
 * A request: target decoded → head guarded → route, host, origin, key, body type and length tested from the head alone → body collected to
 * its limit → action run (inline, through the writer, or on a worker) → reply sent. An exchange that waits is suspended and belongs to whoever
 * was handed it, until exchange_finish.
 */
#ifndef BIASBOOK_HTTP_SERVER_H
#define BIASBOOK_HTTP_SERVER_H

#include "routes.h"

#include <stdbool.h>
#include <stdint.h>

struct http; /* private */

struct http_options {
    const char *listen;   /* "ADDR:PORT", "[ADDR6]:PORT" or "unix:PATH"; port 0 = any free one */
    int listen_fd;        /* > 0: a socket that already listens (handed over by a service manager) instead of `listen`; http owns it */
    const char *tls_cert; /* PEM files of the certificate chain and of its key: TLS by this daemon; NULL = plain */
    const char *tls_key;
    bool behind_proxy;                   /* a proxy ends TLS and says who asks: believed of the addresses below and of Unix sockets only */
    const char *trusted_proxies;         /* addresses or networks, separated by commas; NULL = loopback */
    bool open;                           /* everyone is a steward; only our own host names are answered */
    bool public_read;                    /* GET without a key, but for ROUTE_PRIVATE rows */
    const char *static_dir;              /* NULL = the files inside the binary; else read from there at each request */
    const char *spool_dir;               /* where large uploads wait; NULL = /var/tmp */
    int threads;                         /* HTTP threads; 0 = cores */
    int workers;                         /* worker threads; 0 = 2 */
    int worker_queue;                    /* 0 = LIMIT_WORKER_QUEUE */
    int connections;                     /* 0 = LIMIT_CONNECTIONS */
    int head_s, body_s, spool_s, idle_s; /* total deadlines; 0 = LIMIT_…_SECONDS */
    struct house *house;
    /* Who a presented key belongs to, or the token of a session's cookie (never of the shape of a key); false: nobody. Called on HTTP threads, so quick. */
    bool (*find_key)(struct house *house, const char *key, struct identity *out);
};

/* Listens and answers from its return on. `options` is copied; its texts and `routes` must live until http_stop. NULL and a fault (FAULT_STORE for
 * the address, FAULT_MEMORY) otherwise. */
struct http *http_start(const struct http_options *options, const struct route *routes, struct fault *f)
    __attribute__((warn_unused_result));

/* Reads the TLS files again: new connections get the new certificate, those that are open keep theirs until they end. False and a fault when the files are of no use: then
 * the old ones stay in force. Without TLS it does nothing. One thread at a time, and none that stops. */
bool http_reload(struct http *h, struct fault *f);

#define HTTP_ADDRESS 160
/* What to type into a browser, "http://127.0.0.1:8460/" with the real port, or "unix:PATH". Returns `out`. */
char *http_address(const struct http *h, char out[HTTP_ADDRESS]);

/* Stopping, first half: from now on every new request is answered 503 with Retry-After and its connection closed. Those in hand go on;
 * the caller now drains the writer. */
void http_refuse(struct http *h);
/* Second half: waits until `deadline_us` (clock_monotonic_us) for requests in hand to be answered, answers 503 for those still waiting (their holder may finish
 * them later without harm), ends workers after their current action, closes all connections, frees. NULL allowed. */
void http_stop(struct http *h, int64_t deadline_us);

/* Appends the listener's figures as Prometheus text; fits house.listener_figures. */
void http_write_figures(void *http, struct buffer *b);

#endif
