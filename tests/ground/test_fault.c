/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Faults: the first kind stays, texts are cut on whole characters, NULL is allowed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/fault.h"

#include <string.h>

static void first_kind_stays_and_items_gather(void **state)
{
    (void)state;
    struct fault f;
    fault_clear(&f);
    assert_false(fault_set(&f));
    assert_false(fault_add(&f, FAULT_UNACCEPTABLE, "bias", "outside-dial", "must be %d to %d", -5, 5));
    assert_false(fault_add(&f, FAULT_CONFLICT, "level", "missing", "give it"));
    assert_true(fault_set(&f));
    assert_int_equal(f.kind, FAULT_UNACCEPTABLE);
    assert_int_equal(f.count, 2);
    assert_string_equal(f.items[0].detail, "must be -5 to 5");
    assert_string_equal(f.items[1].code, "missing");
    char text[300];
    assert_string_equal(fault_text(&f, text, sizeof text), "bias: must be -5 to 5");
    char small[6];
    assert_string_equal(fault_text(&f, small, sizeof small), "bias:");
    fault_clear(&f);
    assert_string_equal(fault_text(&f, text, sizeof text), "");
}

static void null_is_allowed(void **state)
{
    (void)state;
    char text[8];
    fault_clear(NULL);
    assert_false(fault_add(NULL, FAULT_MALFORMED, "a", "b", "c"));
    assert_false(fault_set(NULL));
    assert_string_equal(fault_text(NULL, text, sizeof text), "");
    fault_merge(NULL, NULL, "x");
}

static void no_more_than_the_limit(void **state)
{
    (void)state;
    struct fault f;
    fault_clear(&f);
    for (int i = 0; i < 3 * LIMIT_FAULTS; i++)
        fault_add(&f, FAULT_MALFORMED, "x", "y", "%d", i);
    assert_int_equal(f.count, LIMIT_FAULTS);
}

static void cut_on_whole_characters(void **state)
{
    (void)state;
    char text[1000] = "", field[300] = "";
    for (int i = 0; i < 300; i++)
        strcat(text, "\xE2\x82\xAC"); /* euro sign, three bytes */
    for (int i = 0; i < 100; i++)
        strcat(field, "\xC3\xA4"); /* a umlaut, two bytes */
    struct fault f;
    fault_clear(&f);
    fault_add(&f, FAULT_MALFORMED, field, "code", "x%s", text);
    size_t n = strlen(f.items[0].detail), m = strlen(f.items[0].field);
    assert_true(n < sizeof f.items[0].detail && n > sizeof f.items[0].detail - 5);
    assert_int_equal((n - 1) % 3, 0);
    assert_int_equal(m % 2, 0);
}

static void merge_prefixes(void **state)
{
    (void)state;
    struct fault inner, outer;
    fault_clear(&inner);
    fault_clear(&outer);
    fault_merge(&outer, &inner, "moves[2].");
    assert_false(fault_set(&outer));
    fault_add(&inner, FAULT_UNACCEPTABLE, "bias", "outside-dial", "100%% wrong");
    fault_merge(&outer, &inner, "moves[2].");
    assert_int_equal(outer.kind, FAULT_UNACCEPTABLE);
    assert_string_equal(outer.items[0].field, "moves[2].bias");
    assert_string_equal(outer.items[0].detail, "100% wrong");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first_kind_stays_and_items_gather), cmocka_unit_test(null_is_allowed), cmocka_unit_test(no_more_than_the_limit),
        cmocka_unit_test(cut_on_whole_characters),           cmocka_unit_test(merge_prefixes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
