/* SPDX-License-Identifier: GPL-3.0-or-later
 * See charts.h. Sheets are 640 wide: at phone width (360 px) a 22 px font would be needed to stay at 12 px, so pages let a chart scroll or
 * show it at its own size; its text is 13 px there. */
#include "charts.h"

#include "svg.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WIDTH 640.0
#define LEFT 60.0
#define RIGHT 20.0
#define TOP 34.0
#define BOTTOM 48.0

static bool nothing(struct buffer *b, int count)
{
    if (!count)
        svg_text(b, WIDTH / 2, 90, ANCHOR_MIDDLE, SVG_GREY, 15, "nothing logged yet");
    return !count;
}

static void cut_label(const char *label, char out[40])
{
    size_t n = strlen(label);
    if (n <= 26) {
        snprintf(out, 40, "%s", label);
        return;
    }
    n = 24;
    while (n && ((unsigned char)label[n] & 0xC0) == 0x80)
        n--; /* not inside a UTF-8 character */
    snprintf(out, 40, "%.*s…", (int)n, label);
}

void chart_bars(struct buffer *b, const char *title, const char *description, const char *axis, const struct chart_bar *bars, int count)
{
    double height = fmax(140, TOP + BOTTOM + 24.0 * count), left = 210;
    svg_begin(b, WIDTH, height, title, description);
    svg_text(b, 12, 20, ANCHOR_START, SVG_INK, 15, title);
    if (!nothing(b, count)) {
        double low = 0, high = 0;
        for (int i = 0; i < count; i++) {
            low = fmin(low, bars[i].low);
            high = fmax(high, bars[i].high);
        }
        struct svg_scale x = svg_scale_make(low, high, left, WIDTH - RIGHT, 6);
        svg_axis_x(b, &x, height - BOTTOM, TOP, axis);
        svg_line(b, svg_at(&x, 0), height - BOTTOM, svg_at(&x, 0), TOP, SVG_GREY, 1, false);
        for (int i = 0; i < count; i++) {
            double y = TOP + 16 + 24.0 * i;
            char label[40];
            cut_label(bars[i].label, label);
            svg_text(b, left - 10, y + 4, ANCHOR_END, SVG_INK, 13, label);
            svg_line(b, svg_at(&x, bars[i].low), y, svg_at(&x, bars[i].high), y, SVG_OXIDE, 2, !bars[i].strong);
            svg_mark(b, bars[i].strong ? MARK_DISC : MARK_RING, svg_at(&x, bars[i].value), y, 9, SVG_OXIDE);
        }
    }
    svg_end(b);
}

void chart_series(struct buffer *b, const char *title, const char *description, const char *axis, const struct chart_point *points, int count,
                  const struct chart_event *events, int event_count)
{
    double height = 300;
    svg_begin(b, WIDTH, height, title, description);
    svg_text(b, 12, 20, ANCHOR_START, SVG_INK, 15, title);
    if (!nothing(b, count)) {
        double low = points[0].value, high = low, first = (double)points[0].at_us, last = first;
        for (int i = 1; i < count; i++) {
            low = fmin(low, points[i].value), high = fmax(high, points[i].value);
            first = fmin(first, (double)points[i].at_us), last = fmax(last, (double)points[i].at_us);
        }
        struct svg_scale x = svg_scale_time(first, last, LEFT, WIDTH - RIGHT), y = svg_scale_make(low, high, height - BOTTOM, TOP + 22, 5);
        svg_axis_time(b, &x, height - BOTTOM, TOP + 22);
        svg_axis_y(b, &y, LEFT, WIDTH - RIGHT, axis);
        for (int i = 0; i < event_count; i++) {
            double at = svg_at(&x, (double)events[i].at_us);
            if (at < LEFT || at > WIDTH - RIGHT)
                continue;
            svg_line(b, at, height - BOTTOM, at, TOP + 22, events[i].signal ? SVG_OXIDE : SVG_GREY, 1.5, !events[i].signal);
            svg_text(b, fmin(at + 4, WIDTH - 90), events[i].signal ? TOP + 34 : TOP + 50, ANCHOR_START, events[i].signal ? SVG_OXIDE : SVG_GREY, 13,
                     events[i].label);
        }
        for (int i = 0; i < count; i++)
            svg_mark(b, points[i].odd ? MARK_CROSS : MARK_RING, svg_at(&x, (double)points[i].at_us), svg_at(&y, points[i].value), 7,
                     points[i].odd ? SVG_OXIDE : SVG_INK);
    }
    svg_end(b);
}

void chart_track(struct buffer *b, const char *title, const char *description, const struct chart_miss *misses, int count)
{
    double height = 320;
    svg_begin(b, WIDTH, height, title, description);
    svg_text(b, 12, 20, ANCHOR_START, SVG_INK, 15, title);
    if (!nothing(b, count)) {
        double first = (double)misses[0].at_us, last = first, high = 0.5;
        for (int i = 0; i < count; i++) {
            first = fmin(first, (double)misses[i].at_us), last = fmax(last, (double)misses[i].at_us);
            high = fmax(high, fabs(misses[i].error_db));
        }
        high = fmin(high, 4); /* a misentry must not flatten the rest; what lies outside is drawn at the edge */
        struct svg_scale x = svg_scale_time(first, last, LEFT, WIDTH - RIGHT), y = svg_scale_make(-high, high, height - BOTTOM, TOP + 22, 6);
        svg_axis_time(b, &x, height - BOTTOM, TOP + 22);
        svg_axis_y(b, &y, LEFT, WIDTH - RIGHT, "result minus suggestion, dB");
        svg_line(b, LEFT, svg_at(&y, 0), WIDTH - RIGHT, svg_at(&y, 0), SVG_GREY, 1.2, false);
        for (int i = 0; i < count; i++)
            svg_mark(b, misses[i].inside ? MARK_DISC : MARK_CROSS, svg_at(&x, (double)misses[i].at_us),
                     svg_at(&y, fmin(fmax(misses[i].error_db, y.low), y.high)), misses[i].inside ? 4 : 7, misses[i].inside ? SVG_INK : SVG_OXIDE);
        svg_mark(b, MARK_DISC, WIDTH - 250, 16, 5, SVG_INK);
        svg_text(b, WIDTH - 242, 20, ANCHOR_START, SVG_INK, 13, "inside the range given");
        svg_mark(b, MARK_CROSS, WIDTH - 84, 16, 7, SVG_OXIDE);
        svg_text(b, WIDTH - 76, 20, ANCHOR_START, SVG_INK, 13, "outside");
    }
    svg_end(b);
}

void chart_map(struct buffer *b, const char *title, const char *description, const struct chart_place *places, int count)
{
    double height = 420;
    svg_begin(b, WIDTH, height, title, description);
    svg_text(b, 12, 20, ANCHOR_START, SVG_INK, 15, title);
    if (!nothing(b, count)) {
        double xl = INFINITY, xh = -INFINITY, yl = INFINITY, yh = -INFINITY;
        for (int i = 0; i < count; i++) {
            xl = fmin(xl, places[i].bias - places[i].bias_sd), xh = fmax(xh, places[i].bias + places[i].bias_sd);
            yl = fmin(yl, places[i].level - places[i].level_sd), yh = fmax(yh, places[i].level + places[i].level_sd);
        }
        struct svg_scale x = svg_scale_make(xl, xh, LEFT, WIDTH - 120, 6), y = svg_scale_make(yl, yh, height - BOTTOM, TOP + 22, 6);
        svg_axis_x(b, &x, height - BOTTOM, TOP + 22, "bias wanted on this deck, dB");
        svg_axis_y(b, &y, LEFT, WIDTH - 120, "record level wanted, dB");
        double x_unit = fabs(svg_at(&x, 1) - svg_at(&x, 0)), y_unit = fabs(svg_at(&y, 1) - svg_at(&y, 0));
        for (int i = 0; i < count; i++) {
            double px = svg_at(&x, places[i].bias), py = svg_at(&y, places[i].level);
            char label[40];
            cut_label(places[i].label, label);
            svg_ellipse(b, px, py, places[i].bias_sd * x_unit, places[i].level_sd * y_unit, 0, places[i].asked ? SVG_OXIDE : SVG_FAINT);
            svg_mark(b, places[i].asked ? MARK_DIAMOND : MARK_RING, px, py, 8, places[i].asked ? SVG_OXIDE : SVG_INK);
            svg_text(b, px + 8, py + 4, ANCHOR_START, places[i].asked ? SVG_OXIDE : SVG_INK, 13, label);
        }
    }
    svg_end(b);
}
