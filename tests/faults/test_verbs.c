/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each verb while its Nth allocation or call for a file fails, once and for ever after, and killed at each of its writes. A verb ends 0 and has said what it says on a
 * good machine, or 1; what it said to have done is done; the club proves itself; the verb does its work when it is run again. A backup under its name is whole.
 */
#include "club.h"
#include "failing.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct club club;
static bool all;
static char folder[120], whole[140], db[140], other[140], rows[140], table[140];
static long runs, failures, refusals, killed;

static void copy_file(const char *from, const char *to)
{
    struct club a = {.db = ""}, b = {.db = ""};
    snprintf(a.db, sizeof a.db, "%s", from);
    snprintf(b.db, sizeof b.db, "%s", to);
    club_copy(&a, &b);
}

static long long in_file(const char *path, const char *sql)
{
    struct club c = {.db = ""};
    snprintf(c.db, sizeof c.db, "%s", path);
    return club_number(&c, sql);
}

/* ---- what must hold after a verb that said it was done ---- */

static void proved(const char *path)
{
    char out[3000];
    int status = run_verb((const char *[]){"check", "--db", path, NULL}, out, sizeof out);
    if (status)
        fail_msg("check %s ends %d: %s", path, status, out);
}

static void imported(void)
{
    assert_int_equal(in_file(db, "SELECT count(*) FROM calibration WHERE uuid IS NOT NULL AND substr(hex(uuid),1,16) = '0190A3DE11117DEF'"),
                     40);
}
static void joined(void)
{
    assert_int_equal(in_file(db, "SELECT count(*) FROM member WHERE name = 'Ragna'"), 1);
}
static void copied(void)
{
    proved(other);
}
static void nothing_more(void)
{
}

struct verb {
    const char *args[14];
    bool (*ready)(void); /* before each run; NULL: a fresh copy of the club */
    void (*done)(void);
    bool says; /* the same output each time */
    bool reads_only;
};

static bool without_tables(void) /* so that everything is learned anew */
{
    sqlite3 *c;
    copy_file(whole, db);
    bool fine = sqlite3_open(db, &c) == SQLITE_OK && sqlite3_exec(c, "DELETE FROM blob", NULL, NULL, NULL) == SQLITE_OK;
    if (!fine)
        print_message("%s\n", sqlite3_errmsg(c));
    sqlite3_close(c);
    return fine;
}
static bool nothing_there(void)
{
    char path[200];
    static const char *const ends[] = {"", "-wal", "-shm", "-journal"};
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%.150s%s", other, ends[i]);
        unlink(path);
    }
    return true;
}
static bool copy_and_nothing(void)
{
    copy_file(whole, db);
    return nothing_there();
}

static const struct verb verbs[] = {
    {{"version", NULL}, nothing_there, nothing_more, true, true},
    {{"init", "--db", other, NULL}, nothing_there, copied, false, false},
    {{"member", "add", "--db", db, "--name", "Ragna", "--role", "reader", NULL}, NULL, joined, false, false},
    {{"member", "list", "--db", db, NULL}, NULL, nothing_more, true, true},
    {{"member", "rotate", "--db", db, "--key", "2", NULL}, NULL, nothing_more, false, false},
    {{"member", "revoke", "--db", db, "--key", "2", NULL}, NULL, nothing_more, false, false},
    {{"import", "--db", db, rows, NULL}, NULL, imported, true, false},
    {{"import", "--db", db, "--atomic", rows, NULL}, NULL, imported, true, false},
    {{"import", "--db", db, "--dry-run", rows, NULL}, NULL, nothing_more, true, false},
    {{"export", "--db", db, NULL}, NULL, nothing_more, true, true},
    {{"export", "--db", db, "--format", "csv", "--members", "pseudonyms", NULL}, NULL, nothing_more, false, false},
    {{"suggest", "--db", db, "--deck", "d", "--stock", "s", "--at", "2026-03-05T00:00:00Z", NULL},
     without_tables,
     nothing_more,
     true,
     true},
    {{"fit", "--csv", table, "--response", "yield", "--group", "batch", "--flat", NULL}, nothing_there, nothing_more, true, true},
    {{"backup", "--db", db, other, NULL}, copy_and_nothing, copied, false, false},
    {{"restore", "--db", other, whole, NULL}, nothing_there, copied, false, false},
    {{"check", "--db", db, NULL}, NULL, nothing_more, false, true},
};
#define VERBS (sizeof verbs / sizeof *verbs)

static int run(const struct verb *v, char *out, size_t size)
{
    runs++;
    return run_verb(v->args, out, size);
}

static void make_ready(const struct verb *v)
{
    if (!v->ready)
        copy_file(whole, db);
    else
        assert_true(v->ready());
}

static const char *line_of(const struct verb *v)
{
    static char text[300];
    size_t n = 0;
    for (int i = 0; v->args[i]; i++)
        n += (size_t)snprintf(text + n, sizeof text - n, "%.40s ", v->args[i]);
    return text;
}

static long next_of(long n)
{
    return all ? n + 1 + (n > 400 ? n / 40 : 0) : n < 3 ? n + 1 : 3 * n;
}

/* One verb with its Nth call failing; false when nothing failed any more. */
static bool once(const struct verb *v, enum fail_kind kind, long n, bool ever, const char *right)
{
    static char out[1 << 20], again[1 << 20];
    make_ready(v);
    fail_at(kind, n, ever);
    int status = run(v, out, sizeof out);
    bool came = has_failed();
    fail_at(FAIL_NOTHING, 0, false);
    failures += came;
    refusals += status == 1;
    killed += kind == FAIL_KILL && status == 1009;
    if (status != 0 && !(came && (status == 1 || (kind == FAIL_KILL && status == 1009))))
        fail_msg("%s with call %ld of kind %d failing%s ends %d: %s", line_of(v), n, kind, ever ? " and all after it" : "", status, out);
    if (status == 0) {
        const char *took = strstr(right, "\"seconds\":"); /* of `fit` */
        if (v->says && strncmp(out, right, took ? (size_t)(took - right) : sizeof out) != 0)
            fail_msg("%s with call %ld of kind %d failing%s ends 0 and says %.300s", line_of(v), n, kind, ever ? " and all after it" : "",
                     out);
        v->done();
    }
    if (access(db, F_OK) == 0 && strcmp(v->args[0], "version") && strcmp(v->args[0], "fit") && (n % 5 == 0 || kind == FAIL_KILL))
        proved(db);
    int second = run(v, again, sizeof again); /* the machine is well */
    bool taken =
        status != 0 && second == 1 && (!strcmp(v->args[0], "init") || !strcmp(v->args[0], "member")); /* it was done all the same */
    bool repeated = status == 0 && second == 1 && (!strcmp(v->args[0], "init") || !strcmp(v->args[0], "member"));
    if (second != 0 && !taken && !repeated)
        fail_msg("%s, run again after call %ld of kind %d failed, ends %d: %s", line_of(v), n, kind, second, again);
    if (second == 0)
        v->done();
    return came;
}

static void each(enum fail_kind kind, bool ever)
{
    static char right[1 << 20];
    for (size_t i = 0; i < VERBS; i++) {
        const struct verb *v = &verbs[i];
        if (kind == FAIL_KILL && v->reads_only)
            continue;
        make_ready(v);
        int status = run(v, right, sizeof right);
        if (status)
            fail_msg("%s ends %d: %s", line_of(v), status, right);
        v->done();
        long n = 1;
        while (n < 30000 && once(v, kind, n, ever, right))
            n = next_of(n);
        if (all)
            print_message("%-70s up to %ld\n", line_of(v), n - 1);
    }
}

#define EACH(name, kind, ever)                                                                                                             \
    static void name(void **state)                                                                                                         \
    {                                                                                                                                      \
        (void)state;                                                                                                                       \
        each(kind, ever);                                                                                                                  \
    }
EACH(an_allocation, FAIL_MEMORY, false)
EACH(allocations_for_ever, FAIL_MEMORY, true)
EACH(a_call, FAIL_ERROR, false)
EACH(calls_for_ever, FAIL_ERROR, true)
EACH(full, FAIL_FULL, true)
EACH(syncs, FAIL_SYNC, true)
EACH(halves, FAIL_SHORT, true)
EACH(killed_at_a_write, FAIL_KILL, false)

static int start(void **state)
{
    (void)state;
    all = getenv("BIASBOOK_LONG") != NULL;
    snprintf(folder, sizeof folder, "%s", scratch_path(""));
    snprintf(db, sizeof db, "%.100s", scratch_path("work.db"));
    snprintf(other, sizeof other, "%.100s", scratch_path("other.db"));
    snprintf(whole, sizeof whole, "%.100s", scratch_path("club.db"));
    snprintf(rows, sizeof rows, "%.100s", scratch_path("more.ndjson"));
    snprintf(table, sizeof table, "%.100s", scratch_path("yields.csv"));
    FILE *f = fopen(rows, "w");
    for (int i = 0; f && i < 40; i++)
        fprintf(f,
                "{\"kind\":\"calibration\",\"id\":\"0190a3de-1111-7def-8123-0000000002%02d\",\"deck\":\"d\",\"stock\":\"s\",\"made_at\":"
                "\"2026-02-01T19:00:00Z\",\"bias\":1,\"level\":0.5}\n",
                i);
    if (!f || fclose(f) || !(f = fopen(table, "w")))
        return 1;
    fputs("batch,yield\n", f);
    for (int i = 0; i < 30; i++)
        fprintf(f, "%c,%d\n", 'a' + i / 5, 1500 + (i * 37) % 90 + 20 * (i / 5));
    if (fclose(f) || !failing_start(folder))
        return 1;
    club_make(&club, "club.db");
    return 0;
}

static int report(void **state)
{
    (void)state;
    print_message("%ld runs of verbs, something failed in %ld: %ld refused, %ld killed, the others did their work\n", runs, failures,
                  refusals, killed);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_allocation), cmocka_unit_test(allocations_for_ever),
        cmocka_unit_test(a_call),        cmocka_unit_test(calls_for_ever),
        cmocka_unit_test(full),          cmocka_unit_test(syncs),
        cmocka_unit_test(halves),        cmocka_unit_test(killed_at_a_write),
    };
    return cmocka_run_group_tests_name("verbs", tests, start, report);
}
