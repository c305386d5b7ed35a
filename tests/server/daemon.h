/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A whole biasbook in a child process, and requests to it. The child runs the very same verbs as the installed program.
 */
#ifndef BIASBOOK_TESTS_DAEMON_H
#define BIASBOOK_TESTS_DAEMON_H

#include <curl/curl.h>
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

struct daemon {
    pid_t pid;
    char address[200]; /* http://127.0.0.1:PORT without the last slash */
};

/* Starts `biasbook ARGS…` (NULL-closed, without the program's name) and waits for its address line. */
void daemon_start(struct daemon *d, const char *const *args);
bool daemon_try(struct daemon *d, const char *const *args,
                int *status);       /* the same; false: it ended before that, *status as daemon_stop returns it */
int daemon_stop(struct daemon *d);  /* SIGTERM; returns the exit status */
void daemon_kill(struct daemon *d); /* SIGKILL */

/* Runs a verb to its end; its standard output in `out` (NUL-closed, cut to size). Returns the exit status. */
int run_verb(const char *const *args, char *out, size_t size);

struct answer {
    long status;
    char *body; /* NUL-closed */
    size_t length;
    char etag[100], link[4200], location[300], type[120], retry_after[40], set_cookie[200];
};
/* body NULL: none. header: one more header line or NULL. Blocks; fails the test on a transport error unless `may_fail`, then status is 0. */
struct answer ask(const struct daemon *d, const char *method, const char *path, const char *body, const char *header);
struct answer ask_may_fail(const struct daemon *d, const char *method, const char *path, const char *body, const char *header);
void answer_free(struct answer *a);
json_t *answer_json_of(const struct answer *a); /* new reference; fails the test when it is no JSON */

/* Asks and expects this status; prints the body otherwise. */
#define EXPECT(status_, d_, method_, path_, body_)                                                                                         \
    do {                                                                                                                                   \
        struct answer expect_answer_ = ask(d_, method_, path_, body_, NULL);                                                               \
        if (expect_answer_.status != (status_))                                                                                            \
            print_message("%s %s: %ld %s\n", method_, path_, expect_answer_.status, expect_answer_.body);                                  \
        assert_int_equal(expect_answer_.status, status_);                                                                                  \
        answer_free(&expect_answer_);                                                                                                      \
    } while (0)

void uuid_of(unsigned n, char out[37]); /* a version-4 UUID that is a function of n */
char *scratch_path(const char *name);   /* a path in this test's own scratch folder; static storage of the last eight */

#endif
