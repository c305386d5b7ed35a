/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Suggestion replies against bare servers, and how soon a logged result is seen in them.
 */
#include "bench.h"
#include "load.h"
#include "others.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define ROUNDS  7
#define ROUND_S 0.4
#define HEAD    120 /* bytes of a bare reply's head */

size_t suggestion_request(void *user, long i, char *out, size_t size)
{
    const struct club *c = user;
    unsigned long h = (unsigned long)i * 2654435761ul;
    return (size_t)snprintf(
        out, size, "GET /api/suggestion?deck=%s&stock=%s&recordings=%lu&position_s=%lu HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        c->deck[h % (unsigned long)c->decks], c->stock[(h >> 8) % (unsigned long)c->stocks], (h >> 16) % 20, (h >> 20) % 1800);
}

/* A server's rounds at one number of connections. */
struct rounds {
    int port;
    pid_t pid;
    double per_second[ROUNDS], p99_us[ROUNDS], processor_us[ROUNDS];
    long errors;
};

static void one_round(struct rounds *r, int k, struct club *c, int connections)
{
    struct load l = {.port = r->port, .connections = connections, .seconds = ROUND_S, .request = suggestion_request, .user = c};
    double before = processor_s(r->pid);
    struct load_result got = load_run(&l);
    r->per_second[k] = got.per_second;
    r->p99_us[k] = got.p99_us;
    r->processor_us[k] = got.replies ? (processor_s(r->pid) - before) * 1e6 / (double)got.replies : 0;
    r->errors += got.errors;
}

/* Turn about, in short rounds: what else the machine does then meets all alike. */
static void at(int connections, const struct daemon *d, struct club *c, const struct other *bare, const struct other *nginx)
{
    struct rounds ours = {.port = port_of(d), .pid = d->pid}, theirs = {.port = bare->port, .pid = bare->pid},
                  third = {.port = nginx->port, .pid = nginx->pid};
    for (int k = 0; k < ROUNDS; k++) {
        one_round(&theirs, k, c, connections);
        one_round(&ours, k, c, connections);
        if (nginx->pid)
            one_round(&third, k, c, connections);
    }
    double us = median_of(ours.per_second, ROUNDS), them = median_of(theirs.per_second, ROUNDS), p99 = median_of(ours.p99_us, ROUNDS),
           their_p99 = median_of(theirs.p99_us, ROUNDS), most = 3 * their_p99 > 2000 ? 3 * their_p99 : 2000;
    char what[60], bar[120], against[60] = "nginx is not here";
    if (nginx->pid)
        snprintf(against, sizeof against, "%.2f x nginx return", us / median_of(third.per_second, ROUNDS));
    snprintf(what, sizeof what, "suggestions, %d connections", connections);
    snprintf(bar, sizeof bar, "p99 %.1f ms %s; 0.8 x bare", most / 1e3, verdict(p99 <= most));
    line(what, c->what, bar, us >= 0.8 * them && !ours.errors,
         "%.0f/s = %.2f x bare (%.0f/s), %s; p99 %.2f ms (bare %.2f); processor %.1f us a reply (bare %.1f)%s", us, us / them, them,
         against, p99 / 1e3, their_p99 / 1e3, median_of(ours.processor_us, ROUNDS), median_of(theirs.processor_us, ROUNDS),
         ours.errors ? " ERRORS" : "");
    if (connections == 32)
        cost("suggestion, processor", "us", c->rows, median_of(ours.processor_us, ROUNDS));
}

void measure_suggestions(const struct daemon *d, struct club *c)
{
    struct load warm = {.port = port_of(d), .connections = 4, .seconds = 1, .request = suggestion_request, .user = c};
    size_t body = (size_t)load_run(&warm).mean_bytes - HEAD;
    struct other bare = bare_start(body), nginx = nginx_start(body);
    at(1, d, c, &bare, &nginx);
    at(32, d, c, &bare, &nginx);
    at(256, d, c, &bare, &nginx);
    other_stop(&bare);
    other_stop(&nginx);
}

static long number_after(const char *text, const char *name)
{
    const char *found = strstr(text, name);
    return found ? atol(found + strlen(name)) : 0;
}

/* From the receipt to the first suggestion that contains it, in ms. */
static double seen_after(const struct daemon *d, struct club *c, long i)
{
    char request[2048], path[100] = "", suggestion[300];
    log_request(c, i, request, sizeof request);
    sscanf(request, "PUT %90s", path);
    struct answer a = ask(d, "PUT", path, strstr(request, "\r\n\r\n") + 4, NULL);
    long want = number_after(a.body, "\"seq\":"), have = 0;
    answer_free(&a);
    snprintf(suggestion, sizeof suggestion, "/api/suggestion?deck=bench&stock=%s", c->stock[0]);
    double start = now_s();
    while (have < want && now_s() - start < 30) {
        a = ask(d, "GET", suggestion, NULL, NULL);
        have = number_after(a.body, "\"as_of\":");
        answer_free(&a);
    }
    return (now_s() - start) * 1e3;
}

void measure_seen(const struct daemon *d, struct club *c)
{
    enum { TIMES = 200, MOST_S = 60, LEAST = 20 };
    double took[TIMES], bar = c->rows <= 10000 ? 20 : 50, start = now_s();
    int n = 0;
    add_bench_deck(d);
    while (n < TIMES && (n < LEAST || now_s() - start < MOST_S)) {
        took[n] = seen_after(d, c, n);
        usleep(5000);
        n++;
    }
    double middle = median_of(took, n), p99 = took[n * 99 / 100];
    char text[40] = "";
    if (c->rows <= 100000)
        snprintf(text, sizeof text, "p99 %.0f ms", bar);
    line("seen in a suggestion", c->what, text, p99 <= bar, "p50 %.1f ms, p99 %.1f ms after the receipt, of %d", middle, p99, n);
    cost("seen, median", "ms", c->rows, middle);
}
