/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A test stand: the listener with a small routes table of its own, and a client that speaks in raw bytes, so that tests can say what no
 * library would. Loopback only, every wait bounded.
 */
#ifndef BIASBOOK_TESTS_HTTP_STAND_H
#define BIASBOOK_TESTS_HTTP_STAND_H

#include "http/inside.h"

/* cmocka wants these four before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define STEWARD_KEY "bb1_STEWARDstewardSTEWARDstewardSTEWARDsteward0"
#define LOGGER_KEY  "bb1_LOGGERloggerLOGGERloggerLOGGERloggerLOGGEl0"
#define READER_KEY  "bb1_READERreaderREADERreaderREADERreaderREADEr0"
#define STRANGE_KEY "bb1_STRANGEstrangeSTRANGEstrangeSTRANGEstrange0"

struct house {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct exchange *held[256]; /* exchanges an action kept (ACTION_LATER), in order */
    int held_count;
    bool gate_open;     /* workers pass /gate */
    int at_gate;        /* workers that wait there */
    atomic_int actions; /* how many actions were called */
    pthread_t finisher;
    bool finisher_runs;
};

struct stand {
    struct house house;
    struct http *http;
    char address[HTTP_ADDRESS];
    int port;
};

/* Fills what is zero in `o` (listen, house, find_key) and starts; fails the test otherwise. */
void stand_up(struct stand *s, struct http_options o);
/* Finishes what is held, opens the gate, stops. */
void stand_down(struct stand *s);
extern const struct route stand_routes[];
/* Finishes all held exchanges with 200, from this thread; returns how many. */
int stand_finish_held(struct stand *s);
/* Starts a thread that finishes held exchanges as they come, in groups, as a writer would. */
void stand_finisher(struct stand *s);
void stand_wait_held(struct stand *s, int count);
void stand_wait_gate(struct stand *s, int count);
void stand_open_gate(struct stand *s);

/* ---- client ---- */
struct speaker {
    int fd;
    char got[1 << 17]; /* received and not yet taken */
    size_t got_n;
};
struct answer {
    int status;
    char head[8192]; /* status line and headers, CRLF between */
    char body[1 << 16];
    size_t body_n; /* as received; cut to the array */
};
void dial_in(struct stand *s, struct speaker *k);
void hang_up(struct speaker *k);
void say(struct speaker *k, const char *text);
void say_bytes(struct speaker *k, const char *bytes, size_t n);
/* Reads one whole reply; false when the connection ended or nothing came for 5 seconds. `head_only`: to a HEAD request. */
bool hear(struct speaker *k, struct answer *a, bool head_only);
/* True when the peer closes within `ms` without another byte. */
bool hears_end(struct speaker *k, int ms);
bool hears_rest_and_end(struct speaker *k, int ms); /* drops what still comes */
/* True when nothing comes and the connection stays open for `ms`. */
bool hears_nothing(struct speaker *k, int ms);
/* Value of a header into `out`, or "" when it is absent. */
const char *header_of(const struct answer *a, const char *name, char out[512]);
int headers_of(const struct answer *a, const char *name); /* how many times */
/* One request on a new connection with Connection: close. */
void ask(struct stand *s, const char *request, struct answer *a);
#define ROUTE(text) text " HTTP/1.1\r\nHost: localhost\r\n"

#endif
