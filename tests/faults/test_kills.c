/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A daemon killed half-way through its Nth write, sync, truncation, renaming or removal, while members log, correct and import. After each: the file opens,
 * what was acknowledged is there, each request that was sent, sent again, leaves exactly one row, numbers are gapless, `check` ends 0. (test_lives.c:
 * starting and stopping.)
 *
 * `make check` kills at a few points; KILL_POINTS=1000 at as many.
 */
#include "club.h"
#include "failing.h"

#include <pthread.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define CLIENTS 3
#define EACH    9

#define ROW                                                                                                                                \
    "{\"deck\":\"d\",\"stock\":\"s\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":%.1f,\"level\":0.5,\"low_db\":0,\"high_db\":0,"         \
    "\"moves\":"                                                                                                                           \
    "[{\"bias\":1,"                                                                                                                        \
    "\"level\":0.5,\"low_db\":0.5,\"high_db\":1}]}"

static struct club club, whole;
static unsigned round_number;

struct member {
    int number, sent, acknowledged, revised; /* revised: acknowledged corrections of the acknowledged rows */
    bool imported;
};

static void path_of(const struct member *m, int i, char out[100])
{
    char id[37];
    uuid_of(round_number * 1000u + (unsigned)m->number * 100u + (unsigned)i + 500000u, id);
    snprintf(out, 100, "/api/calibrations/%s", id);
}

/* Results scatter, and a correction moves one by a mark. */
static double bias_of(const struct member *m, int i, bool corrected)
{
    return 1 + (m->number * 7 + i * 3) % 11 * 0.1 + (corrected ? 1 : 0);
}

static const char *body_of(const struct member *m, int i, bool corrected, char out[600])
{
    snprintf(out, 600, ROW, bias_of(m, i, corrected));
    return out;
}

static const char *lines_of(char out[4000])
{
    size_t n = 0;
    for (int i = 0; i < 10; i++)
        n += (size_t)snprintf(
            out + n, 4000 - n,
            "{\"kind\":\"calibration\",\"id\":\"0190a3de-2222-7def-8%03x-0000000003%02d\",\"deck\":\"d\",\"stock\":\"t\",\"made_at\":"
            "\"2026-02-01T19:00:00Z\",\"bias\":1,\"level\":0.5}\n",
            round_number & 0xfff, i);
    return out;
}

static void *work(void *user)
{
    struct member *m = user;
    char path[100], body[4000], header[400];
    for (int i = 0; i < EACH; i++) {
        path_of(m, i, path);
        m->sent = i + 1;
        struct answer a = ask_may_fail(&club.d, "PUT", path, body_of(m, i, false, body), club.key);
        long status = a.status;
        snprintf(header, sizeof header, "If-Match: %s\r\n%s", a.etag, club.key);
        answer_free(&a);
        if (status != 201)
            return NULL;
        m->acknowledged = i + 1;
        if (i % 3 == 0) {
            a = ask_may_fail(&club.d, "PUT", path, body_of(m, i, true, body), header);
            status = a.status;
            answer_free(&a);
            if (status != 200)
                return NULL;
            m->revised = i + 1;
        }
        if (i == 5 && m->number == 0) {
            snprintf(header, sizeof header, "Content-Type: application/x-ndjson\r\n%s", club.key);
            a = ask_may_fail(&club.d, "POST", "/api/import", lines_of(body), header);
            m->imported = a.status == 200;
            answer_free(&a);
        }
    }
    return NULL;
}

static void expect(struct answer a, long one, long or_other, const char *what)
{
    if (a.status != one && a.status != or_other)
        fail_msg("round %u, %s: %ld %s", round_number, what, a.status, a.body);
    answer_free(&a);
}

static void look_for(const struct member *m)
{
    char path[100], body[4000], header[300];
    for (int i = 0; i < m->sent; i++) {
        path_of(m, i, path);
        bool kept = i < m->acknowledged, corrected = i % 3 == 0 && i < m->revised, maybe = i % 3 == 0 && i == m->acknowledged - 1;
        if (kept) {
            struct answer a = ask(&club.d, "GET", path, NULL, club.key);
            if (a.status != 200)
                fail_msg("round %u: an acknowledged row is lost: %ld", round_number, a.status);
            snprintf(body, sizeof body, "\"bias\":%g,", bias_of(m, i, true));
            if (corrected && !strstr(a.body, body))
                fail_msg("round %u: an acknowledged correction is lost: %s", round_number, a.body);
            answer_free(&a);
        }
        if (maybe && !corrected) /* a correction that was under way stands or does not: 409 says that it does */
            expect(ask(&club.d, "PUT", path, body_of(m, i, false, body), club.key), 200, 409, "a row sent again");
        else
            expect(ask(&club.d, "PUT", path, body_of(m, i, corrected, body), club.key), 200, kept ? 200 : 201, "a row sent again");
    }
    if (m->number == 0 && m->acknowledged > 5) {
        snprintf(header, sizeof header, "Content-Type: application/x-ndjson\r\n%s", club.key);
        struct answer a = ask(&club.d, "POST", "/api/import", lines_of(body), header);
        if (a.status != 200 || !strstr(a.body, "\"refused\":0") || (m->imported && !strstr(a.body, "\"accepted\":0")))
            fail_msg("round %u: an import sent again: %ld %s", round_number, a.status, a.body);
        answer_free(&a);
    }
}

/* Serves, works, and is killed at its Nth change; false when it lived. */
static bool killed_at(long n)
{
    static struct member members[CLIENTS];
    pthread_t threads[CLIENTS];
    if (round_number % 5 == 1)
        club_copy(&whole, &club); /* it would grow for ever */
    club_serve(&club);
    fail_at(FAIL_KILL, n, false);
    for (int i = 0; i < CLIENTS; i++) {
        members[i] = (struct member){.number = i};
        assert_int_equal(pthread_create(&threads[i], NULL, work, &members[i]), 0);
    }
    for (int i = 0; i < CLIENTS; i++)
        pthread_join(threads[i], NULL);
    int status = 0;
    bool lives = !has_failed();
    if (lives)
        kill(club.d.pid, SIGTERM); /* it may be killed in the midst of stopping */
    club_abandon_to(&status);
    bool killed = has_failed();
    fail_at(FAIL_NOTHING, 0, false);
    if (!killed)
        assert_int_equal(status, 0);
    club_serve(&club);
    for (int i = 0; i < CLIENTS; i++)
        look_for(&members[i]);
    club_stop(&club);
    assert_int_equal(club_number(&club, "SELECT count(*) - count(DISTINCT uuid) FROM calibration WHERE replaces IS NULL"), 0);
    assert_int_equal(club_number(&club, "SELECT count(*) - max(seq) FROM change"), 0);
    if (round_number % 5 == 0)
        club_prove(&club);
    return killed;
}

static void while_serving(void **state)
{
    (void)state;
    const char *wanted = getenv("KILL_POINTS");
    long points = wanted ? strtol(wanted, NULL, 10) : 10, done = 0;
    for (long n = 1; done < points;
         n += 1 + (long)(round_number % 7)) { /* until past the end of a whole round, then again with other steps */
        round_number++;
        if (killed_at(n))
            done++;
        else
            n = (long)(round_number % 5);
    }
    print_message("killed at %ld points in %u rounds of %d rows\n", done, round_number, CLIENTS * EACH);
}

static int start(void **state)
{
    (void)state;
    char folder[160];
    snprintf(folder, sizeof folder, "%s", scratch_path(""));
    if (!failing_start(folder))
        return 1;
    club_make(&whole, "whole.db");
    club = whole;
    snprintf(club.db, sizeof club.db, "%s", scratch_path("club.db"));
    club_copy(&whole, &club);
    return 0;
}

static int over(void **state)
{
    (void)state;
    fail_at(FAIL_NOTHING, 0, false);
    club_abandon();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(while_serving, over),
    };
    return cmocka_run_group_tests_name("kills", tests, start, NULL);
}
