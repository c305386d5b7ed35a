/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * SVG text by hand: a sheet with title and description inside, text at least 12 px, presentation attributes only (a strict content policy allows
 * no style attribute), its own paper so that it reads on a dark page and in print. Shapes tell apart what colours tell apart.
 */
#ifndef BIASBOOK_CHARTS_SVG_H
#define BIASBOOK_CHARTS_SVG_H

#include "../ground/buffer.h"

#define SVG_PAPER "#fffdf7"
#define SVG_INK "#1f1b16"
#define SVG_FAINT "#c9c2b4"
#define SVG_OXIDE "#8a4522"
#define SVG_GREY "#6b655b"

enum svg_mark { MARK_DISC, MARK_RING, MARK_SQUARE, MARK_DIAMOND, MARK_CROSS };
enum svg_anchor { ANCHOR_START, ANCHOR_MIDDLE, ANCHOR_END };

void svg_begin(struct buffer *b, double width, double height, const char *title, const char *description);
void svg_end(struct buffer *b);
void svg_line(struct buffer *b, double x1, double y1, double x2, double y2, const char *colour, double width, bool dashed);
void svg_rect(struct buffer *b, double x, double y, double width, double height, const char *fill, const char *stroke);
void svg_mark(struct buffer *b, enum svg_mark mark, double x, double y, double size, const char *colour);
void svg_text(struct buffer *b, double x, double y, enum svg_anchor anchor, const char *colour, double size, const char *text); /* escaped */
void svg_ellipse(struct buffer *b, double x, double y, double rx, double ry, double degrees, const char *stroke);
/* XML text, escaped; control characters are dropped. */
void svg_escape(struct buffer *b, const char *text);

/* A straight scale from data to the sheet with round ticks. Equal or not finite ends are widened so that nothing is divided by zero. */
struct svg_scale {
    double low, high;   /* data, after rounding out to ticks */
    double from, to;    /* sheet */
    double tick;        /* 1, 2 or 5 times a power of ten */
};
struct svg_scale svg_scale_make(double low, double high, double from, double to, int about_ticks);
double svg_at(const struct svg_scale *s, double value);
int svg_tick_decimals(const struct svg_scale *s);

/* Axes with grid lines, tick labels and a name. */
void svg_axis_x(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top, const char *name);
void svg_axis_y(struct buffer *b, const struct svg_scale *y, double x_axis, double x_right, const char *name);
/* An axis of dates (microseconds since 1970 in the scale), labelled by year or year-month. */
void svg_axis_time(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top);
struct svg_scale svg_scale_time(double low_us, double high_us, double from, double to);

#endif
