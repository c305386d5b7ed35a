/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Ladders for two-head decks: what a ladder promises, and that one rewind mostly does. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"

#include <math.h>

static void promises(const struct next_move_question *q, const struct next_move *nm)
{
    assert_true(nm->ladder_count >= 3 && nm->ladder_count <= LIMIT_LADDER);
    for (int i = 0; i < nm->ladder_count; i++) {
        for (int r = 0; r < 2; r++) {
            const struct dial *d = q->dial[r];
            if (d && d->present) {
                double steps = (nm->ladder[i].dial[r] - dial_zero(d)) / dial_step(d);
                assert_true(nm->ladder[i].dial[r] >= d->low - 1e-9 && nm->ladder[i].dial[r] <= d->high + 1e-9);
                assert_true(fabs(steps - round(steps)) < 1e-6);
            } else {
                assert_false(given(nm->ladder[i].dial[r]));
            }
        }
        for (int k = 0; k < q->move_count; k++) {
            assert_false(q->moves[k].bias == nm->ladder[i].dial[0] && q->moves[k].level == nm->ladder[i].dial[1]);
        }
        for (int k = 0; k < i; k++) {
            bool same = (nm->ladder[i].dial[0] == nm->ladder[k].dial[0] || !given(nm->ladder[i].dial[0])) &&
                        (nm->ladder[i].dial[1] == nm->ladder[k].dial[1] || !given(nm->ladder[i].dial[1]));
            assert_false(same);
        }
        assert_true(i == 0 || nm->ladder[i].db[0] >= nm->ladder[i - 1].db[0]);
    }
}

static void wider_doubt_more_rungs(void **state)
{
    (void)state;
    struct dial bias = bench_dial(-8, 8, 0.25), level = bench_dial(-8, 8, 0.25);
    int before = 0;
    double span = 0.0;
    for (double se = 0.1; se < 3.0; se *= 2.0) {
        struct next_move_question q = bench_question(&bias, &level);
        struct next_move nm;
        q.need_se[0] = se;
        q.ladder = true;
        next_move(&q, &nm);
        promises(&q, &nm);
        assert_true(nm.ladder_count >= before);
        before = nm.ladder_count;
        double wide = nm.ladder[nm.ladder_count - 1].db[0] - nm.ladder[0].db[0];
        assert_true(wide >= span);
        span = wide;
    }
    assert_int_equal(before, LIMIT_LADDER);
}

static void none_when_not_asked_or_settled(void **state)
{
    (void)state;
    struct dial bias = bench_dial(-8, 8, 0.25), level = bench_dial(-8, 8, 0.25);
    struct next_move_question q = bench_question(&bias, &level);
    struct move m = {0, 0, 0.0, 0.1};
    struct next_move nm;
    next_move(&q, &nm);
    assert_int_equal(nm.ladder_count, 0);
    q.ladder = true;
    q.moves = &m;
    q.move_count = 1;
    q.meter_step_db = 0.1;
    next_move(&q, &nm);
    assert_true(nm.settled);
    assert_int_equal(nm.ladder_count, 0);
}

static void odd_dials_still_have_rungs(void **state)
{
    (void)state;
    struct dial coarse = bench_dial(-1, 1, 1.0), level = bench_dial(-4, 4, 0.5), none = {.present = false};
    const struct dial *pairs[4][2] = {{&coarse, &level}, {&none, &level}, {&level, &none}, {&coarse, &coarse}};
    for (int i = 0; i < 4; i++) {
        struct next_move_question q = bench_question(pairs[i][0], pairs[i][1]);
        struct next_move nm;
        q.ladder = true;
        next_move(&q, &nm);
        promises(&q, &nm);
    }
}

/* Record a ladder, read it in one rewind, and again if need be: two rewinds settle nearly all. */
static void one_rewind_mostly_does(void **state)
{
    (void)state;
    struct dice dice = {808};
    const struct meter fine = {{0.07, 0.12}, 0.1};
    struct dial bias = bench_dial(-7, 7, 0.25), level = bench_dial(-7, 7, 0.25);
    int n = 120, one = 0, two = 0, right = 0;
    for (int i = 0; i < n; i++) {
        struct next_move_question q = bench_question(&bias, &level);
        struct tape t = bench_tape(&dice, &q, true);
        struct move moves[LIMIT_MOVES];
        struct next_move nm;
        q.ladder = true;
        q.meter_step_db = 0.1;
        q.moves = moves;
        for (int rewind = 0; rewind < 3; rewind++) {
            next_move(&q, &nm);
            if (nm.settled) {
                one += rewind <= 1;
                two += rewind <= 2;
                break;
            }
            promises(&q, &nm);
            for (int k = 0; k < nm.ladder_count; k++) {
                struct move *m = &moves[q.move_count++];
                *m = (struct move){nm.ladder[k].dial[0], nm.ladder[k].dial[1], 0, 0};
                tape_levels(&t, m->bias, m->level, &m->low_db, &m->high_db);
                meter_read(&fine, &dice, &m->low_db, &m->high_db);
            }
        }
        double low, high;
        tape_levels(&t, nm.set.db[0], nm.set.db[1], &low, &high);
        right += nm.settled && fabs(low) <= 0.5 && fabs(high) <= 1.0;
    }
    print_message("    %d tapes: one rewind %.3f, two %.3f, truly right %.3f\n", n, (double)one / n, (double)two / n, (double)right / n);
    assert_true(one >= 0.7 * n && two >= 0.95 * n && right >= 0.93 * n);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wider_doubt_more_rungs),
        cmocka_unit_test(none_when_not_asked_or_settled),
        cmocka_unit_test(odd_dials_still_have_rungs),
        cmocka_unit_test(one_rewind_mostly_does),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
