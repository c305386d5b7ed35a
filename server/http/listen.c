/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a listen address to a listening socket. A socket handed over by a service manager (options.listen_fd) only passes listen_describe.
 */
#include "inside.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define BACKLOG 1024

static bool cannot(struct fault *f, const char *where, const char *what)
{
    return fault_add(f, FAULT_STORE, "listen", "cannot-listen", "%s: %s", where, what);
}

/* Splits "ADDR:PORT" or "[ADDR6]:PORT". */
static bool split(const char *where, char *host, size_t size, const char **port)
{
    const char *colon = strrchr(where, ':');
    if (!colon || colon == where)
        return false;
    const char *start = where, *end = colon;
    if (*start == '[') {
        if (colon[-1] != ']')
            return false;
        start++;
        end--;
    } else if (memchr(where, ':', (size_t)(colon - where))) {
        return false; /* an IPv6 address without brackets */
    }
    size_t n = (size_t)(end - start);
    char *rest;
    long number = strtol(colon + 1, &rest, 10);
    if (n == 0 || n >= size || colon[1] < '0' || colon[1] > '9' || *rest || number > 65535)
        return false;
    memcpy(host, start, n);
    host[n] = '\0';
    *port = colon + 1;
    return true;
}

static int listen_tcp(const char *where, struct fault *f)
{
    char host[128];
    const char *port;
    if (!split(where, host, sizeof host, &port)) {
        cannot(f, where, "write it as ADDR:PORT, [ADDR6]:PORT or unix:PATH");
        return -1;
    }
    struct addrinfo hints = {.ai_flags = AI_PASSIVE | AI_NUMERICSERV, .ai_socktype = SOCK_STREAM}, *found = NULL;
    int wrong = getaddrinfo(host, port, &hints, &found);
    if (wrong) {
        cannot(f, where, gai_strerror(wrong));
        return -1;
    }
    int fd = socket(found->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0), on = 1;
    bool listens = fd >= 0 && setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on) == 0 &&
                   (found->ai_family != AF_INET6 || setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &on, sizeof on) == 0) &&
                   bind(fd, found->ai_addr, found->ai_addrlen) == 0 && listen(fd, BACKLOG) == 0;
    if (!listens) {
        cannot(f, where, strerror(errno));
        if (fd >= 0)
            close(fd);
        fd = -1;
    }
    freeaddrinfo(found);
    return fd;
}

/* A socket file left by a killed daemon is removed; one that still answers, or another kind of file, is not. */
static bool clear_way(const struct sockaddr_un *address)
{
    struct stat s;
    if (lstat(address->sun_path, &s) != 0)
        return errno == ENOENT;
    if (!S_ISSOCK(s.st_mode)) {
        errno = EEXIST;
        return false;
    }
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    bool alive = fd >= 0 && connect(fd, (const struct sockaddr *)address, sizeof *address) == 0;
    if (fd >= 0)
        close(fd);
    if (alive) {
        errno = EADDRINUSE;
        return false;
    }
    return unlink(address->sun_path) == 0;
}

static int listen_unix(const char *where, struct http *h, struct fault *f)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const char *path = where + 5;
    if (!*path || strlen(path) >= sizeof address.sun_path) {
        cannot(f, where, "the path must have 1 to 107 bytes");
        return -1;
    }
    snprintf(address.sun_path, sizeof address.sun_path, "%s", path);
    int fd = -1;
    bool listens = clear_way(&address) && (fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0)) >= 0 &&
                   bind(fd, (const struct sockaddr *)&address, sizeof address) == 0 && chmod(path, 0660) == 0 && listen(fd, BACKLOG) == 0;
    if (!listens) {
        cannot(f, where, strerror(errno));
        if (fd >= 0)
            close(fd);
        return -1;
    }
    snprintf(h->unix_path, sizeof h->unix_path, "%s", path);
    return fd;
}

int listen_open(const char *where, struct http *h, struct fault *f)
{
    int fd = strncmp(where, "unix:", 5) == 0 ? listen_unix(where, h, f) : listen_tcp(where, f);
    if (fd >= 0)
        listen_describe(fd, h);
    return fd;
}

void listen_describe(int fd, struct http *h)
{
    struct sockaddr_storage a = {0};
    socklen_t n = sizeof a;
    char host[INET6_ADDRSTRLEN] = "";
    const char *scheme = h->options.tls_cert ? "https" : "http";
    if (getsockname(fd, (struct sockaddr *)&a, &n) != 0)
        return;
    if (a.ss_family == AF_INET) {
        const struct sockaddr_in *in = (const struct sockaddr_in *)&a;
        inet_ntop(AF_INET, &in->sin_addr, host, sizeof host);
        snprintf(h->own_host, sizeof h->own_host, "%s", host);
        snprintf(h->address, sizeof h->address, "%s://%s:%u/", scheme, host, ntohs(in->sin_port));
    } else if (a.ss_family == AF_INET6) {
        const struct sockaddr_in6 *in6 = (const struct sockaddr_in6 *)&a;
        inet_ntop(AF_INET6, &in6->sin6_addr, host, sizeof host);
        snprintf(h->own_host, sizeof h->own_host, "[%s]", host);
        snprintf(h->address, sizeof h->address, "%s://[%s]:%u/", scheme, host, ntohs(in6->sin6_port));
    } else {
        snprintf(h->address, sizeof h->address, "unix:%s", ((const struct sockaddr_un *)&a)->sun_path);
    }
}
