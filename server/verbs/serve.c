/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * `serve` and `demo`: open the club, listen, wait for a signal, stop in order: refuse new work, drain the writer, stop HTTP, stop solver and
 * estimator, close the store.
 */
#include "serve.h"

#include "../actions/importer.h"
#include "../ground/embedded.h"
#include "../ground/log.h"
#include "../http/server.h"
#include "club.h"
#include "options.h"
#include "verbs.h"

#include <arpa/inet.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define DEFAULT_LISTEN "127.0.0.1:8460"

/* Loopback by address, or a Unix socket: the only places where `--open` is safe. */
static bool is_local(const char *listen)
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

/* The signals are blocked before any thread starts, so that every thread inherits it and this one alone takes them. */
static void block_signals(sigset_t *set)
{
    sigemptyset(set);
    sigaddset(set, SIGTERM);
    sigaddset(set, SIGINT);
    sigaddset(set, SIGHUP);
    pthread_sigmask(SIG_BLOCK, set, NULL);
    signal(SIGPIPE, SIG_IGN);
}

static void wait_for_end(const sigset_t *set)
{
    int got;
    do {
        got = 0;
        sigwait(set, &got);
    } while (got == SIGHUP);
    log_line(LOG_INFO, "stopping", "signal", got == SIGTERM ? "TERM" : "INT", NULL);
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
    block_signals(&signals);
    if (!open_house(&house, o, &f))
        return refused(o->verb, &f);
    struct http_options ho = {.listen = o->listen,
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
    wait_for_end(&signals);
    http_refuse(http);
    store_quiesce(house.store);
    http_stop(http, clock_monotonic_us() + LIMIT_DRAIN_SECONDS * 1000000LL);
    close_house(&house);
    log_line(LOG_INFO, "stopped", NULL);
    return EXIT_DONE;
}

#define SERVE_TEXT                                                                                                                         \
    "  --listen ADDR:PORT  where to listen (" DEFAULT_LISTEN "); port 0 = any free one; or unix:PATH\n"                                    \
    "  --static DIR        serve the pages from this folder, while designing\n"

int verb_serve(int argc, char **argv)
{
    static const struct verb_help help = {"serve", "serve --db FILE [--listen ADDR:PORT|unix:PATH] [--open] [--public-read]",
                                          "Serves the club and prints its address when ready. Stops on SIGTERM or Ctrl-C.\n\n"
                                          "  --db FILE           the club's file (see init)\n" SERVE_TEXT
                                          "  --open              no key for anything; only on loopback or a Unix socket\n"
                                          "  --public-read       reading needs no key (export and members still do)\n",
                                          "biasbook serve --db club.db"};
    struct serve_options o = {.verb = "serve"};
    const struct option_spec specs[] = {{"db", &o.db, NULL},     {"listen", &o.listen, NULL},           {"static", &o.static_dir, NULL},
                                        {"open", NULL, &o.open}, {"public-read", NULL, &o.public_read}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!(o.db = database_path(&help, o.db)))
        return EXIT_USAGE;
    if (!o.listen)
        o.listen = DEFAULT_LISTEN;
    if (o.open && !is_local(o.listen))
        return wrong_usage(&help, "--open lets anyone write, so it works on loopback only; %s is not", o.listen);
    if (!is_local(o.listen))
        fprintf(stderr,
                "biasbook serve: %s can be reached from other machines and the connection is not encrypted: keys travel in the clear\n",
                o.listen);
    return serve_run(&o);
}

/* ---- demo ---- */

static bool load_demo(const char *path, struct fault *f)
{
    struct store_options so = {.path = path, .create = true, .must_be_new = true};
    struct store *s = store_open(&so, f);
    if (!s)
        return false;
    struct import_options io = {.may_correct_others = true, .now_us = clock_now_us()};
    struct importer *i = importer_new(s, &io, f);
    bool ok = i != NULL;
    for (const struct embedded *e = embedded_demo; ok && e->name; e++)
        ok = importer_next_file(i, e->name, f) && importer_feed(i, (const char *)e->data, embedded_length(e), f);
    ok = ok && importer_finish(i, f);
    struct import_counts counts = {0};
    if (i)
        importer_counts(i, &counts);
    if (ok && counts.refused)
        ok = fault_add(f, FAULT_INTERNAL, "", "demo", "%lld rows of the demo club were refused", (long long)counts.refused);
    importer_free(i);
    store_close(s);
    return ok;
}

static void remove_scratch(const char *dir, const char *db)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    char path[600];
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%s%s", db, ends[i]);
        unlink(path);
    }
    rmdir(dir);
}

int verb_demo(int argc, char **argv)
{
    static const struct verb_help help = {"demo", "demo [--listen ADDR:PORT|unix:PATH] [--db FILE]",
                                          "Loads an invented club into a scratch file and serves it without keys, on loopback only. The "
                                          "file is removed at the end.\n\n" SERVE_TEXT
                                          "  --db FILE           make the demo's file here and keep it; it must not exist\n",
                                          "biasbook demo --listen 127.0.0.1:0"};
    struct serve_options o = {.verb = "demo", .open = true, .refit_first = true};
    const char *kept = NULL;
    const struct option_spec specs[] = {{"listen", &o.listen, NULL}, {"static", &o.static_dir, NULL}, {"db", &kept, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!o.listen)
        o.listen = DEFAULT_LISTEN;
    if (!is_local(o.listen))
        return wrong_usage(&help, "the demo lets anyone write, so it listens on loopback only; %s is not", o.listen);
    char dir[400], path[440];
    const char *tmp = getenv("TMPDIR");
    struct fault f = {0};
    if (!kept) {
        snprintf(dir, sizeof dir, "%s/biasbook-demo-XXXXXX", tmp && strlen(tmp) < 300 && *tmp ? tmp : "/tmp");
        if (!mkdtemp(dir)) {
            fprintf(stderr, "biasbook demo: no scratch folder could be made: %s\n", strerror(errno));
            return EXIT_REFUSED;
        }
        snprintf(path, sizeof path, "%s/club.db", dir);
    }
    o.db = kept ? kept : path;
    status = load_demo(o.db, &f) ? serve_run(&o) : refused("demo", &f);
    if (!kept)
        remove_scratch(dir, path);
    return status;
}
