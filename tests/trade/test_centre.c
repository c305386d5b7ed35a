/* SPDX-License-Identifier: GPL-3.0-or-later
 * Where the inside preset should stand: cases by hand, and no shift on a fine grid does better. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/centre.h"

#include <math.h>

#define NEED(x, half)                                                                                                                      \
    {                                                                                                                                      \
        .need = (x), .low = (x) - (half), .high = (x) + (half)                                                                             \
    }

static void by_hand(void **state)
{
    (void)state;
    struct centre c;
    centre_find(-2, 2, NULL, 0, 0.5, &c);
    assert_true(c.shift_db == 0 && c.inside == 0);

    struct centre_need inside[2] = {NEED(-1, 0.3), NEED(1, 0.3)};
    centre_find(-2, 2, inside, 2, 0.5, &c);
    assert_true(c.shift_db == 0 && c.inside == 2 && c.whole_inside == 2); /* room enough: leave it */
    assert_true(fabs(c.spare_db - 1) < 1e-9);

    struct centre_need high[2] = {NEED(1, 0.3), NEED(3, 0.3)};
    centre_find(-2, 2, high, 2, 0.5, &c);
    assert_int_equal(c.inside, 2);
    assert_int_equal(c.whole_inside, 2);
    assert_true(fabs(c.shift_db - 2) < 1e-9); /* the middle of 1.3 … 2.7 */
    assert_true(fabs(c.from_db - 1.3) < 1e-9 && fabs(c.to_db - 2.7) < 1e-9);

    struct centre_need wide[3] = {NEED(-3, 0.1), NEED(0, 0.1), NEED(3.5, 0.1)};
    centre_find(-2, 2, wide, 3, 0.5, &c);
    assert_int_equal(c.inside, 2); /* 6.5 dB do not fit a dial of 4 */
    assert_false(wide[2].inside);
    assert_true(wide[0].inside && wide[1].inside);
    assert_true(wide[2].short_db > 0 && fabs(wide[2].short_db - (3.5 - c.shift_db - 2)) < 1e-9);

    struct centre_need edge[1] = {NEED(1.9, 0.5)};
    centre_find(-2, 2, edge, 1, 0.5, &c);
    assert_true(c.whole_inside == 1 && c.shift_db > 0); /* on the dial, but with its range beyond it */
}

static int count_inside(double low, double high, const struct centre_need *n, int count, double shift, int *whole)
{
    int inside = 0;
    *whole = 0;
    for (int i = 0; i < count; i++) {
        bool in = n[i].need - shift >= low - 1e-9 && n[i].need - shift <= high + 1e-9;
        inside += in;
        *whole += in && n[i].low - shift >= low - 1e-9 && n[i].high - shift <= high + 1e-9;
    }
    return inside;
}

static void nothing_does_better(void **state)
{
    (void)state;
    struct dice dice = {21};
    for (int round = 0; round < 400; round++) {
        struct centre_need n[12];
        struct centre c;
        int count = 1 + (int)(12 * dice_uniform(&dice)), whole;
        double low = -3 + dice_uniform(&dice), high = 1 + 3 * dice_uniform(&dice);
        for (int i = 0; i < count; i++) {
            double half = 0.8 * dice_uniform(&dice), x = 2.5 * dice_normal(&dice);
            n[i] = (struct centre_need)NEED(x, half);
        }
        centre_find(low, high, n, count, 0.5, &c);
        int inside = count_inside(low, high, n, count, c.shift_db, &whole), told = 0, told_whole = 0;
        for (int i = 0; i < count; i++) {
            told += n[i].inside;
            told_whole += n[i].whole_inside;
            assert_true(n[i].inside == (n[i].short_db == 0));
        }
        assert_true(inside == c.inside && whole == c.whole_inside && told == inside && told_whole == whole);
        assert_true(c.shift_db == 0 || (c.shift_db >= c.from_db - 1e-9 && c.shift_db <= c.to_db + 1e-9));
        for (double shift = -12; shift <= 12; shift += 0.01) {
            int other_whole, other = count_inside(low, high, n, count, shift, &other_whole);
            assert_true(other < inside || (other == inside && other_whole <= whole));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(by_hand), cmocka_unit_test(nothing_does_better)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
