/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each call for a file of each route failing in turn: an error of any call, a disk that is full, a sync that fails, once and for ever after; and calls that do
 * half of what was asked for, which is no error at all and must not be seen in any answer. The club's file, its log, its shared memory, spooled uploads and
 * exports: all that the daemon does below its folder.
 */
#include "trial.h"

#include <stdio.h>

static void each_call(enum fail_kind kind, bool ever)
{
    club_serve_settled(&club);
    trial = (struct trial){.kind = kind, .ever = ever, .all = trial.all, .same_daemon = true};
    for (const struct question *q = questions; q->method; q++) {
        trial_set_right(q);
        long n = trial_each(q);
        if (trial.all && n > 1)
            print_message("%-6s %-60.60s up to %ld calls\n", q->method, q->path, n - 1);
    }
    club_end(&club);
}

static void an_error(void **state)
{
    (void)state;
    each_call(FAIL_ERROR, false);
}
static void errors_for_ever(void **state)
{
    (void)state;
    each_call(FAIL_ERROR, true);
}
static void full_once(void **state)
{
    (void)state;
    each_call(FAIL_FULL, false);
}
static void full_for_ever(void **state)
{
    (void)state;
    each_call(FAIL_FULL, true);
}
static void a_sync(void **state)
{
    (void)state;
    each_call(FAIL_SYNC, false);
}
static void syncs_for_ever(void **state)
{
    (void)state;
    each_call(FAIL_SYNC, true);
}
static void half_of_it(void **state)
{
    (void)state;
    each_call(FAIL_SHORT, false);
}
static void half_of_everything(void **state)
{
    (void)state;
    each_call(FAIL_SHORT, true);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(an_error, trial_over),   cmocka_unit_test_teardown(errors_for_ever, trial_over),
        cmocka_unit_test_teardown(full_once, trial_over),  cmocka_unit_test_teardown(full_for_ever, trial_over),
        cmocka_unit_test_teardown(a_sync, trial_over),     cmocka_unit_test_teardown(syncs_for_ever, trial_over),
        cmocka_unit_test_teardown(half_of_it, trial_over), cmocka_unit_test_teardown(half_of_everything, trial_over),
    };
    return cmocka_run_group_tests_name("files", tests, trial_start, trial_report);
}
