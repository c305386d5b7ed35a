/* SPDX-License-Identifier: GPL-3.0-or-later
 * Is it what its label says? Properties, a case by hand, and simulated shelves. Needs of the classes: common practice, no source (from memory). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/classes.h"
#include "trade/label.h"

#include <math.h>

static struct label_odds weigh(enum tape_class c, double bias, double level, double se, double spread)
{
    struct label_odds o;
    struct label_evidence e = {{bias, level}, {se * se, se * se}, {spread, spread}};
    label_weigh(c, &e, &o);
    return o;
}

static void needs_rise_as_the_trade_has_it(void **state)
{
    (void)state;
    /* bias of Type II 140–160 %, III 105–115 %, IV 200–250 % of Type I's, as 20·log10 */
    assert_true(label_need_db(CLASS_TYPE_1) == 0);
    assert_true(label_need_db(CLASS_TYPE_2) > 2.9 && label_need_db(CLASS_TYPE_2) < 4.1);
    assert_true(label_need_db(CLASS_TYPE_3) > 0.4 && label_need_db(CLASS_TYPE_3) < 1.3);
    assert_true(label_need_db(CLASS_TYPE_4) > 6.0 && label_need_db(CLASS_TYPE_4) < 8.0);
    assert_true(isnan(label_need_db(CLASS_NONE)));
}

static void sums_and_media(void **state)
{
    (void)state;
    struct dice dice = {11};
    for (int i = 0; i < 500; i++) {
        enum tape_class c = (enum tape_class)(i % CLASS_COUNT);
        struct label_odds o =
            weigh(c, 8 * dice_normal(&dice), 3 * dice_normal(&dice), 0.05 + dice_uniform(&dice), 0.1 + dice_uniform(&dice));
        double sum = 0;
        for (int k = 0; k < CLASS_COUNT; k++) {
            assert_true(o.as[k] >= 0);
            sum += o.as[k];
            if (class_info((enum tape_class)k)->medium != class_info(c)->medium)
                assert_true(o.as[k] == 0); /* a cassette is no reel */
        }
        assert_true(fabs(sum - 1) < 1e-9 && o.right == o.as[c]);
        assert_true(o.otherwise != c && (o.otherwise == CLASS_NONE || o.as[o.otherwise] > 0));
    }
}

static void where_it_lies(void **state)
{
    (void)state;
    assert_true(weigh(CLASS_TYPE_2, 0, 0, 0.2, 0.8).right > 0.97);
    assert_true(weigh(CLASS_TYPE_2, 0, 0, 3, 0.8).right > 0.85); /* little known: the label stands */
    struct label_odds o = weigh(CLASS_TYPE_2, -3.5, -0.5, 0.2, 0.7);
    assert_true(o.right < 0.3 && o.otherwise == CLASS_TYPE_1); /* ferric in a chrome shell */
    o = weigh(CLASS_TYPE_4, -3.5, 0, 0.2, 0.7);
    assert_true(o.right < 0.3 && o.otherwise == CLASS_TYPE_2);
    o = weigh(CLASS_TYPE_1, 3.5, 0, 0.2, 0.7);
    assert_true(o.right < 0.3 && o.otherwise == CLASS_TYPE_2);
    /* merely odd: 1.5 dB off, between classes */
    assert_true(weigh(CLASS_TYPE_2, 1.5, 1.0, 0.3, 0.8).right > 0.9);
    /* the further out towards the other class, the less it is what it says */
    double last = 2;
    for (double x = 0; x >= -3.5; x -= 0.25) {
        double right = weigh(CLASS_TYPE_2, x, 0, 0.2, 0.7).right;
        assert_true(right < last);
        last = right;
    }
}

/* Chance as claimed: of simulated stocks, those called wrong with chance p are wrong about as often. */
static void calibrated(void **state)
{
    (void)state;
    struct dice dice = {5};
    int called = 0, truly = 0, wrong = 0, caught = 0, false_calls = 0, n = 60000;
    double claimed = 0;
    for (int i = 0; i < n; i++) {
        bool is_wrong = dice_uniform(&dice) < LABEL_WRONG;
        enum tape_class inside = is_wrong ? (dice_uniform(&dice) < 1.0 / 3 ? CLASS_TYPE_1
                                             : dice_uniform(&dice) < 0.5   ? CLASS_TYPE_3
                                                                           : CLASS_TYPE_4)
                                          : CLASS_TYPE_2;
        double se = 0.15 + 0.3 * dice_uniform(&dice);
        double bias = label_need_db(inside) - label_need_db(CLASS_TYPE_2) + 0.7 * dice_normal(&dice) + se * dice_normal(&dice) +
                      (is_wrong ? LABEL_NEED_SD_DB * dice_normal(&dice) : 0);
        double level = 0.7 * dice_normal(&dice) + se * dice_normal(&dice) + (is_wrong ? LABEL_LEVEL_SD_DB * dice_normal(&dice) : 0);
        struct label_odds o = weigh(CLASS_TYPE_2, bias, level, se, 0.7);
        wrong += is_wrong;
        if (o.right < 0.5) {
            called++;
            claimed += 1 - o.right;
            truly += is_wrong;
            caught += is_wrong;
            false_calls += !is_wrong;
        }
    }
    assert_true(caught > 0.6 * wrong); /* Type III lies next door and cannot be told */
    assert_true(false_calls < 0.01 * (n - wrong));
    assert_true(truly >= 0.95 * claimed); /* heavy tails err on the side of the label */
}

/* ---- how alike groups are ---- */

static void spread_of_groups(void **state)
{
    (void)state;
    struct dice dice = {3};
    struct label_group g[60] = {{0, 0}};
    assert_true(label_spread(g, 0, 0.25) == 0.25);
    g[0] = (struct label_group){5, 0.1};
    assert_true(label_spread(g, 1, 0.25) == 0.25); /* one says nothing of how they differ */
    for (int truth = 0; truth < 3; truth++) {
        double sd = 0.1 + 0.3 * truth, sum = 0;
        for (int round = 0; round < 200; round++) {
            for (int i = 0; i < 60; i++) {
                double se = 0.1 + 0.3 * dice_uniform(&dice);
                g[i] = (struct label_group){1.5 + sd * dice_normal(&dice) + se * dice_normal(&dice), se * se};
            }
            sum += label_spread(g, 60, 0.25) / 200;
        }
        assert_true(fabs(sum - sd) < 0.05 + 0.12 * sd);
    }
    /* one odd tape does not make the rest differ */
    for (int i = 0; i < 40; i++)
        g[i] = (struct label_group){0.15 * dice_normal(&dice), 0.01};
    double before = label_spread(g, 40, 0.25);
    g[7].mean = 12;
    assert_true(label_spread(g, 40, 0.25) < before + 0.1);
    /* where they stand all together does not matter */
    double there = label_spread(g, 40, 0.25);
    for (int i = 0; i < 40; i++)
        g[i].mean += 100;
    assert_true(fabs(label_spread(g, 40, 0.25) - there) < 1e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(needs_rise_as_the_trade_has_it), cmocka_unit_test(sums_and_media),
                                       cmocka_unit_test(where_it_lies), cmocka_unit_test(calibrated), cmocka_unit_test(spread_of_groups)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
