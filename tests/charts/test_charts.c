/* SPDX-License-Identifier: GPL-3.0-or-later
 * The drawings with chance data at all widths: what every drawing must hold, marks for all that is finite, names that do not run into each other. */
#include "reading.h"

#include "charts/charts.h"
#include "charts/frame.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define MANY 48
static const double WIDTHS[] = {0, 100, 280, 320, 459, 640, 900, 5000};
#define WIDTH_COUNT (sizeof WIDTHS / sizeof *WIDTHS)
static char labels[MANY][80];

static double chance(double low, double high)
{
    return low + (high - low) * ((double)rand() / RAND_MAX);
}

static int make_labels(void **state)
{
    (void)state;
    srand(7);
    for (int i = 0; i < MANY; i++) {
        int n = i == 0 ? 0 : 4 + rand() % 60;
        for (int k = 0; k < n; k++)
            labels[i][k] = "abcdefghij <&>\"KLMN 0123456789"[rand() % 30];
        labels[i][n] = 0;
    }
    return 0;
}

static struct chart_sheet sheet_of(double width)
{
    return (struct chart_sheet){"chart", "Results of the club's own deck over two years, a title that does not fit a phone",
                                "Two hundred results", width, NULL};
}

static void bars(void **state)
{
    (void)state;
    for (size_t w = 0; w < WIDTH_COUNT; w++)
        for (int count = 0; count <= MANY; count += 12) {
            struct chart_bar bar[MANY];
            struct chart_sheet sheet = sheet_of(WIDTHS[w]);
            struct buffer b;
            int strong = 0;
            for (int i = 0; i < count; i++) {
                double v = chance(-3, 3), half = chance(0, 1);
                bar[i] = (struct chart_bar){labels[i], i == 5 ? NAN : v, i == 6 ? -INFINITY : v - half, v + half, rand() & 1};
                strong += bar[i].strong && isfinite(bar[i].value);
            }
            buffer_init(&b, 1 << 20);
            chart_bars(&b, &sheet, "bias, dB", bar, count, w & 1 ? 0.4 : NAN, "all decks");
            drawing_holds(b.data);
            int rings = drawn_count(b.data, "<circle") - (count ? 2 : 0); /* without the key's */
            assert_int_equal(rings, count ? count - 1 : 0);
            assert_int_equal(drawn_count(b.data, "fill-oxide line-oxide"), strong + (count ? 1 : 0));
            assert_int_equal(drawn_count(b.data, "nothing logged yet"), count ? 0 : 1);
            buffer_free(&b);
        }
}

static void course(void **state)
{
    (void)state;
    for (size_t w = 0; w < WIDTH_COUNT; w++)
        for (int count = 0; count <= 200; count = count * 4 + 1) {
            struct chart_point point[200];
            struct chart_event event[6];
            struct chart_level level[3];
            struct chart_sheet sheet = sheet_of(WIDTHS[w]);
            struct buffer b;
            int odd = 0, finite = 0;
            for (int i = 0; i < count; i++) {
                point[i] =
                    (struct chart_point){1700000000000000LL + (int64_t)chance(0, 6e13), rand() % 50 ? chance(-2, 2) : NAN, rand() % 9 == 0};
                finite += isfinite(point[i].value);
                odd += point[i].odd && isfinite(point[i].value);
            }
            for (int i = 0; i < 6; i++)
                event[i] = (struct chart_event){1700000000000000LL + i * 9000000000000LL, labels[i + 1], i % 3 == 0};
            for (int i = 0; i < 3; i++)
                level[i] = (struct chart_level){1700000000000000LL + i * 20000000000000LL, 1700000000000000LL + (i + 1) * 20000000000000LL,
                                                i - 1.0, i - 1.2, i == 2 ? NAN : i - 0.8};
            const struct chart_course c = {point, count, event, 6, level, 3};
            buffer_init(&b, 1 << 20);
            chart_series(&b, &sheet, "bias, dB", &c);
            drawing_holds(b.data);
            if (count) {
                int out = drawn_count(b.data, "<polygon") - drawn_count(b.data, "further out"); /* the key's own */
                assert_true(out >= 0 && out * 20 <= finite);
                assert_true(drawn_count(b.data, "<circle") >= finite - odd - out + 1 && drawn_count(b.data, "<circle") <= finite - odd + 1);
                assert_int_equal(drawn_count(b.data, "stroke-width=\"1.5\" stroke-dasharray") <= 4, 1); /* services only */
            }
            buffer_free(&b);
        }
}

static void track(void **state)
{
    (void)state;
    for (size_t w = 0; w < WIDTH_COUNT; w++) {
        struct chart_miss miss[150];
        struct chart_sheet sheet = sheet_of(WIDTHS[w]);
        struct buffer b;
        int inside = 0;
        for (int i = 0; i < 150; i++) {
            miss[i] =
                (struct chart_miss){1700000000000000LL + (int64_t)i * 400000000000LL, i == 3 ? 40 : chance(-1.5, 1.5), rand() % 10 != 0};
            inside += miss[i].inside;
        }
        buffer_init(&b, 1 << 20);
        chart_track(&b, &sheet, miss, 150);
        drawing_holds(b.data);
        assert_int_equal(drawn_count(b.data, "<circle"), inside + 1);
        assert_null(strstr(b.data, ">40<")); /* a misentry does not flatten the rest */
        buffer_clear(&b);
        chart_track(&b, &sheet, miss, 0);
        drawing_holds(b.data);
        buffer_free(&b);
    }
}

/* The name of the asked stock is always there; no two names overlap. */
static void map(void **state)
{
    (void)state;
    for (size_t w = 0; w < WIDTH_COUNT; w++)
        for (int count = 0; count <= MANY; count += 8) {
            struct chart_place place[MANY];
            struct chart_sheet sheet = sheet_of(WIDTHS[w]);
            struct drawn_text text[200];
            struct buffer b;
            for (int i = 0; i < count; i++)
                place[i] = (struct chart_place){i == 3 ? "Asked" : labels[i],
                                                i == 7 ? NAN : chance(-1, 1),
                                                chance(-1, 1),
                                                chance(0, 0.3),
                                                i == 8 ? NAN : 0.1,
                                                i == 3,
                                                rand() % 4 == 0};
            buffer_init(&b, 1 << 20);
            chart_map(&b, &sheet, place, count);
            drawing_holds(b.data);
            int n = drawn_texts(b.data, text, 200), asked = 0;
            for (int i = 0; i < n; i++) {
                asked += strcmp(text[i].text, "Asked") == 0;
                for (int k = 0; k < i; k++) {
                    double a = svg_text_width(text[i].text, text[i].size), c = svg_text_width(text[k].text, text[k].size);
                    bool names = text[i].anchor == 's' && text[k].anchor == 's';
                    if (names && fabs(text[i].y - text[k].y) < 12 && text[i].x < text[k].x + c && text[k].x < text[i].x + a)
                        fail_msg("'%s' runs into '%s'", text[i].text, text[k].text);
                }
            }
            assert_int_equal(asked, count > 3);
            buffer_free(&b);
        }
}

static void key_rows_fit(void **state)
{
    (void)state;
    const struct frame_key keys[4] = {{MARK_DISC, PAINT_INK, false, false, "a first entry of the key"},
                                      {MARK_RING, PAINT_INK, false, false, "second"},
                                      {MARK_CROSS, PAINT_INK, false, false, "a third one that is longer"},
                                      {MARK_DISC, PAINT_INK, true, true, "line"}};
    assert_true(frame_keys(NULL, keys, 0, 300, 10) == 10);
    assert_true(frame_keys(NULL, keys, 4, 300, 10) > frame_keys(NULL, keys, 4, 1000, 10));
    struct buffer b;
    buffer_init(&b, 1 << 16);
    assert_true(frame_keys(&b, keys, 4, 300, 10) == frame_keys(NULL, keys, 4, 300, 10)); /* measured as drawn */
    assert_int_equal(drawn_count(b.data, "stroke-dasharray"), 1);
    buffer_free(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(bars), cmocka_unit_test(course), cmocka_unit_test(track), cmocka_unit_test(map),
                                       cmocka_unit_test(key_rows_fit)};
    return cmocka_run_group_tests(tests, make_labels, NULL);
}
