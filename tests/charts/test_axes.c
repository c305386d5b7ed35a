/* SPDX-License-Identifier: GPL-3.0-or-later
 * Scales and axes: round ticks round the data, dates at the first of a month. */
#include "reading.h"

#include "ground/clock.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static double chance(double low, double high)
{
    return low + (high - low) * ((double)rand() / RAND_MAX);
}

static void scale_holds(double low, double high)
{
    struct svg_scale s = svg_scale_make(low, high, 50, 600, 6);
    double power = pow(10, floor(log10(s.tick) + 1e-9)), lead = s.tick / power;
    assert_true(fabs(lead - 1) < 1e-6 || fabs(lead - 2) < 1e-6 || fabs(lead - 5) < 1e-6 || fabs(lead - 10) < 1e-6);
    assert_true(s.low < s.high && s.low <= fmin(low, high) + 1e-6 * s.tick && s.high >= fmax(low, high) - 1e-6 * s.tick);
    double steps = (s.high - s.low) / s.tick;
    assert_true(fabs(steps - round(steps)) < 1e-6 && steps >= 1 && steps <= 16);
    assert_true(fabs(svg_at(&s, s.low) - 50) < 1e-9 && fabs(svg_at(&s, s.high) - 600) < 1e-9);
    double a = chance(s.low, s.high), b = chance(s.low, s.high);
    assert_true(fabs(svg_at(&s, (a + b) / 2) - (svg_at(&s, a) + svg_at(&s, b)) / 2) < 1e-6); /* straight */
}

static void scales(void **state)
{
    (void)state;
    srand(1);
    for (int i = 0; i < 2000; i++) {
        double size = pow(10, chance(-3, 4)), middle = chance(-5, 5) * size;
        scale_holds(middle - size * chance(0, 1), middle + size * chance(0, 1));
    }
    scale_holds(0, 0);
    scale_holds(3.25, 3.25);
    scale_holds(5, -5);
    struct svg_scale odd = svg_scale_make(NAN, 3, 0, 100, 5);
    assert_true(isfinite(odd.low) && odd.low < odd.high && isfinite(svg_at(&odd, 0)));
}

static void decimals(void **state)
{
    (void)state;
    static const struct {
        double tick;
        int decimals;
    } cases[] = {{1, 0}, {2, 0}, {0.5, 1}, {0.2, 1}, {0.05, 2}, {0.001, 3}, {50, 0}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct svg_scale s = {.tick = cases[i].tick};
        assert_int_equal(svg_tick_decimals(&s), cases[i].decimals);
    }
}

/* Labels are the numbers at their places, with a real minus and never "-0". */
static void number_labels(void **state)
{
    (void)state;
    struct buffer b;
    struct svg_scale s = svg_scale_make(-1.3, 2.1, 100, 500, 6);
    struct drawn_text text[40];
    buffer_init(&b, 1 << 16);
    svg_axis_x(&b, &s, 200, 20, "dB");
    int n = drawn_texts(b.data, text, 40);
    assert_true(n >= 5);
    for (int i = 0; i + 1 < n; i++) {
        const char *t = text[i].text;
        double value = strncmp(t, "\xE2\x88\x92", 3) ? strtod(t, NULL) : -strtod(t + 3, NULL);
        assert_true(fabs(svg_at(&s, value) - text[i].x) <= 0.051);
        assert_null(strchr(t, '-'));
    }
    assert_string_equal(text[n - 1].text, "dB");
    buffer_free(&b);
}

static double us_of(const char *text)
{
    int64_t us;
    assert_true(clock_parse(text, strlen(text), &us, NULL));
    return (double)us;
}

static void dates(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to;
        size_t letters;
    } cases[] = {{"2024-10-14T00:00:00Z", "2026-10-24T00:00:00Z", 7},
                 {"2026-01-03T10:00:00Z", "2026-01-03T11:00:00Z", 10},
                 {"2026-01-03T10:00:00Z", "2026-03-01T11:00:00Z", 10},
                 {"1999-12-31T23:00:00Z", "2026-03-01T11:00:00Z", 4},
                 {"2025-11-30T10:00:00Z", "2026-05-01T11:00:00Z", 7}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        for (double right = 300; right <= 1200; right += 60) {
            struct buffer b;
            struct drawn_text text[60];
            struct svg_scale s = svg_scale_time(us_of(cases[i].from), us_of(cases[i].to), 52, right);
            buffer_init(&b, 1 << 16);
            svg_axis_time(&b, &s, 200, 20);
            int n = drawn_texts(b.data, text, 60);
            assert_true(n >= 1);
            for (int k = 0; k < n; k++) {
                char whole[40] = "";
                size_t letters = strlen(text[k].text); /* coarser where there is little room */
                assert_true(letters == cases[i].letters || (letters == 4 && cases[i].letters == 7 && right < 420));
                strcat(whole, text[k].text);
                strcat(whole, &"2000-01-01T00:00:00Z"[letters]);
                assert_true(fabs(svg_at(&s, us_of(whole)) - text[k].x) <= 0.06); /* the first of the month, the year, or midnight */
                if (k)
                    assert_true(text[k].x - text[k - 1].x >= svg_text_width(text[k].text, text[k].size)); /* apart */
            }
            buffer_free(&b);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(scales), cmocka_unit_test(decimals), cmocka_unit_test(number_labels),
                                       cmocka_unit_test(dates)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
