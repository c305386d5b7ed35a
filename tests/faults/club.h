/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A small served club to be put through faults: a question for each route and method, a client that opens a new connection for each and tells a whole
 * answer from a closed connection, and what must hold afterwards.
 */
#ifndef BIASBOOK_TESTS_FAULTS_CLUB_H
#define BIASBOOK_TESTS_FAULTS_CLUB_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "../server/daemon.h"

struct club {
    struct daemon d;
    char db[160], key[120]; /* key: of a steward, a header line */
};

/* Makes a club with decks, stocks, results, a service, a check and members. Where it is served no variance is estimated any more once this returns. */
void club_make(struct club *c, const char *name);
void club_serve(struct club *c);
bool club_try_to_serve(struct club *c, int *status); /* false: it ended before it served, with *status (1000 + signal) */
void club_serve_settled(struct club *c);             /* and waits until nothing happens in the background */
/* SIGTERM; the daemon has to end with 0, `check` has to end with 0, numbers are gapless. */
void club_end(struct club *c);
void club_stop(struct club *c);    /* without the proof */
void club_abandon(void);           /* tear-down: kills a daemon that a failed test left */
void club_abandon_to(int *status); /* waits for a daemon that ends or was killed by itself */
void club_prove(const struct club *c);
long long club_number(const struct club *c, const char *sql); /* the first column of a question to the file */

/* The file of a club that nobody has open, over another. */
void club_copy(const struct club *from, const struct club *to);

enum question_kind {
    READS,      /* the same answer each time */
    LOOKS,      /* reads what changes by itself */
    WRITES_ROW, /* a record under an id of the client's */
    WRITES      /* the rest */
};

struct question {
    const char *method, *path; /* %s: a fresh UUID or name; %k: the key; %m, %lld: a member and one of its keys, from `before` */
    const char *type, *body;   /* NULL: none; %s as in the path */
    int fine, again; /* status of the first and, when it may have been done already, of the second time; 0 = as it comes, as the first */
    enum question_kind kind;
    long long (*before)(const struct club *c); /* makes what the question is about, on a machine without faults */
};
extern const struct question questions[]; /* closed by one without a method */

/* A question with its blanks filled in. */
struct asked {
    char path[600], body[6000];
    const struct question *q;
};
void asked_fill(struct asked *a, const struct club *c, const struct question *q);

struct said {
    int status;   /* 0: the connection was closed without a whole answer */
    bool refused; /* a problem document of status 500 or 503 */
    size_t n;
    char type[80], etag[80];
    char body[1 << 21];
};
/* One request on a new connection; fails the test when nothing comes within 20 s. */
void say_to(const struct club *c, const struct asked *a, struct said *out);
void say_plainly(const struct club *c, const char *method, const char *path, const char *type, const char *body, struct said *out);

#endif
