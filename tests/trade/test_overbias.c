/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Overbias: start below, through the peak, then down by the drop. Order of work: published handbook practice ("start from
 * underbias and come up through the peak"); drops of 3 to 4.5 dB at 10 kHz are those of published open-reel data. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"

#include <math.h>

static void through_the_peak_to_the_drop(void **state)
{
    (void)state;
    const double drops[3] = {3.0, 4.0, 4.5};
    struct dice dice = {515};
    const struct meter fine = {{0.07, 0.12}, 0.1};
    int n = 120, settled = 0, right = 0;
    for (int i = 0; i < n; i++) {
        struct dial bias = bench_dial(-10, 10, 0.2), level = bench_dial(-8, 8, 0.2);
        struct next_move_question q = bench_question(&bias, &level);
        struct tape t = tape_make(&dice);
        struct move moves[LIMIT_MOVES];
        struct next_move nm;
        q.slopes = slopes_prior((struct slope_kind){CLASS_REEL_STANDARD, 190.5, ABSENT, ABSENT});
        q.drop_db = drops[i % 3];
        q.meter_step_db = 0.1;
        q.moves = moves;
        t.peak = 2.0 + 1.5 * dice_uniform(&dice); /* the club's number: past the peak */
        t.need[0] = 0.5 * dice_normal(&dice);
        t.need[1] = 0.5 * dice_normal(&dice);
        double highest = -INFINITY;
        for (q.move_count = 0;; q.move_count++) {
            next_move(&q, &nm);
            assert_true(nm.text[0]);
            if (nm.settled || q.move_count == 15) {
                break;
            }
            assert_true(nm.reason == MOVE_UP_TO_PEAK || nm.reason == MOVE_PAST_PEAK);
            for (int k = 0; k < q.move_count; k++) {
                assert_false(moves[k].bias == nm.set.dial[0] && moves[k].level == nm.set.dial[1]);
            }
            if (nm.reason == MOVE_UP_TO_PEAK) { /* always upward */
                assert_true(nm.set.db[0] > highest);
            }
            highest = fmax(highest, nm.set.db[0]);
            struct move *m = &moves[q.move_count];
            *m = (struct move){nm.set.dial[0], nm.set.dial[1], 0, 0};
            tape_levels(&t, m->bias, m->level, &m->low_db, &m->high_db);
            meter_read(&fine, &dice, &m->low_db, &m->high_db);
        }
        double low, high, low_top, top;
        tape_levels(&t, nm.set.db[0], nm.set.db[1], &low, &high);
        tape_levels(&t, t.need[0] - t.peak, nm.set.db[1], &low_top, &top);
        settled += nm.settled;
        right += nm.settled && fabs(top - high - q.drop_db) <= 1.0 && fabs(low) <= 0.6;
    }
    print_message("    %d tapes: settled %.3f, right %.3f\n", n, (double)settled / n, (double)right / n);
    assert_true(settled >= 0.95 * n && right >= 0.93 * settled);
}

static void dial_too_short_for_the_drop(void **state)
{
    (void)state;
    struct dial bias = bench_dial(-2, 0, 0.5), level = bench_dial(-8, 8, 0.2);
    struct next_move_question q = bench_question(&bias, &level);
    struct move m[3] = {{-2, 0, 0, 0.0}, {-1, 0, 0, 1.0}, {0, 0, 0, 1.5}}; /* rising to the very end */
    struct next_move nm;
    q.drop_db = 3.0;
    q.meter_step_db = 0.1;
    q.moves = m;
    q.move_count = 3;
    next_move(&q, &nm);
    assert_int_equal(nm.reason, MOVE_RUNS_OUT);
    assert_false(nm.settled);
    assert_true(nm.set.dial[0] <= 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(through_the_peak_to_the_drop),
        cmocka_unit_test(dial_too_short_for_the_drop),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
