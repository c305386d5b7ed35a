/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A daemon killed while it starts and while it stops: at each write, sync, truncation, renaming and removal of a whole life, and at moments that have nothing to do
 * with those. A life begins on a file that was closed well, on one whose last daemon was killed (its log has to be taken over first), or on one of the first
 * release; members log until it is told to stop and until they are refused. After each: `check` of the file as it was left ends 0, what was acknowledged is
 * there once, numbers are gapless, and the file is served again.
 *
 * `make check` takes a few of those points; with KILL_POINTS set each one, and as many moments.
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
#include <time.h>
#include <unistd.h>

#define MEMBERS 2
#define IDLE_US 300000 /* the keeper copies the log, learning comes to rest */

static struct club club, whole;
static long moments; /* KILL_POINTS; 0: `make check` */
static unsigned next_id = 700000;
static long sent, acknowledged, before; /* of the file at hand; rows it had */

static long now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec * 1000000L + t.tv_nsec / 1000;
}

/* ---- members ---- */

static pthread_mutex_t counting = PTHREAD_MUTEX_INITIALIZER;
static atomic_bool enough;

static bool log_one(void)
{
    char id[37], path[100];
    pthread_mutex_lock(&counting);
    uuid_of(next_id++, id);
    sent++;
    pthread_mutex_unlock(&counting);
    snprintf(path, sizeof path, "/api/calibrations/%s", id);
    struct answer a = ask_may_fail(&club.d, "PUT", path,
                                   "{\"deck\":\"d\",\"stock\":\"s\",\"made_at\":\"2026-03-01T19:00:00Z\",\"bias\":1.5,\"level\":0.5,"
                                   "\"moves\":[{\"bias\":1,\"level\":0.5,\"low_db\":0.5,\"high_db\":1}]}",
                                   club.key);
    bool stored = a.status == 201;
    answer_free(&a);
    pthread_mutex_lock(&counting);
    acknowledged += stored;
    pthread_mutex_unlock(&counting);
    return stored;
}

static void *log_on(void *none)
{
    (void)none;
    while (!atomic_load(&enough) && log_one())
        ;
    return NULL;
}

/* ---- what must hold ---- */

static void begin_anew(void)
{
    club_copy(&whole, &club);
    before = (long)club_number(&club, "SELECT count(DISTINCT uuid) FROM calibration");
    sent = acknowledged = 0;
}

static void holds(const char *what, long n, bool prove)
{
    fail_at(FAIL_NOTHING, 0, false);
    long there = (long)club_number(&club, "SELECT count(DISTINCT uuid) FROM calibration") - before;
    if (there < acknowledged || there > sent)
        fail_msg("%s %ld: %ld rows were acknowledged, %ld sent, %ld are there", what, n, acknowledged, sent, there);
    assert_int_equal(club_number(&club, "SELECT count(*) - count(DISTINCT uuid) FROM calibration WHERE replaces IS NULL"), 0);
    assert_int_equal(club_number(&club, "SELECT count(*) - max(seq) FROM change"), 0);
    if (prove)
        club_prove(&club); /* as it was left, with what a killed daemon leaves beside it */
}

/* ---- one life ---- */

enum beginning { WELL, KILLED };

static void leave_a_log(void)
{
    club_serve(&club);
    for (int i = 0; i < 3; i++)
        assert_true(log_one());
    kill(club.d.pid, SIGKILL);
    int status = 0;
    club_abandon_to(&status);
}

/* kill_us: killed so long after it was told to stop; -1: not by us. */
static int stop_while_they_log(long kill_us)
{
    pthread_t threads[MEMBERS];
    int status = 0;
    atomic_store(&enough, false);
    for (int i = 0; i < MEMBERS; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, log_on, NULL), 0);
    usleep(5000);
    kill(club.d.pid, SIGTERM);
    if (kill_us >= 0) {
        usleep((useconds_t)kill_us);
        kill(club.d.pid, SIGKILL);
    }
    club_abandon_to(&status);
    atomic_store(&enough, true);
    for (int i = 0; i < MEMBERS; i++)
        pthread_join(threads[i], NULL);
    return status;
}

/* Killed at the Nth change since it began; false when it came to its end. */
static bool life(enum beginning beginning, long n)
{
    int status = 0;
    if (beginning == KILLED)
        leave_a_log();
    fail_at(FAIL_KILL, n, false);
    if (club_try_to_serve(&club, &status)) {
        for (int waited = 0; waited < IDLE_US && !has_failed(); waited += 10000)
            usleep(10000);
        status = stop_while_they_log(-1);
    }
    bool killed = has_failed();
    assert_int_equal(status, killed ? 1009 : 0);
    return killed;
}

static void each_change(enum beginning beginning, const char *what)
{
    long n = 1, points = 0, step = moments ? 1 : 41;
    for (bool killed = true; killed; n += step) {
        if (points % 10 == 0)
            begin_anew();
        killed = life(beginning, n);
        points += killed;
        holds(what, n, moments || !killed);
        if (!killed || points % 5 == 0) { /* else the next life begins on what this one left */
            club_serve(&club);
            club_stop(&club);
            holds(what, n, true);
        }
        if (killed && n > 400)
            step = 1 + n / 40; /* a member's row is some changes as well */
    }
    print_message("%s: killed at %ld of some %ld changes from start to stop\n", what, points, n - 1);
}

static void closed_well(void **state)
{
    (void)state;
    each_change(WELL, "a file that was closed well");
}

static void left_by_a_kill(void **state)
{
    (void)state;
    each_change(KILLED, "a file that a kill left");
}

/* ---- at any moment ---- */

static void while_stopping(void **state)
{
    (void)state;
    long lives = moments ? moments : 6, killed = 0, stop_us = 0;
    for (long i = 0; i < lives; i++) {
        if (i % 10 == 0)
            begin_anew();
        club_serve(&club);
        log_one();
        long began = now_us(), at = i ? i * 7919 % 97 * stop_us / 80 : -1; /* from at once to a little past its end */
        int status = stop_while_they_log(at);
        if (!i)
            stop_us = now_us() - began;
        assert_true(status == 0 || (status == 1009 && at >= 0));
        killed += status == 1009;
        holds("stopping, moment", i, i % 5 == 0);
    }
    print_message("killed at %ld moments from the signal to stop to the end, %ld ms\n", killed, stop_us / 1000);
}

struct killer {
    long us;
};

static void *kill_in(void *user)
{
    struct killer *k = user;
    pid_t pid;
    while (!(pid = __atomic_load_n(&club.d.pid, __ATOMIC_ACQUIRE)))
        usleep(100);
    usleep((useconds_t)k->us);
    kill(pid, SIGKILL); /* nobody but us ends it, so it is still there */
    return NULL;
}

static void while_starting(void **state)
{
    (void)state;
    long lives = moments ? moments : 6, early = 0, start_us = 0;
    for (long i = 0; i < lives; i++) {
        int status = 0;
        if (i % 10 == 0)
            begin_anew();
        leave_a_log();
        if (!i) {
            long began = now_us();
            club_serve(&club);
            start_us = now_us() - began;
            club_stop(&club);
            leave_a_log();
        }
        struct killer k = {.us = i * 7919 % 97 * start_us / 80};
        pthread_t thread;
        club.d.pid = 0;
        assert_int_equal(pthread_create(&thread, NULL, kill_in, &k), 0);
        bool served = club_try_to_serve(&club, &status);
        pthread_join(thread, NULL);
        if (served)
            club_abandon_to(&status);
        early += !served;
        assert_int_equal(status, 1009);
        holds("starting, moment", i, i % 5 == 0);
    }
    print_message("killed at %ld moments, %ld of them before it served, which takes %ld ms\n", lives, early, start_us / 1000);
}

/* ---- taking over a file of the first release ---- */

static void make_old(const char *path)
{
    static char sql[1 << 20];
    sqlite3 *db;
    FILE *f = fopen("tests/server/old/club-1.sql", "r");
    assert_non_null(f);
    size_t n = fread(sql, 1, sizeof sql - 1, f);
    fclose(f);
    sql[n] = 0;
    unlink(path);
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

static void remove_with(const char *path)
{
    static const char *const ends[] = {"",          "-wal",      "-shm",           "-journal",      ".before-2",
                                       ".before-3", ".before-4", ".before-2.part", ".before-3.part"};
    char name[260];
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(name, sizeof name, "%.200s%s", path, ends[i]);
        unlink(name);
    }
}

/* By a verb that only lists, and by one that serves. */
static int take_over(struct club *old, long n, bool serves)
{
    int status = 0;
    fail_at(FAIL_KILL, n, false);
    if (!serves)
        return run_verb((const char *[]){"member", "list", "--db", old->db, NULL}, NULL, 0);
    if (club_try_to_serve(old, &status)) {
        usleep(has_failed() ? 0 : 20000);
        kill(old->d.pid, SIGTERM);
        club_abandon_to(&status);
    }
    return status;
}

static void while_taking_over(void **state)
{
    struct club old = {.db = ""};
    (void)state;
    snprintf(old.db, sizeof old.db, "%s", scratch_path("old.db"));
    make_old(old.db);
    long long rows = club_number(&old, "SELECT count(*) FROM calibration");
    for (int serves = 0; serves < 2; serves++) {
        long n = 1, step = moments ? 1 : serves ? 37 : 13, points = 0;
        for (bool killed = true; killed; n += step, points++) {
            remove_with(old.db);
            make_old(old.db);
            int status = take_over(&old, n, serves);
            killed = has_failed();
            fail_at(FAIL_NOTHING, 0, false);
            assert_int_equal(status, killed ? 1009 : 0);
            assert_int_equal(run_verb((const char *[]){"member", "list", "--db", old.db, NULL}, NULL, 0), 0); /* it is taken over now */
            assert_int_equal(club_number(&old, "SELECT count(*) FROM calibration"), rows);
            assert_int_equal(run_verb((const char *[]){"check", "--db", old.db, NULL}, NULL, 0), 0);
        }
        print_message("killed at %ld of some %ld changes while %s took over a file of the first release\n", points - 1, n - 2 * step,
                      serves ? "serve" : "a verb");
    }
}

static int start(void **state)
{
    (void)state;
    char folder[160];
    moments = getenv("KILL_POINTS") ? strtol(getenv("KILL_POINTS"), NULL, 10) : 0;
    snprintf(folder, sizeof folder, "%s", scratch_path(""));
    if (!failing_start(folder))
        return 1;
    club_make(&whole, "whole.db");
    club = whole;
    snprintf(club.db, sizeof club.db, "%s", scratch_path("club.db"));
    return 0;
}

static int over(void **state)
{
    (void)state;
    fail_at(FAIL_NOTHING, 0, false);
    atomic_store(&enough, true);
    club_abandon();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(closed_well, over),       cmocka_unit_test_teardown(left_by_a_kill, over),
        cmocka_unit_test_teardown(while_stopping, over),    cmocka_unit_test_teardown(while_starting, over),
        cmocka_unit_test_teardown(while_taking_over, over),
    };
    return cmocka_run_group_tests_name("lives", tests, start, NULL);
}
