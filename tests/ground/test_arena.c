/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Arenas: aligned, zeroed, bounded, and everything freed at once. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/memory.h"

#include <string.h>

static void zeroed_aligned_and_apart(void **state)
{
    (void)state;
    struct arena *a = arena_new(1 << 20);
    unsigned char *last = NULL;
    size_t last_size = 0;
    for (size_t size = 0; size < 3000; size += 7) {
        unsigned char *p = arena_alloc(a, size);
        assert_non_null(p);
        assert_int_equal((uintptr_t)p % 16, 0);
        for (size_t i = 0; i < size; i++)
            assert_int_equal(p[i], 0);
        memset(p, 0xAA, size);
        for (size_t i = 0; i < last_size; i++)
            assert_int_equal(last[i], 0xAA);
        last = p;
        last_size = size;
    }
    arena_free(a);
}

static void bounded_and_reusable(void **state)
{
    (void)state;
    long before = mem_alive();
    struct arena *a = arena_new(100000);
    assert_null(arena_alloc(a, 100001));
    assert_non_null(arena_alloc(a, 60000));
    assert_null(arena_alloc(a, 60000));
    assert_non_null(arena_alloc(a, 20000));
    arena_reset(a);
    assert_int_equal(mem_alive(), before + 2); /* the arena and its first block */
    assert_non_null(arena_alloc(a, 100000));
    assert_null(arena_alloc(a, 1));
    arena_free(a);
    assert_int_equal(mem_alive(), before);
    arena_free(NULL);
}

static void tiny_arena_gives_what_it_has(void **state)
{
    (void)state;
    struct arena *a = arena_new(40);
    assert_non_null(arena_alloc(a, 16));
    assert_non_null(arena_alloc(a, 24));
    assert_null(arena_alloc(a, 1));
    arena_free(a);
}

static void text_is_terminated(void **state)
{
    (void)state;
    struct arena *a = arena_new(1000);
    assert_string_equal(arena_text(a, "abcdef", 3), "abc");
    assert_string_equal(arena_text(a, NULL, 0), "");
    assert_null(arena_text(a, "x", SIZE_MAX));
    arena_free(a);
}

static void each_allocation_failing(void **state)
{
    (void)state;
    long before = mem_alive();
    for (int n = 1; n <= 3; n++) {
        mem_fail_at(n, 1);
        struct arena *a = arena_new(1 << 20);
        if (a) {
            assert_int_equal(n, 3);
            assert_null(arena_alloc(a, 100000));
            assert_non_null(arena_alloc(a, 100)); /* what is left still serves */
        }
        arena_free(a);
        mem_fail_at(0, 0);
        assert_int_equal(mem_alive(), before);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(zeroed_aligned_and_apart),     cmocka_unit_test(bounded_and_reusable),
        cmocka_unit_test(tiny_arena_gives_what_it_has), cmocka_unit_test(text_is_terminated),
        cmocka_unit_test(each_allocation_failing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
