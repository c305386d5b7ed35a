/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each allocation of each route failing in turn, once and for ever after (trial.h says what must hold), and nothing leaks.
 *
 * `make check` takes the first allocations and then fewer and fewer; BIASBOOK_LONG=1 all of them, and on daemons that were just started as well, where much is
 * allocated for the first time.
 */
#include "trial.h"

#include "http/routes.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static int missing;

static bool writes(const struct question *q)
{
    return q->kind == WRITES || q->kind == WRITES_ROW;
}

/* A daemon that has been asked before. Leaks: a pass that leaves more blocks than it found is made again, and some later one must leave none. Rows and the
 * view made of them take room rightly; the sanitizer's leak check sees to questions that write. */
static void on_a_warm_daemon(void **state)
{
    (void)state;
    club_serve_settled(&club);
    trial = (struct trial){.kind = FAIL_MEMORY, .all = trial.all, .same_daemon = true};
    for (const struct question *q = questions; q->method; q++) {
        long most = 0, grown = 1;
        trial_set_right(q);
        for (int pass = 0; pass < (writes(q) ? 1 : 4) && grown > 0; pass++) {
            long before = blocks_alive();
            for (int ever = 0; ever < 2; ever++) {
                trial.ever = ever;
                long n = trial_each(q);
                most = n > most ? n : most;
            }
            for (int i = 0; i < 50 && (grown = blocks_alive() - before) > 0; i++)
                usleep(2000); /* connections end on their own threads */
        }
        if (grown > 0 && !writes(q))
            fail_msg("%s %s: %ld blocks more after each of four passes", q->method, q->path, grown);
        if (trial.all)
            print_message("%-6s %-60.60s up to %ld allocations\n", q->method, q->path, most);
    }
    club_end(&club);
}

/* Each failing allocation on a daemon that was asked nothing yet: statements are prepared, pages read, threads woken for the first time. */
static void on_a_new_daemon(void **state)
{
    (void)state;
    trial = (struct trial){.kind = FAIL_MEMORY, .all = trial.all};
    int i = 0;
    for (const struct question *q = questions; q->method; q++) {
        if (!q->fine || (!trial.all && i++ % 16))
            continue;
        bool came = true;
        for (long n = 1; came && n < 20000; n = trial.all ? n + 1 + n / 12 : n * 8) {
            trial.ever = n % 2;
            club_serve(&club);
            came = trial_once(q, n);
            club_stop(&club);
        }
    }
    club_prove(&club);
}

/* Does this question go to that route? */
static bool goes_to(const struct question *q, const struct route *r)
{
    const char *p = q->path, *pattern = r->pattern;
    unsigned method = !strcmp(q->method, "GET")    ? METHOD_GET
                      : !strcmp(q->method, "PUT")  ? METHOD_PUT
                      : !strcmp(q->method, "POST") ? METHOD_POST
                                                   : METHOD_DELETE;
    if (!(r->methods & method))
        return false;
    while (*pattern && *p && *p != '?') {
        if (*pattern == '{') {
            pattern = strchr(pattern, '}') + 1;
            p += strcspn(p, *pattern == '.' ? "/?." : "/?");
        } else if (*pattern++ != *p++) {
            return false;
        }
    }
    return !*pattern && (!*p || *p == '?');
}

static void each_route_is_asked(void **state)
{
    (void)state;
    for (const struct route *r = biasbook_routes; r->pattern; r++) {
        bool asked = false;
        for (const struct question *q = questions; q->method && !asked; q++)
            asked = goes_to(q, r);
        if (!asked)
            print_message("nothing asks %s\n", r->pattern);
        missing += !asked;
    }
    assert_int_equal(missing, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_route_is_asked),
        cmocka_unit_test_teardown(on_a_warm_daemon, trial_over),
        cmocka_unit_test_teardown(on_a_new_daemon, trial_over),
    };
    return cmocka_run_group_tests_name("allocations", tests, trial_start, trial_report);
}
