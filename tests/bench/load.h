/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Load from this process to a server on loopback: some keep-alive connections, each sending its next request as soon as its reply is complete. Raw sockets and one
 * epoll loop, so that the client costs little; it shares the cores with the server all the same.
 */
#ifndef BIASBOOK_TESTS_LOAD_H
#define BIASBOOK_TESTS_LOAD_H

#include <stddef.h>

struct load {
    int port;
    int connections;
    double seconds;
    /* Writes the n-th request (whole bytes, head and body) into `out`; returns its length. `n` counts over all connections. */
    size_t (*request)(void *user, long n, char *out, size_t size);
    void *user;
    long most; /* stop after so many requests; 0 = by time alone */
};

#define LOAD_STEPS 9
extern const double load_steps_ms[LOAD_STEPS]; /* upper ends of the histogram's steps; the last is endless */

struct load_result {
    long replies, errors; /* errors: status not 2xx, or a broken connection */
    double seconds, per_second;
    double p50_us, p99_us, worst_us;
    double mean_bytes;      /* of a whole reply */
    double client_us;       /* processor time of this client a reply */
    long up_to[LOAD_STEPS]; /* replies a step of the histogram */
};
struct load_result load_run(const struct load *l);

/* Opens a connection to a port on loopback; ends the program when that fails. */
int load_connect(int port);

#endif
