/* SPDX-License-Identifier: GPL-3.0-or-later
 * See others.h. */
#include "others.h"

#include "../server/daemon.h"

#include <fcntl.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* ---- servers ---- */

static enum MHD_Result bare_answer(void *user, struct MHD_Connection *c, const char *url, const char *method, const char *version,
                                   const char *data, size_t *size, void **state)
{
    (void)url, (void)method, (void)version, (void)data, (void)size;
    if (!*state) { /* in the second call: a reply in the first closes the connection */
        *state = user;
        return MHD_YES;
    }
    return MHD_queue_response(c, 200, user);
}

struct other bare_start(size_t body)
{
    struct other o = {0};
    int fds[2];
    if (pipe(fds))
        exit(1);
    o.pid = fork();
    if (!o.pid) {
        char *bytes = malloc(body + 1);
        memset(bytes, 'x', body);
        struct MHD_Response *reply = MHD_create_response_from_buffer(body, bytes, MHD_RESPMEM_PERSISTENT);
        struct MHD_Daemon *d = MHD_start_daemon(MHD_USE_EPOLL_INTERNAL_THREAD, 0, NULL, NULL, bare_answer, reply,
                                                MHD_OPTION_THREAD_POOL_SIZE, 2u, MHD_OPTION_LISTEN_BACKLOG_SIZE, 512u, MHD_OPTION_END);
        int port = d ? MHD_get_daemon_info(d, MHD_DAEMON_INFO_BIND_PORT)->port : 0;
        if (!d || write(fds[1], &port, sizeof port) != sizeof port)
            exit(1);
        for (;;)
            pause();
    }
    close(fds[1]);
    if (read(fds[0], &o.port, sizeof o.port) != sizeof o.port)
        exit(1);
    close(fds[0]);
    return o;
}

static int free_port(void)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
    socklen_t n = sizeof a;
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    if (fd < 0 || bind(fd, (struct sockaddr *)&a, n) || getsockname(fd, (struct sockaddr *)&a, &n))
        exit(1);
    close(fd);
    return ntohs(a.sin_port);
}

static bool answers(int port)
{
    struct sockaddr_in a = {.sin_family = AF_INET, .sin_port = htons((unsigned short)port), .sin_addr = {htonl(INADDR_LOOPBACK)}};
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    bool fine = connect(fd, (struct sockaddr *)&a, sizeof a) == 0;
    close(fd);
    return fine;
}

struct other nginx_start(size_t body)
{
    struct other o = {0};
    const char *program = access("/usr/sbin/nginx", X_OK) == 0 ? "/usr/sbin/nginx" : NULL;
    if (!program)
        return o;
    o.port = free_port();
    char *conf = strdup(scratch_path("nginx.conf")), *pid = strdup(scratch_path("nginx.pid"));
    FILE *f = fopen(conf, "w");
    if (!f)
        exit(1);
    fprintf(f,
            "daemon off; worker_processes 2; error_log /dev/null; pid %s;\nevents { worker_connections 1024; }\n"
            "http { access_log off; keepalive_requests 1000000000;\nserver { listen 127.0.0.1:%d; location / { return 200 \"",
            pid, o.port);
    for (size_t i = 0; i < body; i++)
        fputc('x', f);
    fprintf(f, "\"; } } }\n");
    fclose(f);
    o.pid = fork();
    if (!o.pid) {
        int quiet = open("/dev/null", O_WRONLY);
        dup2(quiet, STDERR_FILENO);
        execl(program, program, "-c", conf, (char *)NULL);
        _exit(1);
    }
    free(conf);
    free(pid);
    for (int i = 0; i < 100 && !answers(o.port); i++)
        usleep(50000);
    if (waitpid(o.pid, NULL, WNOHANG) != 0)
        o.pid = 0;
    return o;
}

void other_stop(struct other *o)
{
    if (o->pid) {
        kill(o->pid, SIGTERM);
        waitpid(o->pid, NULL, 0);
    }
    o->pid = 0;
}

/* ---- SQLite ---- */

static sqlite3 *open_new(const char *path)
{
    sqlite3 *db;
    unlink(path);
    if (sqlite3_open(path, &db) != SQLITE_OK ||
        sqlite3_exec(db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL", NULL, NULL, NULL) != SQLITE_OK)
        exit(1);
    return db;
}

static void run(sqlite3 *db, const char *text)
{
    if (sqlite3_exec(db, text, NULL, NULL, NULL) != SQLITE_OK) {
        printf("SQLite: %s: %s\n", text, sqlite3_errmsg(db));
        exit(1);
    }
}

double sqlite_one_commit_a_row(const char *path, double seconds)
{
    sqlite3 *db = open_new(path);
    sqlite3_stmt *s;
    run(db, "CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT, c TEXT, d REAL, e REAL, f TEXT)");
    sqlite3_prepare_v2(db, "INSERT INTO t (b, c, d, e, f) VALUES ('bench', 'stock', 1.5, -0.5, '2026-05-01T19:00:00Z')", -1, &s, NULL);
    double start = now_s();
    long n = 0;
    for (; now_s() - start < seconds; n++) {
        sqlite3_step(s);
        sqlite3_reset(s);
    }
    double per_second = (double)n / (now_s() - start);
    sqlite3_finalize(s);
    sqlite3_close(db);
    return per_second;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double one_sync_us(const char *path)
{
    enum { TIMES = 300 };
    static char bytes[16384];
    double took[TIMES];
    int fd = open(path, O_RDWR | O_CREAT | O_TRUNC, 0600);
    for (int i = 0; i < TIMES; i++) {
        double start = now_s();
        if (fd < 0 || pwrite(fd, bytes, sizeof bytes, (off_t)(i % 64) * (off_t)sizeof bytes) < 0 || fdatasync(fd))
            exit(1);
        took[i] = (now_s() - start) * 1e6;
    }
    close(fd);
    unlink(path);
    qsort(took, TIMES, sizeof *took, by_size);
    return took[TIMES / 2];
}

/* The table and its indices as the club's file has them; rows in its order. Returns how many. */
static long copy_table(sqlite3 *from, sqlite3 *to, const char *table)
{
    char text[2000];
    sqlite3_stmt *ddl, *all, *put;
    snprintf(text, sizeof text, "SELECT sql FROM sqlite_schema WHERE tbl_name = '%s' AND sql IS NOT NULL ORDER BY type DESC", table);
    sqlite3_prepare_v2(from, text, -1, &ddl, NULL);
    while (sqlite3_step(ddl) == SQLITE_ROW)
        run(to, (const char *)sqlite3_column_text(ddl, 0));
    sqlite3_finalize(ddl);
    snprintf(text, sizeof text, "SELECT * FROM %s", table);
    sqlite3_prepare_v2(from, text, -1, &all, NULL);
    int columns = sqlite3_column_count(all), n = snprintf(text, sizeof text, "INSERT INTO %s VALUES (?", table);
    for (int i = 1; i < columns; i++)
        n += snprintf(text + n, sizeof text - (size_t)n, ", ?");
    snprintf(text + n, sizeof text - (size_t)n, ")");
    if (sqlite3_prepare_v2(to, text, -1, &put, NULL) != SQLITE_OK)
        exit(1);
    long rows = 0;
    run(to, "BEGIN");
    for (; sqlite3_step(all) == SQLITE_ROW; rows++) {
        for (int i = 0; i < columns; i++)
            sqlite3_bind_value(put, i + 1, sqlite3_column_value(all, i));
        if (sqlite3_step(put) != SQLITE_DONE)
            exit(1);
        sqlite3_reset(put);
        if (rows % 10000 == 9999)
            run(to, "COMMIT; BEGIN");
    }
    run(to, "COMMIT");
    sqlite3_finalize(put);
    sqlite3_finalize(all);
    return rows;
}

double sqlite_raw_insertion(const char *club, const char *path, long *rows)
{
    sqlite3 *from, *to = open_new(path);
    if (sqlite3_open_v2(club, &from, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK)
        exit(1);
    double start = now_s();
    *rows = copy_table(from, to, "calibration");
    copy_table(from, to, "calibration_move");
    copy_table(from, to, "calibration_proof");
    double took = now_s() - start;
    sqlite3_close(from);
    sqlite3_close(to);
    unlink(path);
    return (double)*rows / took;
}

/* ---- what a process has used ---- */

double processor_s(pid_t pid)
{
    char path[64], line[1024] = "";
    unsigned long user = 0, system = 0;
    snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
    FILE *f = fopen(path, "r");
    if (!f)
        return 0;
    if (fgets(line, sizeof line, f)) {
        const char *rest = strrchr(line, ')');
        if (rest)
            sscanf(rest + 2, "%*c %*d %*d %*d %*d %*d %*u %*u %*u %*u %*u %lu %lu", &user, &system);
    }
    fclose(f);
    return (double)(user + system) / (double)sysconf(_SC_CLK_TCK);
}

static double status_mb(pid_t pid, const char *name)
{
    char path[64], line[256];
    double kb = 0;
    snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
    FILE *f = fopen(path, "r");
    while (f && fgets(line, sizeof line, f))
        if (!strncmp(line, name, strlen(name)))
            kb = atof(line + strlen(name));
    if (f)
        fclose(f);
    return kb / 1024;
}

double memory_mb(pid_t pid)
{
    return status_mb(pid, "VmRSS:");
}

double highest_memory_mb(pid_t pid)
{
    return status_mb(pid, "VmHWM:");
}
