/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the files of this room share. A client is one connection; a call is one request on it with its exchange, kept and
 * used again for the client's next request. While a call waits (CALL_SUSPENDED) it belongs to whoever was handed its exchange.
 *
 *   call states                       who moves it on
 *   RUNNING   → SUSPENDED             the HTTP thread, when the action answered ACTION_LATER
 *   RUNNING, SUSPENDED → FINISHED     whoever holds the exchange, by exchange_finish
 *   SUSPENDED → ABANDONED             http_stop, past its deadline: the client lets go of the call, its holder frees it by exchange_finish
 */
#ifndef BIASBOOK_HTTP_INSIDE_H
#define BIASBOOK_HTTP_INSIDE_H

#include "figures.h"
#include "head.h"
#include "prepared.h"
#include "proxy.h"
#include "server.h"
#include "target.h"
#include "throttle.h"

#include "../ground/secrets.h"

#include <microhttpd.h>
#include <pthread.h>
#include <stdatomic.h>

enum call_state { CALL_IDLE, CALL_RUNNING, CALL_SUSPENDED, CALL_FINISHED, CALL_ABANDONED };
enum call_phase { PHASE_HEAD, PHASE_BODY, PHASE_REPLY };

struct call {
    struct exchange x;
    atomic_int state;
    enum call_phase phase;
    struct client *client;     /* not to be touched once ABANDONED */
    const struct route *route; /* NULL: an asset or a refusal */
    enum refusal_number refused;
    unsigned allowed;   /* methods, for Allow */
    bool close;         /* after this reply */
    bool in_hand;       /* counted in http.in_hand */
    int64_t started_us; /* monotonic, at the request line */
    struct head head;
    struct target target;
    struct captures captures;
    char media_type[LIMIT_SHORT_TEXT + 1];
    char session[KEY_TEXT]; /* the token in the cookie; "" = none */
    struct buffer body;
    struct prepared *prepared; /* carries the reply until it is sent; NULL: an ordinary response does */
    struct call *next;         /* in the workers' queue */
};

struct client {
    struct http *http;
    struct MHD_Connection *connection;
    int fd;
    _Atomic int64_t deadline_us; /* monotonic: when the reaper ends it; 0 = never */
    _Atomic int64_t idle_us;     /* monotonic: since when a request head is waited for; 0 = a request is in hand */
    struct call *call;           /* NULL before the first request and once abandoned */
    bool abandoned;
    int64_t heard_idle_us;          /* the pause in which the reaper has listened whether the peer is still there */
    struct client *previous, *next; /* under http.clients_lock */
};

struct listener; /* private to listener.c */
struct workers;  /* private to workers.c */
struct assets;   /* private to assets.c */

struct http {
    struct http_options options; /* zeros replaced by their defaults */
    const struct route *routes;
    struct listener *listeners; /* the first one takes connections; the others, of before a reload, serve theirs to the end */
    struct proxies proxies;
    char address[HTTP_ADDRESS];
    char unix_path[HTTP_ADDRESS]; /* unlinked at the end; "" = TCP */
    char own_host[HTTP_ADDRESS];  /* host part of the listen address, for the host guard */
    atomic_bool refusing;
    atomic_int waiting; /* calls handed to someone; http_stop waits for 0 */
    atomic_int late;    /* abandoned at the stop, whose short reply is not yet sent */
    atomic_int in_hand; /* requests received and not yet answered to the last byte; http_stop waits for 0 as long as it may */
    struct http_figures figures;
    struct throttle *throttle;
    struct assets *assets;
    struct prepared_store *prepared;
    struct workers *workers;
    pthread_mutex_t clients_lock;
    struct client *clients, *first_client; /* newest first; the oldest */
    pthread_t reaper;
    pthread_cond_t reaper_wake; /* with clients_lock */
    int64_t looked_us;          /* when the reaper last went through all clients */
    bool reaper_started, reaper_end;
};

/* ---- listen.c ---- */
int listen_open(const char *where, struct http *h, struct fault *f); /* a listening socket, or -1; fills address, unix_path and own_host */
void listen_describe(int fd, struct http *h);

/* ---- listener.c: libmicrohttpd's daemons ---- */
bool listener_start(struct http *h, int fd, struct fault *f); /* owns fd from success on */
void listener_stop(struct http *h);                           /* closes all connections and the listening socket; again is fine */

/* ---- server.c: what libmicrohttpd calls ---- */
void on_line(void *cls, struct MHD_Connection *connection, void **context, enum MHD_ConnectionNotificationCode code);
void *on_target(void *cls, const char *uri, struct MHD_Connection *connection);
void on_request_over(void *cls, struct MHD_Connection *connection, void **context, enum MHD_RequestTerminationCode code);

/* ---- call.c: life of a call ---- */
struct call *call_new(struct client *client) __attribute__((warn_unused_result));
void call_free(struct call *c);                          /* NULL allowed */
void call_begin(struct call *c, const char *raw_target); /* forgets the last request */
void call_forget(struct call *c);                        /* closes files, lets large memory go */
void call_in_hand(struct call *c);
void call_over(struct call *c);                               /* answered or given up */
void call_refuse(struct call *c, enum refusal_number number); /* the first refusal stays */
void reply_clear(struct reply *r);

/* ---- request.c: the access handler ---- */
enum MHD_Result request_handler(void *cls, struct MHD_Connection *connection, const char *url, const char *method, const char *version,
                                const char *upload, size_t *upload_n, void **context);

/* ---- checks.c: what can be refused from the head alone ---- */
void checks_head(struct call *c, const char *method);
/* A browser that shows what it gets: it is answered with pages, even with refusals. */
bool for_people(const struct call *c);

/* ---- origin.c ---- */
bool origin_is_own(const struct head *head);              /* false: an unsafe request by a page of another site */
bool host_is_own(const struct http *h, const char *host); /* loopback name or address, or what we listen on */

/* ---- who.c ---- */
enum refusal_number who_asks(struct call *c);
/* Counts and logs a key that is nobody's; the refusal that is due. */
enum refusal_number wrong_key(struct call *c);
#define WHO_ADDRESS 64
const char *client_address(const struct call *c, char out[WHO_ADDRESS]); /* as in the log; "unix" without one */

/* ---- cookie.c ---- */
bool call_is_secure(const struct call *c);
bool cookie_token(const char *cookie, bool secure, char out[KEY_TEXT]); /* false: none, or too long to be one */

/* ---- who.c, more of it below ---- */
/* RFC 6750, 2.1: the scheme's name in any case, one or more blanks, the key; blanks behind it belong to the header line. False: another scheme. */
bool bearer_key(const char *authorization, char key[KEY_TEXT + 1]);

/* ---- body.c ---- */
void body_open(struct call *c);
void body_take(struct call *c, const char *bytes, size_t n);
void body_close(struct call *c);

/* ---- send.c ---- */
enum MHD_Result send_reply(struct call *c);
enum MHD_Result send_abandoned(struct client *client);
bool send_usual_headers(struct MHD_Response *m, const char *type); /* of every reply that carries data */
bool send_usual_headers_tls(struct MHD_Response *m, const char *type);

/* ---- relative.c: appends a reference (and a Link value with one) that begins with / as relative to `path`; others as they are ---- */
void relative_reference(struct buffer *b, const char *path, const char *reference);
void relative_link(struct buffer *b, const char *path, const char *link);

/* ---- assets.c ---- */
struct assets *assets_new(const char *folder, struct fault *f); /* NULL: out of memory */
void assets_free(struct assets *a);
bool assets_answer(const struct assets *a, struct exchange *x); /* false: no such file */

/* ---- workers.c ---- */
struct workers *workers_new(struct http *h, int threads, int queue, struct fault *f);
bool workers_take(struct workers *w, struct call *c); /* false: the queue is full */
void workers_stop(struct workers *w);                 /* answers those that wait with 503, joins, frees; NULL allowed */

/* ---- reaper.c ---- */
bool reaper_start(struct http *h);
void reaper_stop(struct http *h);
void client_opened(struct http *h, struct MHD_Connection *connection, void **context);
void client_closed(struct http *h, void **context);
static inline void client_idle(struct client *client, int64_t now_us, int64_t seconds)
{
    atomic_store_explicit(&client->idle_us, now_us, memory_order_relaxed);
    atomic_store_explicit(&client->deadline_us, now_us + seconds * 1000000, memory_order_relaxed);
}
static inline void client_deadline(struct client *client, int64_t now_us, int64_t seconds)
{
    atomic_store_explicit(&client->idle_us, 0, memory_order_relaxed);
    atomic_store_explicit(&client->deadline_us, now_us + seconds * 1000000, memory_order_relaxed);
}
static inline void client_no_deadline(struct client *client)
{
    atomic_store_explicit(&client->deadline_us, 0, memory_order_relaxed);
}

#endif
