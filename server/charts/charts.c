/* SPDX-License-Identifier: GPL-3.0-or-later
 * See charts.h: dots with bars, the course of results, the track record. The map is in map.c. */
#include "charts.h"

#include "frame.h"

#include "../ground/memory.h"

#include <math.h>
#include <stdlib.h>

/* ---- dots with bars ---- */

#define NARROW 460.0 /* below, names stand above their bars */

struct bars_place {
    double width, left, row, top, height;
    bool narrow;
};

static void bar_row(struct buffer *b, const struct chart_bar *bar, const struct svg_scale *x, const struct bars_place *p, double y)
{
    char label[128];
    double line_y = p->narrow ? y + 28 : y + 14;
    svg_text_cut(bar->label, SVG_TEXT, p->narrow ? p->width - 24 : p->left - 30, label);
    if (p->narrow)
        svg_text(b, 12, y + 14, ANCHOR_START, PAINT_INK, SVG_TEXT, label);
    else
        svg_text(b, p->left - 14, line_y + 4, ANCHOR_END, PAINT_INK, SVG_TEXT, label);
    if (!isfinite(bar->value))
        return;
    if (isfinite(bar->low) && isfinite(bar->high))
        svg_line(b, svg_at(x, bar->low), line_y, svg_at(x, bar->high), line_y, PAINT_OXIDE, 2, !bar->strong);
    svg_mark(b, bar->strong ? MARK_DISC : MARK_RING, svg_at(x, bar->value), line_y, 9, PAINT_OXIDE);
}

static struct svg_scale bars_scale(const struct chart_bar *bars, int count, double mean, double from, double to)
{
    double low = 0, high = 0;
    for (int i = 0; i < count; i++) {
        const double ends[3] = {bars[i].low, bars[i].high, bars[i].value};
        for (int e = 0; e < 3; e++)
            if (isfinite(ends[e]))
                low = fmin(low, ends[e]), high = fmax(high, ends[e]);
    }
    if (isfinite(mean))
        low = fmin(low, mean), high = fmax(high, mean);
    return svg_scale_make(low, high, from, to, to - from < 320 ? 4 : 7);
}

void chart_bars(struct buffer *b, const struct chart_sheet *sheet, const char *axis, const struct chart_bar *bars, int count, double mean,
                const char *mean_name)
{
    const struct frame_key keys[3] = {{MARK_DISC, PAINT_OXIDE, false, false, "from own results"},
                                      {MARK_RING, PAINT_OXIDE, false, false, "worked out from others"},
                                      {MARK_DISC, PAINT_INK, true, false, mean_name ? mean_name : ""}};
    int key_count = isfinite(mean) && mean_name ? 3 : 2;
    struct bars_place p = {.width = frame_width(sheet)};
    p.narrow = p.width < NARROW;
    p.row = p.narrow ? 38 : 24;
    p.left = p.narrow ? 24 : 226;
    p.top = frame_keys(NULL, keys, count ? key_count : 0, p.width, 20.0 * frame_title_lines(sheet, p.width) + 6) + 6;
    p.height = count ? p.top + p.row * count + FRAME_BOTTOM : p.top + 60;
    double below = frame_begin(b, sheet, p.width, p.height, count);
    if (count) {
        double bottom = p.height - FRAME_BOTTOM + 6;
        struct svg_scale x = bars_scale(bars, count, mean, p.left, p.width - FRAME_RIGHT - 8);
        frame_keys(b, keys, key_count, p.width, below);
        svg_axis_x(b, &x, bottom, p.top, axis);
        svg_line(b, svg_at(&x, 0), bottom, svg_at(&x, 0), p.top, PAINT_GREY, 1, false);
        if (key_count == 3)
            svg_line(b, svg_at(&x, mean), bottom, svg_at(&x, mean), p.top, PAINT_INK, 1.5, false);
        for (int i = 0; i < count; i++)
            bar_row(b, &bars[i], &x, &p, p.top + p.row * i);
    }
    svg_end(b);
}

/* ---- results over time ---- */

#define EVENT_ROWS 3

static int event_rows(const struct chart_course *c)
{
    return c->event_count < EVENT_ROWS ? c->event_count : EVENT_ROWS;
}

/* Names of services and signals in up to three rows over the drawing, each where it has room; a name without room leaves its line alone. */
static void draw_events(struct buffer *b, const struct chart_course *c, const struct svg_scale *x, double top, double bottom, double right)
{
    double taken[EVENT_ROWS] = {0};
    int rows = event_rows(c);
    for (int i = 0; i < c->event_count; i++) {
        const struct chart_event *e = &c->events[i];
        double at = svg_at(x, (double)e->at_us);
        if (at < FRAME_LEFT - 1 || at > right + 1)
            continue;
        enum svg_paint paint = e->signal ? PAINT_OXIDE : PAINT_GREY;
        svg_line(b, at, bottom, at, top, paint, 1.5, !e->signal);
        double wide = svg_text_width(e->label, SVG_TEXT), from = fmin(at + 4, right - wide);
        for (int row = 0; row < rows; row++) {
            if (from < taken[row])
                continue;
            svg_text(b, from, top - 6 - 16 * (rows - 1 - row), ANCHOR_START, paint, SVG_TEXT, e->label);
            taken[row] = from + wide + 8;
            break;
        }
    }
}

static void draw_levels(struct buffer *b, const struct chart_course *c, const struct svg_scale *x, const struct svg_scale *y)
{
    for (int i = 0; i < c->level_count; i++) {
        const struct chart_level *l = &c->levels[i];
        if (!isfinite(l->value))
            continue;
        double from = svg_at(x, (double)l->from_us), to = svg_at(x, (double)l->to_us), at = svg_at(y, l->value);
        if (to - from < 6)
            from -= 3, to += 3;
        svg_line(b, from, at, to, at, PAINT_OXIDE, 2.5, false);
        if (isfinite(l->low) && isfinite(l->high))
            for (int end = 0; end < 2; end++) {
                double edge = svg_at(y, end ? l->high : l->low);
                svg_line(b, from, edge, to, edge, PAINT_OXIDE, 0.8, true);
            }
    }
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The stretch of values that is drawn true: the middle 95 % and as much again on either side, if anything lies there. */
static void stretch_of(const struct chart_course *c, double *low, double *high)
{
    double *x = mem_alloc(((size_t)c->count + 1) * sizeof *x);
    int n = 0;
    *low = INFINITY;
    *high = -INFINITY;
    for (int i = 0; i < c->count; i++) {
        if (!isfinite(c->points[i].value))
            continue;
        *low = fmin(*low, c->points[i].value), *high = fmax(*high, c->points[i].value);
        if (x)
            x[n++] = c->points[i].value;
    }
    if (n >= 20) {
        qsort(x, (size_t)n, sizeof *x, rising);
        double from = x[n / 40], to = x[n - 1 - n / 40], room = to - from;
        *low = fmax(*low, from - room), *high = fmin(*high, to + room);
    }
    mem_free(x);
}

static bool beyond(const struct chart_point *p, const struct svg_scale *y)
{
    return isfinite(p->value) && (p->value < y->low || p->value > y->high);
}

static void draw_points(struct buffer *b, const struct chart_course *c, const struct svg_scale *x, const struct svg_scale *y)
{
    for (int i = 0; i < c->count; i++) {
        const struct chart_point *p = &c->points[i];
        if (!isfinite(p->value))
            continue;
        enum svg_mark mark = beyond(p, y) ? MARK_DIAMOND : p->odd ? MARK_CROSS : MARK_RING;
        svg_mark(b, mark, svg_at(x, (double)p->at_us), svg_at(y, fmin(fmax(p->value, y->low), y->high)), 7,
                 mark == MARK_RING ? PAINT_INK : PAINT_OXIDE);
    }
}

void chart_series(struct buffer *b, const struct chart_sheet *sheet, const char *axis, const struct chart_course *c)
{
    const struct frame_key all[5] = {{MARK_RING, PAINT_INK, false, false, "a result"},
                                     {MARK_CROSS, PAINT_OXIDE, false, false, "left out, or doubtful"},
                                     {MARK_RING, PAINT_OXIDE, true, false, "where it stood"},
                                     {MARK_RING, PAINT_GREY, true, true, "service"},
                                     {MARK_DIAMOND, PAINT_OXIDE, false, false, "further out"}};
    struct frame_key keys[5];
    int key_count = 0, odd = 0, services = 0, out = 0;
    double low, high;
    stretch_of(c, &low, &high);
    struct svg_scale y = svg_scale_make(low, high, 0, 1, 5); /* its place on the sheet is known below */
    for (int i = 0; i < c->count; i++) {
        odd += c->points[i].odd && !beyond(&c->points[i], &y);
        out += beyond(&c->points[i], &y);
    }
    for (int i = 0; i < c->event_count; i++)
        services += !c->events[i].signal;
    const int wanted[5] = {c->count, odd, c->level_count, services, out};
    for (int i = 0; i < 5; i++)
        if (c->count && wanted[i])
            keys[key_count++] = all[i];
    double width = frame_width(sheet), right = width - FRAME_RIGHT;
    double head = frame_keys(NULL, keys, key_count, width, 20.0 * frame_title_lines(sheet, width) + 6);
    double top = head + 24 + 16.0 * event_rows(c), height = c->count ? top + 220 + FRAME_BOTTOM : head + 60;
    double below = frame_begin(b, sheet, width, height, c->count);
    if (c->count) {
        double first = INFINITY, last = -INFINITY, bottom = top + 220;
        for (int i = 0; i < c->count; i++)
            if (isfinite(c->points[i].value))
                first = fmin(first, (double)c->points[i].at_us), last = fmax(last, (double)c->points[i].at_us);
        struct svg_scale x = svg_scale_time(first, last, FRAME_LEFT, right);
        y.from = bottom, y.to = top;
        frame_keys(b, keys, key_count, width, below);
        svg_axis_time(b, &x, bottom, top);
        svg_axis_y(b, &y, FRAME_LEFT, right, "");
        svg_text(b, 12, head + 14, ANCHOR_START, PAINT_INK, SVG_TEXT, axis);
        draw_events(b, c, &x, top, bottom, right);
        draw_points(b, c, &x, &y);
        draw_levels(b, c, &x, &y);
    }
    svg_end(b);
}

/* ---- track record ---- */

#define MISS_MOST 4.0 /* dB: a misentry must not flatten the rest; what lies outside is drawn at the edge */

void chart_track(struct buffer *b, const struct chart_sheet *sheet, const struct chart_miss *misses, int count)
{
    const struct frame_key keys[2] = {{MARK_DISC, PAINT_INK, false, false, "inside the range given"},
                                      {MARK_CROSS, PAINT_OXIDE, false, false, "outside"}};
    double width = frame_width(sheet), right = width - FRAME_RIGHT;
    double head = frame_keys(NULL, keys, count ? 2 : 0, width, 20.0 * frame_title_lines(sheet, width) + 6);
    double top = head + 24, bottom = top + 220, height = count ? bottom + FRAME_BOTTOM : head + 60;
    double below = frame_begin(b, sheet, width, height, count);
    if (count) {
        double first = INFINITY, last = -INFINITY, high = 0.5;
        for (int i = 0; i < count; i++) {
            first = fmin(first, (double)misses[i].at_us), last = fmax(last, (double)misses[i].at_us);
            if (isfinite(misses[i].error_db))
                high = fmax(high, fabs(misses[i].error_db));
        }
        high = fmin(high, MISS_MOST);
        struct svg_scale x = svg_scale_time(first, last, FRAME_LEFT, right), y = svg_scale_make(-high, high, bottom, top, 6);
        frame_keys(b, keys, 2, width, below);
        svg_axis_time(b, &x, bottom, top);
        svg_axis_y(b, &y, FRAME_LEFT, right, "");
        svg_text(b, 12, head + 14, ANCHOR_START, PAINT_INK, SVG_TEXT, "result minus suggestion, dB");
        svg_line(b, FRAME_LEFT, svg_at(&y, 0), right, svg_at(&y, 0), PAINT_GREY, 1.2, false);
        for (int i = 0; i < count; i++)
            if (isfinite(misses[i].error_db))
                svg_mark(b, misses[i].inside ? MARK_DISC : MARK_CROSS, svg_at(&x, (double)misses[i].at_us),
                         svg_at(&y, fmin(fmax(misses[i].error_db, y.low), y.high)), misses[i].inside ? 4 : 7,
                         misses[i].inside ? PAINT_INK : PAINT_OXIDE);
    }
    svg_end(b);
}
