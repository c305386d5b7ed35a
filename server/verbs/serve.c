/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * `serve`: open the club, listen, wait for a signal, stop in order: refuse new work, drain the writer, stop HTTP, stop solver and
 * estimator, close the store.
 */
#include "serve.h"

#include "../ground/log.h"
#include "../http/server.h"
#include "../store/reader.h"
#include "club.h"
#include "options.h"
#include "settings.h"
#include "supervisor.h"
#include "verbs.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

bool serve_is_local(const char *listen)
{
    char host[128];
    struct in_addr v4;
    if (!strncmp(listen, "unix:", 5))
        return true;
    const char *colon = strrchr(listen, ':');
    size_t n = colon ? (size_t)(colon - listen) : strlen(listen);
    if (n >= sizeof host)
        return false;
    memcpy(host, listen, n);
    host[n] = 0;
    if (!strcmp(host, "localhost") || !strcmp(host, "[::1]"))
        return true;
    return inet_pton(AF_INET, host, &v4) == 1 && (ntohl(v4.s_addr) >> 24) == 127;
}

/* The one that waits for signals. A handler knows nothing but what is static. */
static pthread_t waiting;

/* Libraries may have started threads before main, which take signals; they hand them on. */
static void hand_on(int signal_number)
{
    int before = errno;
    pthread_kill(waiting, signal_number);
    errno = before;
}

/* Blocked before any thread of ours starts: every one inherits it, and this one alone takes them. */
static void take_signals(sigset_t *set)
{
    static const int taken[] = {SIGTERM, SIGINT, SIGHUP};
    struct sigaction a = {.sa_handler = hand_on, .sa_flags = SA_RESTART};
    waiting = pthread_self();
    sigemptyset(set);
    sigemptyset(&a.sa_mask);
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++)
        sigaddset(set, taken[i]);
    pthread_sigmask(SIG_BLOCK, set, NULL);
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++)
        sigaction(taken[i], &a, NULL);
    signal(SIGPIPE, SIG_IGN);
}

/* Signs of life are given only while the club's file answers. */
static bool is_well(struct house *h)
{
    struct fault f = {0};
    char club[LIMIT_NAME + 1];
    struct reader *r = reader_take(h->store, &f);
    bool well = r && read_fact(r, "club_id", club, sizeof club, &f) == READ_OK;
    reader_give(r);
    return well;
}

static void reload(struct http *http)
{
    struct fault f = {0};
    char text[400];
    supervisor_say_reloading();
    if (http_reload(http, &f))
        log_line(LOG_INFO, "reloaded", NULL);
    else
        log_line(LOG_ERROR, "not reloaded, what was in force stays", "reason", fault_text(&f, text, sizeof text), NULL);
    supervisor_say("READY=1");
}

/* Until SIGTERM or SIGINT; SIGHUP reads the TLS files again. */
static void wait_for_end(const sigset_t *set, struct http *http, struct house *house)
{
    int64_t us = supervisor_watchdog_us() / 2;
    struct timespec half = {.tv_sec = us / 1000000, .tv_nsec = us % 1000000 * 1000};
    int got;
    while ((got = us ? sigtimedwait(set, NULL, &half) : sigwaitinfo(set, NULL)) != SIGTERM && got != SIGINT) {
        if (got == SIGHUP)
            reload(http);
        else if (got < 0 && errno == EAGAIN && is_well(house))
            supervisor_say("WATCHDOG=1");
    }
    log_line(LOG_INFO, "stopping", "signal", got == SIGTERM ? "TERM" : "INT", NULL);
    supervisor_say("STOPPING=1");
}

static void close_house(struct house *h)
{
    store_quiesce(h->store);
    live_close(h->live);
    store_close(h->store);
    h->live = NULL;
    h->store = NULL;
}

static bool open_house(struct house *h, const struct serve_options *o, struct fault *f)
{
    struct store_options so = {.path = o->db};
    struct live_options lo = {.refit_first = o->refit_first};
    h->open = o->open;
    h->public_read = o->public_read;
    h->started_us = clock_now_us();
    h->scratch_dir = o->scratch_dir;
    h->contact = o->contact;
    h->store = store_open(&so, f);
    if (h->store && (h->live = live_open(h->store, &lo, f)))
        return true;
    store_close(h->store);
    h->store = NULL;
    return false;
}

int serve_run(const struct serve_options *o)
{
    struct fault f = {0};
    struct house house = {0};
    sigset_t signals;
    char address[HTTP_ADDRESS];
    take_signals(&signals);
    if (!open_house(&house, o, &f))
        return refused(o->verb, &f);
    struct http_options ho = {.listen = o->listen,
                              .listen_fd = o->listen_fd,
                              .tls_cert = o->tls_cert,
                              .tls_key = o->tls_key,
                              .behind_proxy = o->behind_proxy,
                              .trusted_proxies = o->trusted_proxies,
                              .open = o->open,
                              .public_read = o->public_read,
                              .static_dir = o->static_dir,
                              .spool_dir = o->scratch_dir,
                              .house = &house,
                              .find_key = house_find_key};
    struct http *http = http_start(&ho, biasbook_routes, &f);
    if (!http) {
        close_house(&house);
        return refused(o->verb, &f);
    }
    house.listener = http;
    house.listener_figures = http_write_figures;
    printf("%s\n", http_address(http, address));
    fflush(stdout);
    log_line(LOG_INFO, "serving", "address", address, "db", o->db, NULL);
    supervisor_say("READY=1");
    wait_for_end(&signals, http, &house);
    http_refuse(http);
    store_quiesce(house.store);
    http_stop(http, clock_monotonic_us() + LIMIT_DRAIN_SECONDS * 1000000LL);
    close_house(&house);
    log_line(LOG_INFO, "stopped", NULL);
    return EXIT_DONE;
}

/* ---- what may be asked for ---- */

/* Where a socket that was handed over listens, as serve_is_local reads it. */
static bool socket_is_local(int fd)
{
    struct sockaddr_storage a = {0};
    socklen_t n = sizeof a;
    if (getsockname(fd, (struct sockaddr *)&a, &n) != 0)
        return false;
    if (a.ss_family == AF_INET)
        return (ntohl(((const struct sockaddr_in *)&a)->sin_addr.s_addr) >> 24) == 127;
    return a.ss_family == AF_UNIX || (a.ss_family == AF_INET6 && IN6_IS_ADDR_LOOPBACK(&((const struct sockaddr_in6 *)&a)->sin6_addr));
}

/* RFC 9116, 2.5.3: a URI; one for the web begins with https. One line of it goes into the file. */
static bool contact_is_fine(const char *contact)
{
    for (const char *p = contact; *p; p++)
        if ((unsigned char)*p <= ' ' || *p == 0x7f)
            return false;
    return !strncmp(contact, "mailto:", 7) || !strncmp(contact, "https://", 8) || !strncmp(contact, "tel:", 4);
}

static int check_options(const struct verb_help *help, const struct serve_options *o, bool plain_http)
{
    bool local = o->listen_fd ? socket_is_local(o->listen_fd) : serve_is_local(o->listen);
    const char *where = o->listen_fd ? "the socket that was handed over" : o->listen;
    if (!o->tls_cert != !o->tls_key)
        return wrong_usage(help, "--tls-cert and --tls-key go together");
    if (o->tls_cert && o->behind_proxy)
        return wrong_usage(help, "either the daemon ends TLS itself (--tls-cert) or a proxy does (--behind-proxy)");
    if (o->trusted_proxies && !o->behind_proxy)
        return wrong_usage(help, "--trusted-proxy needs --behind-proxy");
    if (o->contact && !contact_is_fine(o->contact))
        return wrong_usage(help, "--contact takes one address like mailto:steward@club.example or https://club.example/security, not '%s'",
                           o->contact);
    if (o->open && (!local || o->behind_proxy))
        return wrong_usage(help, "--open lets anyone write, so it works on loopback only; %s %s", where,
                           local ? "is shown to others by the proxy" : "is not");
    if (!local && !o->tls_cert && !o->behind_proxy && !plain_http)
        return wrong_usage(help,
                           "%s can be reached from other machines and nothing would be encrypted: whoever is on the way can read each "
                           "member's key and act as that member.\n"
                           "Give --tls-cert and --tls-key, or let a proxy end TLS (--behind-proxy), or say --plain-http if you trust "
                           "everyone on this network",
                           where);
    return -1;
}

int verb_serve(int argc, char **argv)
{
    static const struct verb_help help = {
        "serve", "serve --db FILE [--listen ADDR:PORT|unix:PATH] [--tls-cert FILE --tls-key FILE | --behind-proxy] [--config FILE]",
        "Serves the club and prints its address when ready. Stops on SIGTERM or Ctrl-C.\n\n"
        "  --db FILE           the club's file (see init)\n" SERVE_LISTEN_TEXT
        "  --tls-cert FILE     TLS by the daemon: the certificate, followed by its chain (PEM); SIGHUP reads both files again\n"
        "  --tls-key FILE      its key (PEM, without a password)\n"
        "  --behind-proxy      a proxy ends TLS: X-Forwarded-For and X-Forwarded-Proto are believed, of the proxies named and of Unix "
        "sockets\n"
        "  --trusted-proxy A   the proxies' addresses or networks, separated by commas (127.0.0.0/8,::1)\n"
        "  --plain-http        serve other machines without encryption\n"
        "  --open              no key for anything; only on loopback or a Unix socket\n"
        "  --public-read       reading needs no key (export and members still do)\n"
        "  --contact URI       whom to tell of a weakness: makes /.well-known/security.txt\n"
        "  --scratch DIR       where large uploads and exports wait (/var/tmp)\n"
        "  --config FILE       the same names as 'name = value' lines. The environment's BIASBOOK_TLS_CERT and the like come before it,\n"
        "                      options before both\n\n"
        "A socket handed over by a service manager (LISTEN_FDS) is taken instead of --listen; NOTIFY_SOCKET and WATCHDOG_USEC are "
        "served.\n",
        "biasbook serve --db club.db"};
    struct serve_options o = {.verb = "serve"};
    bool plain_http = false;
    const char *config = NULL;
    const struct option_spec specs[] = {{"config", &config, NULL},
                                        {"db", &o.db, NULL},
                                        {"listen", &o.listen, NULL},
                                        {"static", &o.static_dir, NULL},
                                        {"scratch", &o.scratch_dir, NULL},
                                        {"tls-cert", &o.tls_cert, NULL},
                                        {"tls-key", &o.tls_key, NULL},
                                        {"trusted-proxy", &o.trusted_proxies, NULL},
                                        {"contact", &o.contact, NULL},
                                        {"open", NULL, &o.open},
                                        {"public-read", NULL, &o.public_read},
                                        {"behind-proxy", NULL, &o.behind_proxy},
                                        {"plain-http", NULL, &plain_http},
                                        {0}};
    struct settings settings;
    struct fault f = {0};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    status = settings_fill(&settings, &help, specs + 1, config);
    if (status < 0 && !(o.db = database_path(&help, o.db)))
        status = EXIT_USAGE;
    if (status < 0 && !supervisor_socket(&o.listen_fd, &f))
        status = refused("serve", &f);
    if (!o.listen)
        o.listen = SERVE_DEFAULT;
    if (status < 0)
        status = check_options(&help, &o, plain_http);
    if (status < 0)
        status = serve_run(&o);
    settings_free(&settings);
    return status;
}
