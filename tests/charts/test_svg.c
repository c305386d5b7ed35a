/* SPDX-License-Identifier: GPL-3.0-or-later
 * Text and elements of a drawing. Characters: XML 1.0 (fifth edition) 2.2 Char, 2.4 and 4.6 predefined entities. */
#include "reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void escaping(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        {"plain", "plain"},
        {"a<b>&\"c\"", "a&lt;b&gt;&amp;&quot;c&quot;"},
        {"&lt;", "&amp;lt;"},
        {"\x01\x08\x1b[0m", "[0m"}, /* controls are no XML characters */
        {"dr\xC3\xB6ge \xE2\x82\xAC \xF0\x9F\x8E\x9A", "dr\xC3\xB6ge \xE2\x82\xAC \xF0\x9F\x8E\x9A"},
        {"\xC3", "\xEF\xBF\xBD"},                                   /* cut short */
        {"\xC0\xAF", "\xEF\xBF\xBD\xEF\xBF\xBD"},                   /* overlong */
        {"\xED\xA0\x80x", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBDx"}, /* half a surrogate pair */
        {"\xEF\xBF\xBF|", "|"},                                     /* U+FFFF is no XML character */
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct buffer b;
        buffer_init(&b, 4096);
        buffer_char(&b, '=');
        svg_escape(&b, cases[i][0]);
        assert_string_equal(b.data + 1, cases[i][1]);
        buffer_free(&b);
    }
}

static void cutting(void **state)
{
    (void)state;
    static const char *const labels[] = {"",
                                         "x",
                                         "Halvern K-71 of the meeting room",
                                         "ÄÖÜ äöü ÄÖÜ äöü ÄÖÜ",
                                         "ミネラル録音テープ六十分",
                                         "\xC3\xA9\xC3\xA9\xC3\xA9\xC3\xA9",
                                         "iiiiiiiiiiiiiiiii",
                                         ("a name of more than one hundred and twenty eight bytes that goes on and on and on until nobody "
                                          "reads it any more, and then some, and then some more")};
    for (size_t i = 0; i < sizeof labels / sizeof *labels; i++)
        for (double width = 10; width < 500; width += 7) {
            char out[128];
            struct buffer b;
            svg_text_cut(labels[i], 13, width, out);
            assert_true(strlen(out) < sizeof out);
            if (strcmp(out, labels[i]) == 0) {
                assert_true(svg_text_width(out, 13) <= width);
                continue;
            }
            size_t kept = strlen(out) - strlen("\xE2\x80\xA6");
            assert_string_equal(out + kept, "\xE2\x80\xA6");
            assert_memory_equal(out, labels[i], kept);
            assert_true(svg_text_width(out, 13) <= fmax(width, 13)); /* a lone ellipsis has no less */
            buffer_init(&b, 4096);
            svg_escape(&b, out);
            assert_null(strstr(b.data, "\xEF\xBF\xBD")); /* not cut inside a character */
            buffer_free(&b);
        }
}

static void wider_text_is_wider(void **state)
{
    (void)state;
    assert_true(svg_text_width("mark", 13) < svg_text_width("marks", 13));
    assert_true(svg_text_width("WWW", 13) > svg_text_width("iii", 13));
    assert_true(fabs(svg_text_width("abc", 26) - 2 * svg_text_width("abc", 13)) < 1e-9);
}

static void odd_numbers_stay_out(void **state)
{
    (void)state;
    struct buffer b;
    buffer_init(&b, 1 << 20);
    svg_begin(&b, "a", 300, 200, "A \"title\" <with> & all", "What is to be seen");
    svg_text(&b, 20, 20, ANCHOR_START, PAINT_INK, SVG_TEXT, "here");
    svg_line(&b, NAN, INFINITY, -INFINITY, 3, PAINT_OXIDE, NAN, true);
    svg_rect(&b, 1, 1, -5, NAN, PAINT_PAPER, PAINT_INK);
    svg_ellipse(&b, NAN, 3, -1, INFINITY, 12, PAINT_FAINT);
    for (int m = MARK_DISC; m <= MARK_CROSS; m++)
        svg_mark(&b, (enum svg_mark)m, m == MARK_DISC ? NAN : 40, 40, 8, PAINT_INK);
    svg_end(&b);
    assert_false(b.failed);
    drawing_holds(b.data);
    assert_int_equal(drawn_count(b.data, "stroke-dasharray"), 1);
    assert_non_null(strstr(b.data, "<title id=\"a-title\">A &quot;title&quot; &lt;with&gt; &amp; all</title>"));
    assert_non_null(strstr(b.data, "aria-labelledby=\"a-title a-about\""));
    buffer_free(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(escaping), cmocka_unit_test(cutting), cmocka_unit_test(wider_text_is_wider),
                                       cmocka_unit_test(odd_numbers_stay_out)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
