/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * libmicrohttpd's daemons: one that takes connections and, after a certificate was renewed, those of before, which serve their open connections to the end. A daemon keeps
 * the certificate it was started with, so a reload starts a new one on the same socket before the old one is told to take no more.
 */
#include "inside.h"

#include "../ground/log.h"

#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* 1.2 with forward secrecy and 1.3 (RFC 9325). */
#define TLS_VERSIONS "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2:-RSA:-CIPHER-ALL:+AES-256-GCM:+AES-128-GCM:+CHACHA20-POLY1305"

struct listener {
    struct MHD_Daemon *daemon;
    int quiet_fd;     /* its listening socket, once it takes no more; -1 before */
    char *cert, *key; /* PEM text, which the daemon goes on reading; NULL without TLS */
    struct listener *next;
};

/* libmicrohttpd would decode the address as well; target.c has done it, more strictly, and nobody reads its result. */
static size_t leave_encoded(void *cls, struct MHD_Connection *connection, char *text)
{
    (void)cls, (void)connection;
    return strlen(text);
}

static void on_message(void *cls, const char *format, va_list arguments) __attribute__((format(printf, 2, 0)));
static void on_message(void *cls, const char *format, va_list arguments)
{
    (void)cls;
    char text[256];
    vsnprintf(text, sizeof text, format, arguments);
    text[strcspn(text, "\n")] = '\0';
    log_line(LOG_DEBUG, "http", "message", text, NULL);
}

/* ---- certificate and key ---- */

static char *read_pem(const char *path, const char *option, bool secret, struct fault *f)
{
    struct stat s;
    char *text = NULL;
    size_t n = 0;
    ssize_t got = -1;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd >= 0 && fstat(fd, &s) == 0 && s.st_size <= LIMIT_PEM && (text = mem_zero(1, LIMIT_PEM + 1)))
        while ((got = read(fd, text + n, LIMIT_PEM - n)) > 0)
            n += (size_t)got;
    if (fd >= 0 && text && got == 0 && strstr(text, "-----BEGIN ")) {
        if (secret && (s.st_mode & S_IRWXO))
            log_line(LOG_WARN, "the key's file can be read by everyone on this machine", "file", path, NULL);
        close(fd);
        return text;
    }
    fault_add(f, FAULT_STORE, option, "not-readable", "%.150s: %s", path, fd < 0 || got < 0 ? strerror(errno) : "no PEM text in it");
    if (fd >= 0)
        close(fd);
    mem_free(text);
    return NULL;
}

static void listener_free(struct listener *l)
{
    if (!l)
        return;
    if (l->daemon)
        MHD_stop_daemon(l->daemon);
    if (l->quiet_fd >= 0)
        close(l->quiet_fd);
    if (l->key)
        explicit_bzero(l->key, strlen(l->key));
    mem_free(l->cert);
    mem_free(l->key);
    mem_free(l);
}

/* ---- start ---- */

static struct MHD_Daemon *daemon_start(struct http *h, int fd, const struct listener *l)
{
    unsigned flags = MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG | (l->cert ? MHD_USE_TLS : 0);
    struct MHD_OptionItem rare[5];
    int n = 0;
    if (h->options.threads > 1) /* a pool of one is no pool: then the daemon's own thread does it */
        rare[n++] = (struct MHD_OptionItem){MHD_OPTION_THREAD_POOL_SIZE, h->options.threads, NULL};
    if (l->cert) {
        static const char versions[] = TLS_VERSIONS;
        union {
            const char *constant;
            void *pointer;
        } text = {versions};
        rare[n++] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_CERT, 0, l->cert};
        rare[n++] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_MEM_KEY, 0, l->key};
        rare[n++] = (struct MHD_OptionItem){MHD_OPTION_HTTPS_PRIORITIES, 0, text.pointer};
    }
    rare[n] = (struct MHD_OptionItem){MHD_OPTION_END, 0, NULL};
    return MHD_start_daemon(flags, 0, NULL, NULL, request_handler, h, MHD_OPTION_EXTERNAL_LOGGER, on_message, NULL,
                            MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)LIMIT_HEAD_BYTES,
                            MHD_OPTION_CONNECTION_LIMIT, (unsigned)h->options.connections, MHD_OPTION_URI_LOG_CALLBACK, on_target, h,
                            MHD_OPTION_UNESCAPE_CALLBACK, leave_encoded, NULL, MHD_OPTION_NOTIFY_CONNECTION, on_line, h,
                            MHD_OPTION_NOTIFY_COMPLETED, on_request_over, h, MHD_OPTION_ARRAY, rare, MHD_OPTION_END);
}

/* libmicrohttpd closes the socket at some failures and leaves it at others, so it gets one of its own: closed here when it is still that socket. */
static void close_left(int own, int fd)
{
    struct stat a, b;
    if (fstat(own, &a) == 0 && fstat(fd, &b) == 0 && a.st_dev == b.st_dev && a.st_ino == b.st_ino)
        close(own);
}

bool listener_start(struct http *h, int fd, struct fault *f)
{
    struct listener *l = mem_zero(1, sizeof *l);
    if (!l)
        return fault_add(f, FAULT_MEMORY, "listen", "out-of-memory", "out of memory");
    l->quiet_fd = -1;
    bool tls = h->options.tls_cert != NULL;
    bool fine = !tls || ((l->cert = read_pem(h->options.tls_cert, "tls-cert", false, f)) &&
                         (l->key = read_pem(h->options.tls_key, "tls-key", true, f)));
    int own = fine ? fcntl(fd, F_DUPFD_CLOEXEC, 3) : -1;
    if (fine && own < 0)
        fine = fault_add(f, FAULT_STORE, "listen", "no-descriptor", "%s", strerror(errno));
    if (fine && !(l->daemon = daemon_start(h, own, l))) {
        close_left(own, fd);
        fine = tls ? fault_add(f, FAULT_STORE, "tls-cert", "not-usable",
                               "the certificate and its key cannot be used: are both PEM, without a password, and of each other?")
                   : fault_add(f, FAULT_MEMORY, "listen", "cannot-start", "the listener's threads could not be started");
    }
    if (!fine) {
        listener_free(l);
        return false;
    }
    close(fd);
    l->next = h->listeners;
    h->listeners = l;
    return true;
}

/* ---- reload ---- */

static void forget_finished(struct http *h)
{
    for (struct listener **at = &h->listeners->next; *at;) {
        struct listener *l = *at;
        const union MHD_DaemonInfo *info = MHD_get_daemon_info(l->daemon, MHD_DAEMON_INFO_CURRENT_CONNECTIONS);
        if (!info || info->num_connections > 0) {
            at = &l->next;
            continue;
        }
        *at = l->next;
        listener_free(l);
    }
}

bool http_reload(struct http *h, struct fault *f)
{
    if (!h->options.tls_cert)
        return true;
    struct listener *old = h->listeners;
    const union MHD_DaemonInfo *info = MHD_get_daemon_info(old->daemon, MHD_DAEMON_INFO_LISTEN_FD);
    int fd = info ? fcntl(info->listen_fd, F_DUPFD_CLOEXEC, 3) : -1;
    if (fd < 0)
        return fault_add(f, FAULT_STORE, "", "no-descriptor", "the listening socket could not be shared: %s", strerror(errno));
    if (!listener_start(h, fd, f)) {
        close(fd);
        return false;
    }
    old->quiet_fd = MHD_quiesce_daemon(old->daemon); /* closed only after its threads are gone */
    forget_finished(h);
    return true;
}

void listener_stop(struct http *h)
{
    while (h->listeners) {
        struct listener *l = h->listeners;
        h->listeners = l->next;
        listener_free(l);
    }
}
