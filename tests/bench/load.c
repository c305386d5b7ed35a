/* SPDX-License-Identifier: GPL-3.0-or-later
 * See load.h. One epoll loop; latencies go into a histogram of 5 µs bins. */
#include "load.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define BINS   400000
#define BIN_US 5.0
#define ROOM   16384

const double load_steps_ms[LOAD_STEPS] = {0.25, 0.5, 1, 2, 5, 10, 20, 50, 1e9};

struct connection {
    int fd;
    double sent_at;
    size_t got, need; /* bytes of the reply so far; whole size once the head is in */
    char in[ROOM];
};

static double now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec * 1e6 + (double)t.tv_nsec / 1e3;
}

int load_connect(int port)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((unsigned short)port), .sin_addr = {htonl(INADDR_LOOPBACK)}};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), one = 1;
    if (fd < 0 || connect(fd, (struct sockaddr *)&to, sizeof to)) {
        perror("connect");
        exit(1);
    }
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    return fd;
}

static void send_next(const struct load *l, struct connection *c, long n)
{
    char out[8192];
    size_t length = l->request(l->user, n, out, sizeof out), put = 0;
    c->got = c->need = 0;
    c->sent_at = now_us();
    while (put < length) {
        ssize_t w = write(c->fd, out + put, length - put);
        if (w <= 0 && errno != EINTR) {
            perror("write");
            exit(1);
        }
        put += w > 0 ? (size_t)w : 0;
    }
}

/* 1: reply complete; 0: more to come; -1: broken. */
static int take(struct connection *c)
{
    ssize_t r = read(c->fd, c->in + (c->got < ROOM - 1 ? c->got : ROOM / 2), ROOM - 1 - (c->got < ROOM - 1 ? c->got : ROOM / 2));
    if (r <= 0)
        return r < 0 && (errno == EAGAIN || errno == EINTR) ? 0 : -1;
    c->got += (size_t)r;
    if (!c->need) {
        c->in[c->got < ROOM ? c->got : ROOM - 1] = 0;
        char *end = strstr(c->in, "\r\n\r\n"), *length = strcasestr(c->in, "content-length:");
        if (!end)
            return 0;
        c->need = (size_t)(end + 4 - c->in) + (length && length < end ? strtoul(length + 15, NULL, 10) : 0);
    }
    return c->got >= c->need;
}

static double quantile(const long *bins, long total, double q)
{
    long want = (long)((double)total * q), seen = 0;
    for (int i = 0; i < BINS; i++)
        if ((seen += bins[i]) > want)
            return (i + 0.5) * BIN_US;
    return BINS * BIN_US;
}

static double processor_us(void)
{
    struct rusage u;
    getrusage(RUSAGE_SELF, &u);
    return (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) * 1e6 + (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec);
}

static void into_step(struct load_result *r, double took_us)
{
    int i = 0;
    while (took_us > load_steps_ms[i] * 1e3)
        i++;
    r->up_to[i]++;
}

struct load_result load_run(const struct load *l)
{
    static long bins[BINS];
    struct load_result r = {0};
    memset(bins, 0, sizeof bins);
    struct connection *all = calloc((size_t)l->connections, sizeof *all);
    int ep = epoll_create1(EPOLL_CLOEXEC);
    if (!all || ep < 0)
        exit(1);
    double processor = processor_us(), start = now_us(), end = start + l->seconds * 1e6, bytes = 0;
    long sent = 0;
    for (int i = 0; i < l->connections; i++) {
        all[i].fd = load_connect(l->port);
        struct epoll_event e = {.events = EPOLLIN, .data = {.ptr = &all[i]}};
        epoll_ctl(ep, EPOLL_CTL_ADD, all[i].fd, &e);
        send_next(l, &all[i], sent++);
    }
    double now = start;
    int open = l->connections;
    while (open > 0) {
        struct epoll_event events[64];
        int n = epoll_wait(ep, events, 64, 30000);
        if (n <= 0)
            break;
        for (int i = 0; i < n; i++) {
            struct connection *c = events[i].data.ptr;
            int done = take(c);
            if (!done)
                continue;
            now = now_us();
            if (done < 0) {
                r.errors++;
                open--;
                epoll_ctl(ep, EPOLL_CTL_DEL, c->fd, NULL);
                continue;
            }
            double took = now - c->sent_at;
            int bin = (int)(took / BIN_US);
            bins[bin < BINS ? bin : BINS - 1]++;
            r.worst_us = took > r.worst_us ? took : r.worst_us;
            into_step(&r, took);
            bytes += (double)c->need;
            r.replies++;
            if (strncmp(c->in, "HTTP/1.1 2", 10))
                r.errors++;
            if (now < end && (!l->most || sent < l->most)) {
                send_next(l, c, sent++);
            } else {
                open--;
                epoll_ctl(ep, EPOLL_CTL_DEL, c->fd, NULL);
            }
        }
    }
    for (int i = 0; i < l->connections; i++)
        close(all[i].fd);
    close(ep);
    free(all);
    r.seconds = (now - start) / 1e6;
    r.per_second = r.seconds > 0 ? (double)r.replies / r.seconds : 0;
    r.p50_us = quantile(bins, r.replies, 0.5);
    r.p99_us = quantile(bins, r.replies, 0.99);
    r.client_us = r.replies ? (processor_us() - processor) / (double)r.replies : 0;
    r.mean_bytes = r.replies ? bytes / (double)r.replies : 0;
    return r;
}
