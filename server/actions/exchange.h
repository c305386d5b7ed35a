/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One request and its reply as the actions see them: everything was received, decoded and limited before, so an action is
 * called exactly once and reads like a recipe. http/ makes the exchange and owns it; an action fills `reply`.
 *
 * An action returns ACTION_DONE with the reply filled, or ACTION_LATER after handing the exchange to a queue; then whoever
 * holds it fills the reply and calls exchange_finish(x) exactly once, from any thread. After that x must not be touched.
 */
#ifndef BIASBOOK_ACTIONS_EXCHANGE_H
#define BIASBOOK_ACTIONS_EXCHANGE_H

#include "../ground/buffer.h"
#include "../ground/fault.h"
#include "../ground/memory.h"
#include "../trade/records.h" /* enum role */

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum http_method { HTTP_GET, HTTP_HEAD, HTTP_PUT, HTTP_POST, HTTP_DELETE, HTTP_OPTIONS };

struct parameter {
    const char *name;  /* percent-decoded, valid UTF-8, NUL-free */
    const char *value; /* "" when there was no = */
};

struct identity {
    int64_t member; /* 0 = nobody (open club or public read) */
    int64_t key;    /* the key that was shown, or that the session was opened with; 0 = none */
    enum role role; /* what it may do: the member's role within the key's scope */
    char name[LIMIT_NAME + 1];
};

struct request {
    enum http_method method; /* HEAD is served like GET, http/ drops the body */
    const char *path;        /* without query, decoded */
    const char *captures[3]; /* path parts the route captured ({id}, {uuid}), decoded; NULL after the last */
    int parameter_count;
    struct parameter parameters[LIMIT_QUERY_PARAMETERS];
    const char *content_type; /* media type alone, lower case; "" when none */
    const char *body;         /* NUL-terminated, body_length bytes; NULL when spooled or none */
    size_t body_length;
    int body_fd;                          /* spooled body rewound to its start, else -1; http/ closes it */
    const char *accept;                   /* header as received; "" when none */
    const char *if_match, *if_none_match; /* header values as received; NULL when none */
    struct identity who;
    bool by_session;     /* `who` is proved by a session's cookie */
    const char *session; /* the token in that cookie; "" when there is none. Also of sessions that are over */
    bool secure;         /* TLS, by this daemon or by a proxy it trusts */
    int64_t now_us;
};

struct reply {
    int status;               /* 0 = not filled: http/ answers 500 */
    const char *content_type; /* static string */
    struct buffer body;
    int file; /* fd to send instead of body, -1 = none; http/ closes it */
    int64_t file_size;
    const void *fixed; /* constant bytes to send instead of body (embedded assets), not copied */
    size_t fixed_length;
    char etag[64]; /* without quotes; "" = none. http/ answers 304 to a matching If-None-Match on GET */
    char location[160], link[LIMIT_URL];
    char cache_control[64]; /* "" = no-store */
    char set_cookie[200];   /* "" = none */
    bool wrong_key;         /* the body held a key that is nobody's: http/ counts and logs it like one in the head */
    char file_name[80];     /* Content-Disposition: attachment; "" = none */
    int retry_after_s;      /* 0 = none */
};

struct exchange {
    struct request request;
    struct reply reply;
    struct arena *arena;                /* lives until the reply is sent */
    void (*finish)(struct exchange *x); /* set by http/ */
    void *owner;                        /* http/'s connection */
};

/* Name of the session's cookie, without TLS and with. */
#define COOKIE_PLAIN  "biasbook"
#define COOKIE_SECURE "__Host-biasbook"

enum action_result { ACTION_DONE, ACTION_LATER };

struct house; /* what the daemon is made of: actions/house.h */
typedef enum action_result (*action_fn)(struct house *house, struct exchange *x);

static inline void exchange_finish(struct exchange *x)
{
    x->finish(x);
}

/* The value of a query parameter, or NULL. */
const char *request_parameter(const struct request *q, const char *name);

/* The status that a fault is answered with. */
int fault_status(const struct fault *f);

/* Fills the reply with an RFC 9457 problem document for `f` (status from its kind). */
void reply_fault(struct reply *r, const struct fault *f);

#endif
