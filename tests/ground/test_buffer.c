/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Buffers and numbers as text; printf and strtod are the outside world here. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/buffer.h"
#include "ground/memory.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct buffer b;

static const char *fixed(double v, int decimals)
{
    buffer_clear(&b);
    buffer_fixed(&b, v, decimals);
    return b.data;
}

static const char *shortest(double v)
{
    buffer_clear(&b);
    buffer_double(&b, v);
    return b.data;
}

static void fixed_cases(void **state)
{
    (void)state;
    static const struct {
        double v;
        int decimals;
        const char *text, *reason;
    } cases[] = {
        {0, 4, "0", "no decimals to show"},
        {-0.0, 4, "0", "never minus zero"},
        {-0.00004, 4, "0", "rounds to nothing"},
        {-0.00005, 4, "-0.0001", "half away from zero"},
        {0.5, 0, "1", "half away from zero"},
        {-0.5, 0, "-1", "half away from zero"},
        {0.49999999999999994, 0, "0", "the largest double below one half"},
        {1.5, 4, "1.5", "trailing zeros dropped"},
        {10, 3, "10", "zeros before the point stay"},
        {0.999996, 4, "1", "carries into the integer"},
        {-9.99996, 4, "-10", "carries"},
        {123456.789, 2, "123456.79", ""},
        {0.062, 4, "0.062", "leading zeros of the fraction"},
        {999999999999999.9, 1, "999999999999999.9", "below the change to printf"},
        {1e15, 2, "1000000000000000", ""},
        {1e22, 2, "1e+22", ""},
        {0.123456789, 9, "0.123456789", ""},
        {0.1, 12, "0.1", "more than nine decimals are nine"},
        {2.6, -1, "3", "fewer than none are none"},
        {NAN, 2, "null", ""},
        {-INFINITY, 2, "null", ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_string_equal(fixed(cases[i].v, cases[i].decimals), cases[i].text);
}

/* A seeded generator of our own, so that a failure repeats. */
static uint64_t seed = 88172645463325252u;
static uint64_t next(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    return seed ^= seed << 17;
}

static void fixed_agrees_with_printf(void **state)
{
    (void)state;
    for (int i = 0; i < 200000; i++) {
        int decimals = (int)(next() % 10);
        double v = ((double)(int64_t)next() / 9.3e18) * pow(10, (double)(next() % 14));
        char text[80];
        snprintf(text, sizeof text, "%.*f", decimals, v);
        /* printf rounds the exact value half to even, we half away from zero: on a tie both are equally near */
        double mine = strtod(fixed(v, decimals), NULL), theirs = strtod(text, NULL), rounding = 5e-16 * fabs(v);
        if (mine != theirs) {
            assert_true(fabs(mine - theirs) <= pow(10, -decimals) * 1.0001 + rounding);
            assert_true(fabs(fabs(v - mine) - fabs(v - theirs)) <= rounding);
        }
        assert_null(strchr(b.data, '.') && b.data[b.length - 1] == '0' ? "trailing zero" : NULL);
    }
}

static void double_reads_back(void **state)
{
    (void)state;
    assert_string_equal(shortest(0.1), "0.1");
    assert_string_equal(shortest(-20), "-20");
    assert_string_equal(shortest(47.625), "47.625");
    assert_string_equal(shortest(-0.0), "0");
    assert_string_equal(shortest(1.0 / 3), "0.3333333333333333");
    assert_string_equal(shortest(5e-324), "4.94065645841247e-324");
    assert_string_equal(shortest(1.7976931348623157e308), "1.7976931348623157e+308");
    assert_string_equal(shortest(NAN), "null");
    for (int i = 0; i < 200000; i++) {
        double v;
        uint64_t bits = next();
        memcpy(&v, &bits, sizeof v);
        if (i % 2)
            v = (double)(int64_t)(next() % 2000000 - 1000000) / pow(10, (double)(next() % 7));
        if (!isfinite(v))
            continue;
        double back = 0;
        const char *text = shortest(v);
        assert_true(strtod(text, NULL) == v);
        assert_true(number_parse(text, strlen(text), &back));
        assert_true(back == v);
        char printed[40];
        snprintf(printed, sizeof printed, "%.15g", v);
        if (strtod(printed, NULL) == v && !strchr(printed, 'e'))
            assert_true(strlen(text) <= strlen(printed));
    }
}

static void integers(void **state)
{
    (void)state;
    buffer_clear(&b);
    buffer_int(&b, INT64_MIN);
    buffer_char(&b, ' ');
    buffer_int(&b, INT64_MAX);
    buffer_char(&b, ' ');
    buffer_int(&b, 0);
    buffer_char(&b, ' ');
    buffer_int(&b, -10);
    assert_string_equal(b.data, "-9223372036854775808 9223372036854775807 0 -10");
}

static void maximum_is_sticky(void **state)
{
    (void)state;
    struct buffer s;
    buffer_init(&s, 5);
    buffer_text(&s, "abc");
    buffer_text(&s, "def");
    assert_true(s.failed && s.too_large);
    buffer_char(&s, 'x');
    assert_string_equal(s.data, "abc");
    buffer_clear(&s);
    buffer_text(&s, "vwxyz");
    buffer_text(&s, NULL);
    buffer_add(&s, "", 0);
    assert_false(s.failed);
    assert_string_equal(s.data, "vwxyz");
    buffer_free(&s);
    assert_null(s.data);
    buffer_text(&s, "ok");
    char *stolen = buffer_steal(&s);
    assert_string_equal(stolen, "ok");
    assert_null(buffer_steal(&s));
    mem_free(stolen);
}

static void out_of_memory(void **state)
{
    (void)state;
    struct buffer s;
    buffer_init(&s, 100000);
    mem_fail_at(1, 0);
    buffer_text(&s, "abc");
    assert_true(s.failed && !s.too_large && s.length == 0);
    buffer_clear(&s);
    buffer_text(&s, "abc");
    mem_fail_at(1, 0);
    buffer_format(&s, "%0500d", 1);
    mem_fail_at(0, 0);
    assert_true(s.failed);
    assert_string_equal(s.data, "abc");
    buffer_free(&s);
}

static void formats_short_and_long(void **state)
{
    (void)state;
    buffer_clear(&b);
    buffer_format(&b, "%s-%d", "a", 7);
    buffer_format(&b, "%0400d", 1);
    assert_int_equal(b.length, 403);
    assert_memory_equal(b.data, "a-70000", 7);
}

static void number_cases(void **state)
{
    (void)state;
    static const char *const bad[] = {"",      "+",   "-",  ".",  "e1",    "1e",  "1e+",   "0x10",   "inf",   "nan",
                                      "1.2.3", "1,5", " 1", "1 ", "1_000", "--1", "1e400", "-1e400", "1e1.5", "\xD9\xA1"};
    static const struct {
        const char *text;
        double v;
    } good[] = {
        {"0", 0},
        {"+2", 2},
        {"-1.5", -1.5},
        {".5", .5},
        {"5.", 5},
        {"1e3", 1000},
        {"1E-3", .001},
        {"007", 7},
        {"1e-400", 0},
        {"0e99999", 0},
        {"123456789012345678901234567890", 123456789012345678901234567890.0},
        {"0.1000000000000000055511151231257827", .1},
        {"4.9e-324", 5e-324},
    };
    double v;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        if (number_parse(bad[i], strlen(bad[i]), &v))
            fail_msg("taken: %s", bad[i]);
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_true(number_parse(good[i].text, strlen(good[i].text), &v));
        assert_true(v == good[i].v);
    }
    assert_true(number_parse("12x", 2, &v));
    assert_false(number_parse("1\0", 2, &v));
    char huge[1000];
    memset(huge, '1', sizeof huge);
    assert_false(number_parse(huge, sizeof huge, &v));
}

static void parse_agrees_with_strtod(void **state)
{
    (void)state;
    for (int i = 0; i < 200000; i++) {
        char text[80];
        snprintf(text, sizeof text, "%s%llu.%0*lluE%d", i % 3 ? "" : "-", (unsigned long long)(next() >> (next() % 60)),
                 (int)(next() % 12) + 1, (unsigned long long)(next() >> (20 + next() % 40)), (int)(next() % 60) - 30);
        double v;
        assert_true(number_parse(text, strlen(text), &v));
        assert_true(v == strtod(text, NULL));
    }
}

static int done(void **state)
{
    (void)state;
    buffer_free(&b);
    return mem_alive() != 0;
}

int main(void)
{
    buffer_init(&b, 10000);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fixed_cases),
        cmocka_unit_test(fixed_agrees_with_printf),
        cmocka_unit_test(double_reads_back),
        cmocka_unit_test(integers),
        cmocka_unit_test(maximum_is_sticky),
        cmocka_unit_test(out_of_memory),
        cmocka_unit_test(formats_short_and_long),
        cmocka_unit_test(number_cases),
        cmocka_unit_test(parse_agrees_with_strtod),
    };
    return cmocka_run_group_tests(tests, NULL, done);
}
