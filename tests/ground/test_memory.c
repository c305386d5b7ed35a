/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The heap's door: failing on demand and counting. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/memory.h"

#include <string.h>

static void nth_call_fails_once(void **state)
{
    (void)state;
    long before = mem_alive();
    mem_fail_at(2, 0);
    void *a = mem_alloc(10), *b = mem_alloc(10), *c = mem_zero(3, 4);
    assert_non_null(a);
    assert_null(b);
    assert_non_null(c);
    for (int i = 0; i < 12; i++)
        assert_int_equal(((char *)c)[i], 0);
    assert_int_equal(mem_alive(), before + 2);
    mem_free(a);
    mem_free(c);
    mem_free(NULL);
    assert_int_equal(mem_alive(), before);
}

static void fails_ever_after(void **state)
{
    (void)state;
    mem_fail_at(1, 1);
    for (int i = 0; i < 5; i++)
        assert_null(mem_alloc(1));
    assert_null(mem_text("x"));
    mem_fail_at(0, 0);
    char *t = mem_text("x");
    assert_string_equal(t, "x");
    mem_free(t);
}

static void failed_growth_keeps_the_block(void **state)
{
    (void)state;
    long before = mem_alive();
    char *p = mem_grow(NULL, 4, 1);
    assert_int_equal(mem_alive(), before + 1);
    memcpy(p, "abc", 4);
    mem_fail_at(1, 0);
    assert_null(mem_grow(p, 1000, 1));
    assert_string_equal(p, "abc");
    p = mem_grow(p, 1000, 1);
    assert_string_equal(p, "abc");
    assert_int_equal(mem_alive(), before + 1);
    mem_free(p);
}

static void overflow_is_refused(void **state)
{
    (void)state;
    volatile size_t half = SIZE_MAX / 2 + 2;
    assert_null(mem_zero(half, 2));
    assert_null(mem_grow(NULL, half, 2));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nth_call_fails_once),
        cmocka_unit_test(fails_ever_after),
        cmocka_unit_test(failed_growth_keeps_the_block),
        cmocka_unit_test(overflow_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
