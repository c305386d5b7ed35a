/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A day in one run, time sped up: in each hour members log, correct and ask, somebody exports, imports what was exported, a copy is made; every few hours the
 * daemon is stopped, or killed in the midst of it all. At the end memory, descriptors, threads and the write-ahead log are where they were at noon.
 *
 *   soak [HOURS] [ROWS an hour]
 *
 * New rows come in the first half of the day; the second half corrects, asks, imports again, so that what still grows then is lost.
 */
#include "../server/daemon.h"

#include <dirent.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#define MEMBERS 4
#define DECKS   6
#define STOCKS  12

static struct daemon served;
static char db[160], copy[160], key[120];
static int hours = 24, rows_an_hour = 60;
static atomic_int acknowledged[1 << 16]; /* of row i: 1 = first state, 2 = corrected */
static atomic_long asked, refused, cut_off;

struct figures {
    long resident_kb, descriptors, threads, wal_bytes, file_kb, rows;
};

static long line_of(const char *path, const char *name)
{
    char line[200];
    long value = 0;
    FILE *f = fopen(path, "r");
    while (f && fgets(line, sizeof line, f))
        if (!strncmp(line, name, strlen(name)))
            value = strtol(line + strlen(name), NULL, 10);
    if (f)
        fclose(f);
    return value;
}

static long descriptors_of(const char *folder)
{
    long n = 0;
    DIR *d = opendir(folder);
    while (d && readdir(d))
        n++;
    if (d)
        closedir(d);
    return n - 2;
}

static long size_of(const char *path)
{
    struct stat s;
    return stat(path, &s) == 0 ? (long)s.st_size : 0;
}

static void look(struct figures *out)
{
    char path[200];
    snprintf(path, sizeof path, "/proc/%d/status", (int)served.pid);
    out->resident_kb = line_of(path, "VmRSS:");
    out->threads = line_of(path, "Threads:");
    snprintf(path, sizeof path, "/proc/%d/fd", (int)served.pid);
    out->descriptors = descriptors_of(path);
    snprintf(path, sizeof path, "%s-wal", db);
    out->wal_bytes = size_of(path);
    out->file_kb = size_of(db) / 1024;
    out->rows = 0;
    for (size_t i = 0; i < sizeof acknowledged / sizeof *acknowledged; i++)
        out->rows += atomic_load(&acknowledged[i]) > 0;
}

/* ---- what members do ---- */

struct member {
    int number, hour;
    bool new_rows;
};

static void body_of(int row, bool corrected, char out[500])
{
    snprintf(out, 500,
             "{\"deck\":\"deck-%d\",\"stock\":\"stock-%d\",\"made_at\":\"2026-03-%02dT%02d:00:00Z\",\"bias\":%.1f,\"low_db\":0.1,\"high_"
             "db\":%.1f,\"tape\":"
             "\"no. %d\"}",
             row % DECKS, row / 3 % STOCKS, 1 + row % 28, row % 24, 1 + row * 7 % 13 * 0.1 + (corrected ? 0.2 : 0), row % 5 * 0.1, row % 9);
}

static void count(const struct answer *a)
{
    atomic_fetch_add(&asked, 1);
    atomic_fetch_add(&refused, a->status >= 500);
    atomic_fetch_add(&cut_off, a->status == 0);
}

static void log_row(int row, bool corrected)
{
    char id[37], path[100], body[500], header[300];
    uuid_of((unsigned)row + 1, id);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    snprintf(header, sizeof header, "%s", key);
    if (corrected) {
        struct answer a = ask_may_fail(&served, "GET", path, NULL, key);
        count(&a);
        snprintf(header, sizeof header, "If-Match: %.90s\r\n%s", a.etag, key);
        answer_free(&a);
    }
    body_of(row, corrected, body);
    struct answer a = ask_may_fail(&served, "PUT", path, body, header);
    count(&a);
    if (a.status == 200 || a.status == 201)
        atomic_store(&acknowledged[row], corrected ? 2 : 1);
    answer_free(&a);
}

static void *be_a_member(void *user)
{
    const struct member *m = user;
    char path[200];
    for (int i = m->number; i < rows_an_hour; i += MEMBERS) {
        int row = m->hour * rows_an_hour + i;
        if (m->new_rows)
            log_row(row, false);
        else
            log_row(row % (hours / 2 * rows_an_hour), m->hour % 2);
        for (int k = 0; k < 12; k++) {
            static const char *const pages[] = {"/api/suggestion?deck=deck-%d&stock=stock-%d",
                                                "/api/decks/deck-%d/trend",
                                                "/api/stocks/stock-%d/statistics",
                                                "/api/decks/deck-%d/sheet",
                                                "/charts/decks/deck-%d.svg",
                                                "/api/calibrations?limit=50&newest=1"};
            const char *page = pages[k < 7 ? 0 : k - 6];
            int one = strstr(page, "stocks") ? i % STOCKS : i % DECKS;
            snprintf(path, sizeof path, page, one, k % STOCKS); /* NOLINT: constant formats above */
            struct answer a = ask_may_fail(&served, "GET", path, NULL, key);
            count(&a);
            answer_free(&a);
        }
    }
    return NULL;
}

static void serve(void)
{
    daemon_start(&served, (const char *[]){"serve", "--db", db, "--listen", "127.0.0.1:0", NULL});
}

static void exchange_rows(void)
{
    char header[200];
    struct answer out = ask(&served, "GET", "/api/export?format=ndjson", NULL, key);
    snprintf(header, sizeof header, "Content-Type: application/x-ndjson\r\n%s", key);
    struct answer in = ask(&served, "POST", "/api/import", out.body, header);
    if (in.status != 200 || !strstr(in.body, "\"refused\":0") || !strstr(in.body, "\"complete\":true"))
        fail_msg("what was exported does not come in again: %ld %.300s", in.status, in.body);
    answer_free(&in);
    answer_free(&out);
}

static void hour(int h)
{
    pthread_t threads[MEMBERS];
    struct member members[MEMBERS];
    bool killed = h % 6 == 4;
    for (int i = 0; i < MEMBERS; i++) {
        members[i] = (struct member){i, h, h < hours / 2};
        assert_int_equal(pthread_create(&threads[i], NULL, be_a_member, &members[i]), 0);
    }
    if (killed) {
        usleep(30000);
        daemon_kill(&served);
    }
    for (int i = 0; i < MEMBERS; i++)
        pthread_join(threads[i], NULL);
    if (killed)
        serve();
    if (h % 6 == 1) {
        assert_int_equal(daemon_stop(&served), 0);
        serve();
    }
    exchange_rows();
    if (h % 3 == 2) {
        assert_int_equal(run_verb((const char *[]){"backup", "--db", db, copy, NULL}, NULL, 0), 0);
        if (h % 12 == 11)
            assert_int_equal(run_verb((const char *[]){"export", "--db", copy, NULL}, NULL, 0), 0);
    }
}

/* Until what came was learned from and the log was copied. */
static void rest(void)
{
    char wal[200];
    snprintf(wal, sizeof wal, "%s-wal", db);
    usleep(400000);
    for (int i = 0; i < 200 && size_of(wal) > 0; i++)
        usleep(20000);
}

static void rows_are_there(void)
{
    char id[37], path[100];
    for (int i = 0; i < hours * rows_an_hour; i++) {
        if (!atomic_load(&acknowledged[i]))
            continue;
        uuid_of((unsigned)i + 1, id);
        snprintf(path, sizeof path, "/api/calibrations/%s", id);
        struct answer a = ask(&served, "GET", path, NULL, key);
        if (a.status != 200)
            fail_msg("row %d was acknowledged and is lost: %ld", i, a.status);
        answer_free(&a);
    }
}

static void open_club(void)
{
    char out[2000], path[60], body[200];
    snprintf(db, sizeof db, "%s", scratch_path("day.db"));
    snprintf(copy, sizeof copy, "%s", scratch_path("copy.db"));
    assert_int_equal(run_verb((const char *[]){"init", "--db", db, NULL}, out, sizeof out), 0);
    snprintf(key, sizeof key, "Authorization: Bearer %.47s", strstr(out, "bb1_"));
    serve();
    for (int i = 0; i < DECKS + STOCKS; i++) {
        bool deck = i < DECKS;
        snprintf(path, sizeof path, deck ? "/api/decks/deck-%d" : "/api/stocks/stock-%d", deck ? i : i - DECKS);
        snprintf(body, sizeof body, "{\"name\":\"N %d\",%s}", i,
                 deck ? "\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,\"scale\":\"db\",\"db_per_unit\":0.5}"
                      : "\"class\":\"type-1\"");
        struct answer a = ask(&served, "PUT", path, body, key);
        assert_int_equal(a.status, 201);
        answer_free(&a);
    }
}

static bool over(const char *what, long noon, long end, long most)
{
    if (end <= most)
        return false;
    printf("%s: %ld at noon, %ld at the end, at most %ld was expected\n", what, noon, end, most);
    return true;
}

int main(int argc, char **argv)
{
    struct figures noon = {0}, now = {0};
    hours = argc > 1 ? atoi(argv[1]) : hours;
    rows_an_hour = argc > 2 ? atoi(argv[2]) : rows_an_hour;
    if (hours < 4 || hours * rows_an_hour > 1 << 16)
        return 2;
    open_club();
    printf("%5s %8s %10s %6s %8s %10s %9s %9s %8s %8s\n", "hour", "rows", "memory kB", "files", "threads", "log bytes", "file kB", "asked",
           "refused", "cut off");
    for (int h = 0; h < hours; h++) {
        hour(h);
        rest();
        look(&now);
        if (h == hours / 2 + (hours > 8 ? 2 : 0)) /* past the last new row, once round all kinds of hours */
            noon = now;
        if (noon.resident_kb && now.resident_kb > 0 && h > hours / 2 && h < hours - hours / 4 && now.resident_kb > noon.resident_kb)
            noon.resident_kb = now.resident_kb; /* the highest of the afternoon's first half */
        printf("%5d %8ld %10ld %6ld %8ld %10ld %9ld %9ld %8ld %8ld\n", h, now.rows, now.resident_kb, now.descriptors, now.threads,
               now.wal_bytes, now.file_kb, atomic_load(&asked), atomic_load(&refused), atomic_load(&cut_off));
        fflush(stdout);
    }
    rows_are_there();
    bool wrong = over("memory, kB", noon.resident_kb, now.resident_kb, noon.resident_kb + noon.resident_kb / 8 + 2048);
    wrong = over("files", noon.descriptors, now.descriptors, noon.descriptors + 8) || wrong;
    wrong = over("threads", noon.threads, now.threads, noon.threads) || wrong;
    wrong = over("write-ahead log, bytes", noon.wal_bytes, now.wal_bytes, 1 << 20) || wrong;
    wrong = over("answers that refused", 0, atomic_load(&refused), 0) || wrong;
    wrong = daemon_stop(&served) != 0 || wrong;
    char out[3000];
    int status = run_verb((const char *[]){"check", "--db", db, NULL}, out, sizeof out);
    if (status) {
        printf("check ends %d: %s\n", status, out);
        wrong = !strstr(out, "contents are right") || wrong;
    }
    printf("%s\n", wrong ? "something was missed" : "memory, files, threads and the log are flat; nothing acknowledged is lost");
    return wrong;
}
