/* SPDX-License-Identifier: GPL-3.0-or-later
 * See club.h: the club, and what must hold once a daemon has ended. */
#include "club.h"

#include "failing.h"

#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static const char rows[] =
    "{\"kind\":\"deck\",\"id\":\"d\",\"name\":\"Bench deck\",\"model\":\"Orrin "
    "7\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-5,\"high\":5,"
    "\"scale\":\"db\",\"db_per_unit\":0.5},\"level_dial\":{\"low\":-4,\"high\":4,\"scale\":\"db\",\"db_per_unit\":0.5},\"notes\":\"beside "
    "the window\"}\n"
    "{\"kind\":\"deck\",\"id\":\"e\",\"name\":\"Attic "
    "deck\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":60,\"high\":150,\"zero\":100,\"scale\":"
    "\"percent\"},\"level_dial\":null}\n"
    "{\"kind\":\"stock\",\"id\":\"s\",\"name\":\"Velnar C-90\",\"class\":\"type-1\",\"family\":\"velnar\",\"aliases\":[\"V90\"]}\n"
    "{\"kind\":\"stock\",\"id\":\"t\",\"name\":\"Tamsel Super\",\"class\":\"type-2\",\"sheet_bias_db\":1.5}\n"
    "{\"kind\":\"service\",\"id\":\"0190a3de-0000-7def-8123-0000000000a1\",\"deck\":\"d\",\"made_at\":\"2026-01-10T10:00:00Z\",\"service_"
    "kind\":"
    "\"heads-cleaned\"}\n"
    "{\"kind\":\"check\",\"id\":\"0190a3de-0000-7def-8123-0000000000a2\",\"deck\":\"d\",\"made_at\":\"2026-01-11T10:00:00Z\",\"check_"
    "kind\":"
    "\"playback\",\"low_db\":0.1,\"high_db\":-0.4}\n";

static void write_rows(const char *path)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs(rows, f);
    for (int i = 0; i < 24; i++)
        fprintf(
            f,
            "{\"kind\":\"calibration\",\"id\":\"0190a3de-0000-7def-8123-0000000001%02d\",\"deck\":\"%s\",\"stock\":\"%s\",\"made_at\":"
            "\"2026-02-%02dT19:00:00Z\",\"bias\":%s,%s\"low_db\":0.1,\"high_db\":-0.2,\"tape\":\"no. %d\",\"recordings\":%d,\"moves\":[{"
            "\"bias\":%s,%s\"low_db\":0.4,\"high_db\":-1.5}],\"proof\":[{\"hz\":1000,\"left_db\":0.1,\"right_db\":0}]}\n",
            i, i % 3 ? "d" : "e", i % 2 ? "s" : "t", 1 + i, i % 3 ? "1.5" : "104", i % 3 ? "\"level\":0.5," : "", i % 4, i % 5,
            i % 3 ? "0.5" : "100", i % 3 ? "\"level\":0," : "");
    assert_int_equal(fclose(f), 0);
}

static void keep_key(struct club *c, const char *out)
{
    const char *key = strstr(out, "bb1_");
    assert_non_null(key);
    snprintf(c->key, sizeof c->key, "Authorization: Bearer %.47s", key);
}

void club_make(struct club *c, const char *name)
{
    static struct said s;
    char out[2000], import_path[160];
    snprintf(c->db, sizeof c->db, "%s", scratch_path(name));
    snprintf(import_path, sizeof import_path, "%s", scratch_path("rows.ndjson"));
    write_rows(import_path);
    assert_int_equal(run_verb((const char *[]){"init", "--db", c->db, NULL}, out, sizeof out), 0);
    keep_key(c, out);
    assert_int_equal(run_verb((const char *[]){"member", "add", "--db", c->db, "--name", "Odo", "--role", "logger", NULL}, NULL, 0), 0);
    if (run_verb((const char *[]){"import", "--db", c->db, import_path, NULL}, out, sizeof out) != 0)
        fail_msg("%s", out);
    club_serve_settled(c);
    say_plainly(c, "POST", "/api/calibrations/0190a3de-0000-7def-8123-000000000103/void", "application/json", "{\"reason\":\"wrong tape\"}",
                &s);
    assert_int_equal(s.status, 200);
    usleep(1500000); /* past the quiet time after which variances are estimated */
    club_end(c);
}

static pid_t serving; /* 0: none */

void club_abandon(void)
{
    if (serving) {
        kill(serving, SIGKILL);
        waitpid(serving, NULL, 0);
    }
    serving = 0;
}

void club_abandon_to(int *status)
{
    int how = 0;
    waitpid(serving, &how, 0);
    serving = 0;
    *status = WIFEXITED(how) ? WEXITSTATUS(how) : 1000 + WTERMSIG(how);
}

bool club_try_to_serve(struct club *c, int *status)
{
    char folder[160];
    snprintf(folder, sizeof folder, "%s", c->db);
    *strrchr(folder, '/') = 0;
    bool serves = daemon_try(&c->d, (const char *[]){"serve", "--db", c->db, "--listen", "127.0.0.1:0", "--scratch", folder, NULL}, status);
    serving = serves ? c->d.pid : 0;
    return serves;
}

void club_serve(struct club *c)
{
    int status = 0;
    if (!club_try_to_serve(c, &status))
        fail_msg("serve ended with %d before it served", status);
}

void club_serve_settled(struct club *c)
{
    static struct said s;
    club_serve(c);
    for (int i = 0; i < 400; i++) {
        say_plainly(c, "GET", "/metrics", NULL, NULL, &s);
        const char *last = strstr(s.body, "\nbiasbook_last_change "), *as_of = strstr(s.body, "\nbiasbook_model_as_of ");
        const char *age = strstr(s.body, "\nbiasbook_model_age_seconds ");
        if (last && as_of && age && atol(strchr(last, ' ')) == atol(strchr(as_of, ' ')))
            break;
        usleep(20000);
    }
    for (int i = 0, calm = 0; i < 200 && calm < 8; i++) { /* solver and estimator at rest: the heap stands still */
        long alive = blocks_alive();
        usleep(30000);
        calm = blocks_alive() == alive ? calm + 1 : 0;
    }
}

long long club_number(const struct club *c, const char *sql)
{
    sqlite3 *db;
    sqlite3_stmt *q;
    assert_int_equal(sqlite3_open_v2(c->db, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    sqlite3_busy_timeout(db, 5000);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &q, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    long long n = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    sqlite3_close(db);
    return n;
}

void club_prove(const struct club *c)
{
    char out[4000];
    int status = run_verb((const char *[]){"check", "--db", c->db, NULL}, out, sizeof out);
    if (status)
        fail_msg("check ends %d: %s", status, out);
    assert_int_equal(club_number(c, "SELECT count(*) - max(seq) FROM change"), 0);
}

void club_stop(struct club *c)
{
    serving = 0;
    assert_int_equal(daemon_stop(&c->d), 0);
}

void club_end(struct club *c)
{
    club_stop(c);
    club_prove(c);
}

void club_copy(const struct club *from, const struct club *to)
{
    char block[65536], path[200];
    static const char *const ends[] = {"-wal", "-shm", "-journal", ".replaced", ".restoring", ""};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%s%s", to->db, ends[i]);
        unlink(path);
    }
    int in = open(from->db, O_RDONLY), out = open(to->db, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    assert_true(in >= 0 && out >= 0);
    for (ssize_t n; (n = read(in, block, sizeof block)) > 0;)
        assert_int_equal(write(out, block, (size_t)n), n);
    close(in);
    close(out);
}

/* ---- the questions ---- */

#define JSON "application/json"
#define ROW                                                                                                                                \
    "{\"deck\":\"d\",\"stock\":\"s\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1.5,\"level\":0.5,\"low_db\":0,\"high_db\":0,"          \
    "\"moves\":[{"                                                                                                                         \
    "\"bias\":1,\"level\":0.5,\"low_db\":0.5,\"high_db\":1}],\"notes\":\"a note\"}"
#define KNOWN "0190a3de-0000-7def-8123-000000000101"

static long long made_member; /* by made_key */

/* A key of a new member, as one member has 64 at most. */
static long long made_key(const struct club *c)
{
    static struct said s;
    static unsigned count;
    char body[120];
    snprintf(body, sizeof body, "{\"name\":\"K %d %u\",\"role\":\"reader\"}", (int)getpid(), ++count);
    say_plainly(c, "POST", "/api/members", JSON, body, &s);
    const char *id = strstr(s.body, "\"id\":"), *key = id ? strstr(id + 5, "\"id\":") : NULL;
    if (s.status != 201 || !key)
        fail_msg("no key was made: %d %s", s.status, s.body);
    made_member = atoll(id + 5);
    return atoll(key + 5);
}

const struct question questions[] = {
    {"GET", "/livez", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/readyz", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/suggestion?deck=d&stock=s&tape=no.+1&recordings=1&position_part=0.2&at=2026-03-02T00:00:00Z", NULL, NULL, 200, 0, READS,
     NULL},
    {"GET", "/api/suggestion?deck=e&class=type-4&at=2026-03-02T00:00:00Z", NULL, NULL, 200, 0, READS, NULL},
    {"POST", "/api/next-move", JSON,
     "{\"deck\":\"d\",\"stock\":\"s\",\"moves\":[{\"bias\":1,\"level\":0,\"low_db\":0.5,\"high_db\":-1}],\"plan\":\"ladder\"}", 200, 0,
     LOOKS, NULL},
    {"GET", "/api/calibrations/" KNOWN, NULL, NULL, 200, 0, READS, NULL},
    {"PUT", "/api/calibrations/%s", JSON, ROW, 201, 200, WRITES_ROW, NULL},
    {"POST", "/api/calibrations/" KNOWN "/void", JSON, "{\"reason\":\"once more\"}", 200, 0, WRITES, NULL},
    {"POST", "/api/calibrations/" KNOWN "/undo", NULL, NULL, 200, 0, WRITES, NULL},
    {"GET", "/api/calibrations/" KNOWN "/revisions", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/calibrations?deck=d&limit=7", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/decks/d", NULL, NULL, 200, 0, READS, NULL},
    {"PUT", "/api/decks/%s", JSON,
     "{\"name\":\"Another\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":0,\"high\":9,\"scale\":\"learn\"}}", 201, 200, WRITES_ROW, NULL},
    {"GET", "/api/decks?limit=2", NULL, NULL, 200, 0, READS, NULL},
    {"PUT", "/api/decks/d/services/%s", JSON, "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"belts\",\"resets\":false}", 201, 200,
     WRITES_ROW, NULL},
    {"GET", "/api/decks/d/services", NULL, NULL, 200, 0, LOOKS, NULL},
    {"PUT", "/api/decks/d/checks/%s", JSON, "{\"made_at\":\"2026-02-01T10:00:00Z\",\"kind\":\"playback\",\"low_db\":0,\"high_db\":0.3}",
     201, 200, WRITES_ROW, NULL},
    {"GET", "/api/decks/d/checks", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/decks/d/revisions", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/decks/d/trend", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/decks/d/statistics", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/decks/d/hints", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/decks/d/sheet", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/decks/d/centre?stocks=s,t", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/stocks/s", NULL, NULL, 200, 0, READS, NULL},
    {"PUT", "/api/stocks/%s", JSON, "{\"name\":\"New tape\",\"class\":\"type-1\",\"aliases\":[\"N\"]}", 201, 200, WRITES_ROW, NULL},
    {"GET", "/api/stocks?limit=2", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/stocks/s/revisions", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/stocks/s/statistics", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/stocks/s/sheet", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/stocks/s/alike?deck=d", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/classes", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/model", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/api/track-record", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/export?format=ndjson", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/export?format=csv&members=pseudonyms", NULL, NULL, 200, 0, LOOKS, NULL},
    {"POST", "/api/import", "application/x-ndjson",
     "{\"kind\":\"stock\",\"id\":\"%s\",\"name\":\"From "
     "afar\",\"class\":\"type-2\"}\n{\"kind\":\"calibration\",\"id\":\"%s\",\"deck\":\"d\",\"stock\":\"s\","
     "\"made_at\":\"2026-02-20T10:00:00Z\",\"bias\":2,\"level\":0}\n",
     200, 0, WRITES, NULL},
    {"POST", "/api/import?atomic=1", "text/csv", "kind,id,deck,stock,made_at,bias,level\ncalibration,%s,d,s,2026-02-20T10:00:00Z,2,0\n",
     200, 0, WRITES, NULL},
    {"POST", "/api/import?dry_run=1", "application/x-ndjson",
     "{\"kind\":\"stock\",\"id\":\"%s\",\"name\":\"From afar\",\"class\":\"type-2\"}\n", 200, 0, WRITES, NULL},
    {"GET", "/api/session", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/journal?limit=9", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/review", NULL, NULL, 200, 0, LOOKS, NULL},
    {"POST", "/api/review/" KNOWN, JSON, "{\"verdict\":\"accept\"}", 204, 0, WRITES, NULL},
    {"GET", "/api/coverage", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/api/members", NULL, NULL, 200, 0, LOOKS, NULL},
    {"POST", "/api/members", JSON, "{\"name\":\"%s\",\"role\":\"reader\"}", 201, 409, WRITES, NULL},
    {"PUT", "/api/members/2", JSON, "{\"role\":\"logger\"}", 200, 0, WRITES, NULL},
    {"GET", "/api/members/2/keys", NULL, NULL, 200, 0, LOOKS, NULL},
    {"DELETE", "/api/members/%m/keys/%lld", NULL, NULL, 204, 0, WRITES, made_key},
    {"POST", "/api/members/%m/keys/%lld/rotate", NULL, NULL, 201, 409, WRITES, made_key},
    {"GET", "/charts/stocks/s.svg", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/charts/decks/d.svg", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/charts/track-record.svg", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/log?deck=d&stock=s", NULL, NULL, 200, 0, LOOKS, NULL},
    {"POST", "/log", "application/x-www-form-urlencoded", "id=%s&deck=d&stock=s&bias=1,5&level=0.5&made_at=2026-03-01T19:00:00Z", 201, 200,
     WRITES, NULL},
    {"POST", "/api/members/%m/keys", JSON, "{\"name\":\"phone\"}", 201, 0, WRITES, made_key},
    {"GET", "/api/last-result?deck=d&stock=s", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/sign-in", NULL, NULL, 200, 0, LOOKS, NULL},
    {"POST", "/sign-in", "application/x-www-form-urlencoded", "key=%k", 0, 0, WRITES, NULL},
    {"POST", "/sign-out", "application/x-www-form-urlencoded", "", 0, 0, WRITES, NULL},
    {"POST", "/api/session", JSON, "{\"key\":\"%k\"}", 0, 0, WRITES, NULL},
    {"DELETE", "/api/session", NULL, NULL, 0, 0, WRITES, NULL},
    {"GET", "/.well-known/security.txt", NULL, NULL, 404, 0, READS, NULL},
    {"GET", "/metrics", NULL, NULL, 200, 0, LOOKS, NULL},
    {"GET", "/openapi.json", NULL, NULL, 200, 0, READS, NULL},
    {"GET", "/no-such-page", NULL, NULL, 404, 0, READS, NULL},
    {NULL, NULL, NULL, NULL, 0, 0, READS, NULL},
};

void asked_fill(struct asked *a, const struct club *c, const struct question *q)
{
    static unsigned count;
    char id[37];
    long long number = q->before ? q->before(c) : 0;
    uuid_of(++count + 1000000u * (unsigned)(getpid() % 4000), id);
    a->q = q;
    a->body[0] = 0;
    const char *from[2] = {q->path, q->body ? q->body : ""};
    char *to[2] = {a->path, a->body};
    size_t room[2] = {sizeof a->path, sizeof a->body};
    for (int k = 0; k < 2; k++) {
        size_t n = 0;
        for (const char *p = from[k]; *p;) {
            assert_true(n + 60 < room[k]);
            if (strncmp(p, "%s", 2) == 0) {
                n += (size_t)snprintf(to[k] + n, room[k] - n, "%s", id);
                p += 2;
            } else if (strncmp(p, "%k", 2) == 0) {
                n += (size_t)snprintf(to[k] + n, room[k] - n, "%s", strstr(c->key, "bb1_"));
                p += 2;
            } else if (strncmp(p, "%m", 2) == 0) {
                n += (size_t)snprintf(to[k] + n, room[k] - n, "%lld", made_member);
                p += 2;
            } else if (strncmp(p, "%lld", 4) == 0) {
                n += (size_t)snprintf(to[k] + n, room[k] - n, "%lld", number);
                p += 4;
            } else {
                to[k][n++] = *p++;
            }
        }
        to[k][n] = 0;
    }
}
