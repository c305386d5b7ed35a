/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Speed, as ratios within one run against something named. `bench [ROWS…]`: club sizes to measure suggestions at.
 *
 *   suggestion replies   against a bare libmicrohttpd server that sends one constant keep-alive reply of the same size
 *   durable logging      against one commit a row in bare SQLite (WAL, synchronous=FULL) on the same disk
 *   seen in a suggestion how long after its 201 a result is contained in what is served
 */
#include "../server/daemon.h"
#include "load.h"

#include <microhttpd.h>
#include <setjmp.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#define SECONDS 3.0

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static int port_of(const struct daemon *d)
{
    const char *colon = strrchr(d->address, ':');
    return colon ? atoi(colon + 1) : 0;
}

/* ---- the bare server ---- */

struct bare {
    struct MHD_Response *reply;
};

static enum MHD_Result bare_answer(void *user, struct MHD_Connection *c, const char *url, const char *method, const char *version,
                                   const char *data, size_t *size, void **state)
{
    (void)url, (void)method, (void)version, (void)data, (void)size;
    if (!*state) { /* in the second call: a reply in the first closes the connection */
        *state = user;
        return MHD_YES;
    }
    return MHD_queue_response(c, 200, ((struct bare *)user)->reply);
}

static pid_t bare_start(size_t body, int *port)
{
    int fds[2];
    if (pipe(fds))
        exit(1);
    pid_t pid = fork();
    if (!pid) {
        static struct bare b;
        char *bytes = malloc(body + 1);
        memset(bytes, 'x', body);
        b.reply = MHD_create_response_from_buffer(body, bytes, MHD_RESPMEM_PERSISTENT);
        struct MHD_Daemon *d = MHD_start_daemon(MHD_USE_EPOLL_INTERNAL_THREAD, 0, NULL, NULL, bare_answer, &b, MHD_OPTION_THREAD_POOL_SIZE,
                                                2u, MHD_OPTION_LISTEN_BACKLOG_SIZE, 512u, MHD_OPTION_END);
        if (!d)
            exit(1);
        int p = MHD_get_daemon_info(d, MHD_DAEMON_INFO_BIND_PORT)->port;
        if (write(fds[1], &p, sizeof p) != sizeof p)
            exit(1);
        pause();
        exit(0);
    }
    close(fds[1]);
    if (read(fds[0], port, sizeof *port) != sizeof *port)
        exit(1);
    close(fds[0]);
    return pid;
}

/* ---- requests ---- */

struct names {
    int decks, stocks;
    char deck[64][65], stock[128][65];
};

static void read_names(const struct daemon *d, struct names *n)
{
    struct answer a = ask(d, "GET", "/api/decks?limit=64", NULL, NULL);
    json_t *j = answer_json_of(&a), *e;
    size_t i;
    json_array_foreach(json_object_get(j, "decks"), i, e) if (!strcmp(json_string_value(json_object_get(e, "medium")), "cassette"))
        snprintf(n->deck[n->decks++], 65, "%s", json_string_value(json_object_get(e, "id")));
    json_decref(j);
    answer_free(&a);
    a = ask(d, "GET", "/api/stocks?limit=128", NULL, NULL);
    j = answer_json_of(&a);
    json_array_foreach(json_object_get(j, "stocks"), i, e) if (!strncmp(json_string_value(json_object_get(e, "class")), "type", 4))
        snprintf(n->stock[n->stocks++], 65, "%s", json_string_value(json_object_get(e, "id")));
    json_decref(j);
    answer_free(&a);
}

static size_t suggestion_request(void *user, long i, char *out, size_t size)
{
    const struct names *n = user;
    unsigned long h = (unsigned long)i * 2654435761ul;
    return (size_t)snprintf(
        out, size, "GET /api/suggestion?deck=%s&stock=%s&recordings=%lu&position_s=%lu HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        n->deck[h % (unsigned long)n->decks], n->stock[(h >> 8) % (unsigned long)n->stocks], (h >> 16) % 20, (h >> 20) % 1800);
}

static size_t log_request(void *user, long i, char *out, size_t size)
{
    const struct names *n = user;
    char id[37], body[512];
    static unsigned base;
    if (!base)
        base = (unsigned)time(NULL) * 1000003u;
    uuid_of(base + (unsigned)i, id);
    int length = snprintf(body, sizeof body,
                          "{\"deck\":\"bench\",\"stock\":\"%s\",\"made_at\":\"2026-05-0%ldT19:00:00Z\",\"bias\":%ld,\"level\":%ld,\"low_"
                          "db\":0.1,\"high_db\":-0.2,"
                          "\"tape\":\"T%ld\",\"recordings\":%ld}",
                          n->stock[(unsigned long)i % (unsigned long)n->stocks], 1 + i % 9, i % 5 - 2, i % 3 - 1, i % 997, i % 9);
    return (size_t)snprintf(
        out, size, "PUT /api/calibrations/%s HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
        id, length, body);
}

/* ---- the measurements ---- */

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(const struct load_result *r, int n, size_t offset)
{
    double v[16];
    for (int i = 0; i < n; i++)
        memcpy(&v[i], (const char *)&r[i] + offset, sizeof v[i]);
    qsort(v, (size_t)n, sizeof *v, by_size);
    return v[n / 2];
}

/* The rounds' medians, member by member. */
static struct load_result middle(const struct load_result *r, int n)
{
    struct load_result m = r[0];
    m.per_second = median(r, n, offsetof(struct load_result, per_second));
    m.p50_us = median(r, n, offsetof(struct load_result, p50_us));
    m.p99_us = median(r, n, offsetof(struct load_result, p99_us));
    for (int i = 1; i < n; i++)
        m.errors += r[i].errors;
    return m;
}

static void suggestions(const struct daemon *d, struct names *n, const char *what)
{
    static const int counts[] = {1, 32, 256};
    struct load one = {.port = port_of(d), .connections = 1, .seconds = 0.5, .request = suggestion_request, .user = n};
    struct load_result warm = load_run(&one);
    int bare_port = 0;
    struct answer a = ask(d, "GET", "/livez", NULL, NULL);
    answer_free(&a);
    pid_t bare = bare_start((size_t)warm.mean_bytes - 120, &bare_port);
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        /* Turn about, in short rounds: what else the machine does then meets both alike. */
        enum { ROUNDS = 7 };
        struct load_result bare_rounds[ROUNDS], our_rounds[ROUNDS];
        for (int k = 0; k < ROUNDS; k++) {
            struct load l = {
                .port = bare_port, .connections = counts[i], .seconds = SECONDS / ROUNDS, .request = suggestion_request, .user = n};
            bare_rounds[k] = load_run(&l);
            l.port = port_of(d);
            our_rounds[k] = load_run(&l);
        }
        struct load_result b = middle(bare_rounds, ROUNDS), s = middle(our_rounds, ROUNDS);
        printf("suggestion replies, %-22s %3d connections  %8.0f/s  bare %8.0f/s  ratio %.2f  p99 %5.0f us (bare %5.0f us)  %4.0f bytes "
               "(bare %4.0f)%s\n",
               what, counts[i], s.per_second, b.per_second, s.per_second / b.per_second, s.p99_us, b.p99_us, s.mean_bytes, b.mean_bytes,
               s.errors ? "  ERRORS" : "");
        fflush(stdout);
    }
    kill(bare, SIGKILL);
    waitpid(bare, NULL, 0);
}

static double sqlite_one_commit_a_row(const char *path)
{
    sqlite3 *db;
    sqlite3_stmt *s;
    if (sqlite3_open(path, &db) != SQLITE_OK)
        exit(1);
    sqlite3_exec(
        db,
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT, c TEXT, d REAL, e REAL, f TEXT)",
        NULL, NULL, NULL);
    sqlite3_prepare_v2(db, "INSERT INTO t (b, c, d, e, f) VALUES ('bench', 'stock', 1.5, -0.5, '2026-05-01T19:00:00Z')", -1, &s, NULL);
    double start = now_s();
    long n = 0;
    while (now_s() - start < 2) {
        sqlite3_step(s);
        sqlite3_reset(s);
        n++;
    }
    double per_second = (double)n / (now_s() - start);
    sqlite3_finalize(s);
    sqlite3_close(db);
    return per_second;
}

static void logging(const struct daemon *d, struct names *n)
{
    static const int counts[] = {1, 8, 64};
    EXPECT(201, d, "PUT", "/api/decks/bench",
           "{\"name\":\"Bench\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5},\"level_"
           "dial\":{\"low\":-5,"
           "\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5}}");
    double bare = sqlite_one_commit_a_row(scratch_path("bare.db"));
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        struct load l = {.port = port_of(d), .connections = counts[i], .seconds = SECONDS, .request = log_request, .user = n};
        struct load_result r = load_run(&l);
        printf("durable logging, %2d clients   %8.0f/s  one commit a row %6.0f/s  ratio %5.1f  p50 %5.0f us  p99 %5.0f us  one sync %5.0f "
               "us%s\n",
               counts[i], r.per_second, bare, r.per_second / bare, r.p50_us, r.p99_us, 1e6 / bare, r.errors ? "  ERRORS" : "");
        fflush(stdout);
    }
}

static void seen(const struct daemon *d, struct names *n, const char *what)
{
    enum { TIMES = 200 };
    double took[TIMES];
    for (int i = 0; i < TIMES; i++) {
        char request[1024], id[37], path[100];
        uuid_of(3000000u + (unsigned)now_s() * 1000u + (unsigned)i, id);
        snprintf(path, sizeof path, "/api/calibrations/%s", id);
        log_request(n, i, request, sizeof request);
        struct answer a = ask(d, "PUT", path, strstr(request, "\r\n\r\n") + 4, NULL);
        const char *seq = strstr(a.body, "\"seq\":");
        long want = seq ? atol(seq + 6) : 0;
        answer_free(&a);
        double start = now_s();
        char suggestion[200];
        snprintf(suggestion, sizeof suggestion, "/api/suggestion?deck=bench&stock=%s", n->stock[0]);
        for (;;) {
            a = ask(d, "GET", suggestion, NULL, NULL);
            const char *as_of = strstr(a.body, "\"as_of\":");
            long have = as_of ? atol(as_of + 8) : 0;
            answer_free(&a);
            if (have >= want)
                break;
            if (now_s() - start > 20) {
                printf("a result was not seen in 20 s\n");
                exit(1);
            }
        }
        took[i] = (now_s() - start) * 1e3;
        usleep(5000);
    }
    qsort(took, TIMES, sizeof *took, by_size);
    printf("seen in a suggestion, %-20s p50 %6.1f ms  p99 %6.1f ms\n", what, took[TIMES / 2], took[TIMES * 99 / 100]);
}

static void start_time(const char *db, const char *what)
{
    struct daemon d;
    double start = now_s();
    daemon_start(&d, (const char *[]){"serve", "--db", db, "--open", "--listen", "127.0.0.1:0", NULL});
    struct answer a = ask(&d, "GET", "/api/model", NULL, NULL);
    double took = now_s() - start;
    printf("start, %-34s %6.0f ms until the first answer (model contains change %s\n", what, took * 1e3, strstr(a.body, ":") + 1);
    answer_free(&a);
    daemon_stop(&d);
}

/* A club of so many rows, made by the simulator and imported; returns the file. */
static const char *large_club(const char *maker, long rows, double *rate)
{
    char command[1000], *lines = strdup(scratch_path("large.ndjson")), *db = strdup(scratch_path("large.db"));
    long decks = rows >= 100000 ? 300 : 40, stocks = rows >= 100000 ? 900 : 120;
    snprintf(command, sizeof command, "%s --rows %ld --decks %ld --stocks %ld --seed 11 > %s", maker, rows, decks, stocks, lines);
    if (system(command)) {
        printf("the simulator did not run: %s\n", command);
        exit(1);
    }
    run_verb((const char *[]){"init", "--db", db, NULL}, NULL, 0);
    double start = now_s();
    static char out[65536];
    if (run_verb((const char *[]){"import", "--db", db, lines, NULL}, out, sizeof out))
        printf("import: %.300s\n", out);
    *rate = (double)rows / (now_s() - start);
    unlink(lines);
    free(lines);
    return db;
}

int main(int argc, char **argv)
{
    struct daemon d;
    struct names *n = calloc(1, sizeof *n);
    setvbuf(stdout, NULL, _IOLBF, 0);
    printf("biasbook %s, libmicrohttpd %s, SQLite %s, %ld cores\n", BIASBOOK_VERSION, MHD_get_version(), sqlite3_libversion(),
           sysconf(_SC_NPROCESSORS_ONLN));
    daemon_start(&d, (const char *[]){"demo", "--listen", "127.0.0.1:0", NULL});
    read_names(&d, n);
    suggestions(&d, n, "demo club");
    seen(&d, n, "demo club");
    logging(&d, n);
    daemon_stop(&d);
    for (int i = 2; i < argc; i++) { /* bench MAKER ROWS… */
        char what[60];
        double rate = 0;
        snprintf(what, sizeof what, "%s calibrations", argv[i]);
        const char *db = large_club(argv[1], atol(argv[i]), &rate);
        printf("import, %-32s %8.0f rows/s\n", what, rate);
        daemon_start(&d, (const char *[]){"serve", "--db", db, "--open", "--listen", "127.0.0.1:0", NULL});
        for (int k = 0; k < 600; k++) {
            struct answer a = ask(&d, "GET", "/readyz", NULL, NULL);
            bool ready = a.status == 200;
            answer_free(&a);
            if (ready)
                break;
            usleep(500000);
        }
        sleep(20); /* the first estimation of variances */
        memset(n, 0, sizeof *n);
        read_names(&d, n);
        suggestions(&d, n, what);
        EXPECT(201, &d, "PUT", "/api/decks/bench",
               "{\"name\":\"Bench\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5},"
               "\"level_dial\":{\"low\":-5,"
               "\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5}}");
        seen(&d, n, what);
        daemon_stop(&d);
        start_time(db, what);
        unlink(db);
    }
    free(n);
    return 0;
}
