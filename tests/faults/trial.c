/* SPDX-License-Identifier: GPL-3.0-or-later
 * See trial.h. */
#include "trial.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define MOST 20000 /* calls of one request at most */

struct club club;
struct trial trial;
static struct said right, said, again;
static int fine_status; /* of the right answer */
static long requests, failures, closed, refusals;

static long next_of(long n)
{
    if (trial.all)
        return n + 1 + (n > 500 ? n / 20 : 0); /* a dry run copies the club */
    return n < 4 ? n + 1 : n + 1 + n / 5;
}

static bool is_refusal(const struct said *s)
{
    return s->refused || ((s->status == 500 || s->status == 503) && !strncmp(s->type, "text/html", 9)); /* of a form: a page */
}

static bool ends_with(const struct said *s, const char *end)
{
    size_t n = strlen(end), m = s->n;
    while (m && s->body[m - 1] == '\n')
        m--;
    return m >= n && !memcmp(s->body + m - n, end, n);
}

/* An answer that says it is fine is whole, and tells of no failure inside it. */
static bool is_whole(const struct asked *a, const struct said *s)
{
    if (!s->n)
        return true;
    if (strstr(s->body, "out of memory") || strstr(s->body, "the disk failed") || strstr(s->body, "restore a backup"))
        return false;
    if (!strncmp(s->type, "application/json", 16)) {
        json_t *j = json_loadb(s->body, s->n, JSON_REJECT_DUPLICATES, NULL);
        bool fine = j && (strncmp(a->path, "/api/import", 11) || strstr(s->body, "\"refused\":0,"));
        json_decref(j);
        return fine;
    }
    if (!strncmp(s->type, "application/x-ndjson", 20))
        return ends_with(s, "}") && strstr(s->body, "{\"kind\":\"end\",\"rows\":");
    if (!strncmp(s->type, "image/svg+xml", 13))
        return ends_with(s, "</svg>");
    return strncmp(s->type, "text/html", 9) || ends_with(s, "</html>");
}

static const char *what(void)
{
    static const char *const names[] = {"nothing", "allocation", "call", "call (disk full)", "call (short)", "sync", "call (killed)"};
    return names[trial.kind];
}

static void judge(const struct asked *a, const struct said *s, long n)
{
    const struct question *q = a->q;
    requests++;
    failures += has_failed();
    closed += s->status == 0;
    refusals += is_refusal(s);
    if (is_refusal(s) && strstr(s->body, "restore a backup")) /* the file is whole */
        fail_msg("%s %s with %s %ld failing: told as damage: %s", q->method, a->path, what(), n, s->body);
    if (s->status == 0 || is_refusal(s)) {
        if (!has_failed() || trial.kind == FAIL_SHORT)
            fail_msg("%s %s: nothing failed, and yet it was answered %d %s", q->method, a->path, s->status, s->body);
        return;
    }
    bool fine = s->status == fine_status && is_whole(a, s) &&
                (q->kind != READS || !trial.same_daemon || (s->n == right.n && memcmp(s->body, right.body, s->n) == 0));
    if (!fine)
        fail_msg("%s %s with %s %ld failing%s: %d %.300s", q->method, a->path, what(), n, trial.ever ? " and all after it" : "", s->status,
                 s->body);
}

/* The same once more, on the same daemon, without faults. */
static void ask_again(const struct asked *a, long n)
{
    const struct question *q = a->q;
    say_to(&club, a, &again);
    requests++;
    bool fine = again.status == fine_status || again.status == q->again;
    if (said.status == fine_status && q->again && again.status != q->again)
        fine = false; /* it was acknowledged, so it must be known */
    if (q->kind == READS && trial.same_daemon && (again.n != right.n || memcmp(again.body, right.body, right.n)))
        fine = false;
    if (!fine)
        fail_msg("%s %s, first answered %d with %s %ld failing, afterwards %d %.300s", q->method, a->path, said.status, what(), n,
                 again.status, again.body);
    if (q->kind != WRITES_ROW)
        return;
    /* What the daemon shows of decks and tapes is made at the commit; when memory was out just then, a moment later. */
    const char *where = strstr(a->path, "/services/") ? "/api/decks/d/services"
                        : strstr(a->path, "/checks/") ? "/api/decks/d/checks"
                                                      : a->path;
    bool there = false;
    for (int i = 0; i < 100 && !there; i++) {
        if (i)
            usleep(10000);
        say_plainly(&club, "GET", where, NULL, NULL, &again);
        there = again.status == 200 && strstr(again.body, strrchr(a->path, '/') + 1);
    }
    if (!there)
        fail_msg("%s: stored and not found: %d %.200s", a->path, again.status, again.body);
}

bool trial_once(const struct question *q, long n)
{
    static struct asked a;
    if (q->fine)
        fine_status = q->fine;
    asked_fill(&a, &club, q);
    fail_at(trial.kind, n, trial.ever);
    say_to(&club, &a, &said);
    bool came = has_failed();
    judge(&a, &said, n);
    fail_at(FAIL_NOTHING, 0, false);
    ask_again(&a, n);
    return came;
}

long trial_each(const struct question *q)
{
    long n = 1;
    while (n < MOST && trial_once(q, n)) /* the threads that learn from results allocate too, so that a failure may come after the answer */
        n = next_of(n);
    return n;
}

void trial_set_right(const struct question *q)
{
    static struct asked a;
    for (int i = 0; i < 3; i++) { /* what is kept for the next time is kept now */
        asked_fill(&a, &club, q);
        say_to(&club, &a, &right);
        if ((q->fine ? right.status != q->fine : right.status < 200 || right.status > 404) || !is_whole(&a, &right))
            fail_msg("%s %s: %d %s", q->method, a.path, right.status, right.body);
    }
    fine_status = right.status;
}

int trial_start(void **state)
{
    (void)state;
    char folder[160];
    trial.all = getenv("BIASBOOK_LONG") != NULL;
    snprintf(folder, sizeof folder, "%s", scratch_path(""));
    if (!failing_start(folder))
        return 1;
    club_make(&club, "club.db");
    return 0;
}

int trial_over(void **state)
{
    (void)state;
    fail_at(FAIL_NOTHING, 0, false);
    club_abandon();
    return 0;
}

int trial_report(void **state)
{
    (void)state;
    print_message("%ld requests, something failed in %ld of them: %ld refused, %ld closed, the others answered right\n", requests, failures,
                  refusals, closed);
    return 0;
}
