/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each thing the check can prove is broken once, and named by its own code.
 */
#include "scratch.h"

#include <string.h>

static void fill(struct store *s)
{
    make_pair(s);
    for (int i = 0; i < 3; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        put_calibration(s, &c, NULL);
        c.bias = 2;
        put_calibration(s, &c, "*");
    }
    struct service v = a_service("deck-a");
    struct deck_check k = a_check("deck-a");
    put_service(s, &v, NULL);
    put_check(s, &k, NULL);
}

static void whole(void **state)
{
    struct scratch *s = *state;
    struct fault f = {.kind = FAULT_NONE};
    fill(s->store);
    assert_true(store_check(s->store, &f));
    assert_false(fault_set(&f));
}

static void each_breach_has_its_code(void **state)
{
    struct scratch *s = *state;
    static const struct {
        const char *breach, *mend, *code;
    } cases[] = {
        {"UPDATE calibration SET seq = 99 WHERE seq = 8", "UPDATE calibration SET seq = 8 WHERE seq = 99", "gap"},
        {"UPDATE service SET seq = 1 WHERE seq = 9", "UPDATE service SET seq = 9 WHERE seq = 1", "gap"},
        {"UPDATE calibration SET replaced_by = 8 WHERE seq = 3", "UPDATE calibration SET replaced_by = 4 WHERE seq = 3", "broken-history"},
        {"UPDATE calibration SET revision = 9 WHERE seq = 3", "UPDATE calibration SET revision = 1 WHERE seq = 3", "broken-history"},
        {"UPDATE calibration SET readings = 4 WHERE seq = 5", "UPDATE calibration SET readings = 5 WHERE seq = 5", "broken-history"},
        {"UPDATE deck_state SET replaced_by = 5", "UPDATE deck_state SET replaced_by = NULL", "no-state"},
        {"UPDATE calibration SET level = 97.5 WHERE seq = 3", "UPDATE calibration SET level = 98 WHERE seq = 3",
         "digest"}, /* an old revision */
        {"UPDATE deck_state SET name = 'Other'", "UPDATE deck_state SET name = 'Deck deck-a'", "digest"},
        {"UPDATE stock_state SET name = 'Other'", "UPDATE stock_state SET name = 'Stock stock-a'", "digest"},
        {"UPDATE service SET resets = 1", "UPDATE service SET resets = 0", "digest"},
        {"UPDATE deck_check SET low_db = 1", "UPDATE deck_check SET low_db = NULL", "digest"},
        {"PRAGMA foreign_keys = OFF; UPDATE service SET deck = 77", "UPDATE service SET deck = 1", "orphans"},
        {"PRAGMA ignore_check_constraints = ON; UPDATE calibration SET recordings = 5000 WHERE seq = 4",
         "UPDATE calibration SET recordings = NULL WHERE seq = 4", "digest"},
    };
    fill(s->store);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct fault f = {.kind = FAULT_NONE};
        bool named = false;
        tell(s->path, cases[i].breach);
        assert_false(store_check(s->store, &f));
        for (int k = 0; k < f.count; k++)
            named = named || strcmp(f.items[k].code, cases[i].code) == 0;
        if (!named)
            fail_msg("%s: found %s (%s)", cases[i].breach, f.items[0].code, f.items[0].detail);
        tell(s->path, cases[i].mend);
        fault_clear(&f);
        if (!store_check(s->store, &f))
            fail_msg("%s: %s", cases[i].mend, f.items[0].detail);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(whole, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(each_breach_has_its_code, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
