/* SPDX-License-Identifier: GPL-3.0-or-later
 * See club.h: one request on a connection of its own. */
#include "club.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define PATIENCE_MS 20000

static int dial(const struct club *c)
{
    const char *colon = strrchr(c->d.address, ':');
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_port = htons((uint16_t)atoi(colon + 1)), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(fd >= 0);
    if (connect(fd, (struct sockaddr *)&a, sizeof a) != 0)
        fail_msg("nobody listens any more");
    return fd;
}

static void send_all(int fd, const char *bytes, size_t n)
{
    while (n > 0) {
        ssize_t sent = send(fd, bytes, n, MSG_NOSIGNAL);
        if (sent <= 0)
            return; /* closed: what was said before counts */
        bytes += sent;
        n -= (size_t)sent;
    }
}

static size_t hear_all(int fd, const char *what, char *out, size_t size)
{
    size_t n = 0;
    for (;;) {
        struct pollfd p = {.fd = fd, .events = POLLIN};
        if (poll(&p, 1, PATIENCE_MS) != 1)
            fail_msg("%s: neither answered nor closed within %d s; so far: %.200s", what, PATIENCE_MS / 1000, out);
        ssize_t got = recv(fd, out + n, size - 1 - n, 0);
        if (got <= 0)
            break;
        n += (size_t)got;
        assert_true(n + 1 < size);
    }
    out[n] = 0;
    return n;
}

static void header(const char *head, const char *name, char *out, size_t size)
{
    const char *p = strcasestr(head, name);
    out[0] = 0;
    if (p)
        snprintf(out, size, "%.*s", (int)strcspn(p + strlen(name), "\r"), p + strlen(name));
}

static void take_apart(char *text, size_t n, struct said *out)
{
    char length[40];
    char *end = strstr(text, "\r\n\r\n");
    out->status = 0;
    out->n = 0;
    out->body[0] = out->type[0] = out->etag[0] = 0;
    out->refused = false;
    if (!end)
        return;
    *end = 0;
    end += 4;
    header(text, "\r\nContent-Length: ", length, sizeof length);
    header(text, "\r\nContent-Type: ", out->type, sizeof out->type);
    header(text, "\r\nETag: ", out->etag, sizeof out->etag);
    size_t body = n - (size_t)(end - text), wanted = strtoul(length, NULL, 10);
    if (body < wanted || sscanf(text, "HTTP/1.1 %d ", &out->status) != 1) { /* cut off: the client knows it */
        out->status = 0;
        return;
    }
    assert_true(body == wanted && body < sizeof out->body);
    memcpy(out->body, end, body + 1);
    out->n = body;
    out->refused = (out->status == 500 || out->status == 503) && strcmp(out->type, "application/problem+json") == 0 &&
                   strstr(out->body, "\"errors\":[{\"field\":") != NULL;
}

void say_plainly(const struct club *c, const char *method, const char *path, const char *type, const char *body, struct said *out)
{
    static char text[sizeof out->body + 8192], request[16384];
    char what[300];
    size_t n = body ? strlen(body) : 0;
    int head = snprintf(request, sizeof request, "%s %s HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n%s\r\n", method, path, c->key);
    if (body)
        head += snprintf(request + head, sizeof request - (size_t)head, "Content-Type: %s\r\nContent-Length: %zu\r\n", type, n);
    head += snprintf(request + head, sizeof request - (size_t)head, "\r\n%s", body ? body : "");
    assert_true((size_t)head < sizeof request);
    snprintf(what, sizeof what, "%s %.200s", method, path);
    int fd = dial(c);
    send_all(fd, request, (size_t)head);
    size_t heard = hear_all(fd, what, text, sizeof text);
    close(fd);
    take_apart(text, heard, out);
}

void say_to(const struct club *c, const struct asked *a, struct said *out)
{
    say_plainly(c, a->q->method, a->path, a->q->type, a->q->body ? a->body : NULL, out);
}
