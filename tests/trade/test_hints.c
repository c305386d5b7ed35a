/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The table of patterns: sound as data, and each row fires on its own pattern and not on quiet results. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/hints.h"

#include <string.h>

static void the_table_is_sound(void **state)
{
    (void)state;
    for (int i = 0; i < hint_rule_count; i++) {
        const struct hint_rule *r = &hint_rules[i];
        assert_true(r->code[0] && r->pattern[0] && r->checks[0]);
        assert_int_not_equal(r->scope, HINT_NOTHING);
        assert_true(r->cause != CAUSE_OFFSET || r->least_db > 0.0);
        assert_null(r->checks[HINT_CHECKS - 1]); /* so that the list has an end */
        for (int k = 0; k < i; k++) {
            assert_string_not_equal(r->code, hint_rules[k].code);
        }
    }
}

/* Four decks, nine stocks, their tapes; the case asked about is deck 0, stock 0. */
static int quiet(struct dice *dice, struct hint_row *rows)
{
    int n = 0;
    for (int deck = 0; deck < 4; deck++) {
        for (int stock = 0; stock < 9; stock++) {
            for (int k = 0; k < 4; k++) {
                int tape = k % 2;
                struct hint_row r = {.on_deck = deck == 0,
                                     .of_class = stock % 3 == 0,
                                     .of_stock = stock == 0,
                                     .of_batch = stock == 0 && tape == 0,
                                     .of_tape = stock == 0 && tape == 0 && k == 0,
                                     .recent = k >= 2 || stock == 0,
                                     .tag = 1000 + n};
                for (int s = 0; s < HINT_SIGNS; s++) {
                    r.value[s] = 0.3 * dice_normal(dice);
                    r.sd[s] = 0.3;
                }
                rows[n++] = r;
            }
        }
    }
    return n;
}

static void quiet_results_give_no_hint(void **state)
{
    (void)state;
    struct dice dice = {12};
    struct hint_row rows[200];
    struct hint_hit hits[8];
    int fired = 0;
    for (int i = 0; i < 50; i++) {
        int n = quiet(&dice, rows);
        fired += hints_find(rows, n, hits, 8);
    }
    assert_true(fired <= 2);
}

static void each_row_fires_on_its_pattern(void **state)
{
    (void)state;
    struct dice dice = {13};
    struct hint_row rows[200];
    struct hint_hit hits[32];
    for (int i = 0; i < hint_rule_count; i++) {
        const struct hint_rule *rule = &hint_rules[i];
        int n = quiet(&dice, rows), events = 0;
        for (int k = 0; k < n; k++) {
            if (!hint_in_scope(&rows[k], rule->scope)) {
                continue;
            }
            if (rule->cause == CAUSE_OFFSET) {
                rows[k].value[rule->sign] += (rule->direction < 0 ? -1.0 : 1.0) * (rule->least_db + 1.2);
            } else if (events++ % 2 == 0) {
                *(rule->cause == CAUSE_STOPPED ? &rows[k].stopped : &rows[k].unsettled) = true;
            }
        }
        int found = hints_find(rows, n, hits, 32), at = -1;
        for (int k = 0; k < found; k++) {
            at = hits[k].rule == rule ? k : at;
            assert_true(k == 0 || hits[k].chance <= hits[k - 1].chance);
            assert_true(hits[k].chance >= 0.5 && hits[k].chance <= 1.0);
        }
        assert_true(at >= 0);
        assert_true(hits[at].row_count > 0);
        for (int k = 0; k < hits[at].row_count && k < HINT_EVIDENCE; k++) { /* it shows the results it rests on */
            int row = (int)(hits[at].tags[k] - 1000);
            assert_true(row >= 0 && row < n && hint_in_scope(&rows[row], rule->scope));
        }
    }
}

/* The best of many, in a list that is too short for all. */
static void short_lists_keep_the_likeliest(void **state)
{
    (void)state;
    struct dice dice = {14};
    struct hint_row rows[200];
    struct hint_hit all[32], one[1];
    int n = quiet(&dice, rows);
    for (int k = 0; k < n; k++) {
        if (hint_in_scope(&rows[k], HINT_DECK)) {
            rows[k].value[HINT_BIAS] -= 1.5;
            rows[k].value[HINT_LEVEL] += 0.7;
            rows[k].stopped = k % 2;
        }
    }
    int found = hints_find(rows, n, all, 32);
    assert_true(found >= 3);
    assert_int_equal(hints_find(rows, n, one, 1), 1);
    assert_ptr_equal(one[0].rule, all[0].rule);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_table_is_sound),
        cmocka_unit_test(quiet_results_give_no_hint),
        cmocka_unit_test(each_row_fires_on_its_pattern),
        cmocka_unit_test(short_lists_keep_the_likeliest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
