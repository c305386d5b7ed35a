/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * SVG text by hand: a sheet with title and description inside, text at least 12 px, presentation attributes only (a strict content policy allows
 * no style attribute), its own paper so that it reads on a dark page and in print. Each paint is also a class (fill-ink, line-oxide, …), so that a page
 * that takes the drawing in may give it the page's own colours. Shapes tell apart what colours tell apart.
 */
#ifndef BIASBOOK_CHARTS_SVG_H
#define BIASBOOK_CHARTS_SVG_H

#include "../ground/buffer.h"

#define SVG_TEXT        13.0 /* px of all text but titles */
#define SVG_TITLE       15.0 /* px */
#define SVG_WIDTH       640.0
#define SVG_WIDTH_LEAST 280.0
#define SVG_WIDTH_MOST  1200.0

enum svg_paint { PAINT_NONE, PAINT_PAPER, PAINT_INK, PAINT_FAINT, PAINT_OXIDE, PAINT_GREY };
enum svg_mark { MARK_DISC, MARK_RING, MARK_SQUARE, MARK_DIAMOND, MARK_CROSS };
enum svg_anchor { ANCHOR_START, ANCHOR_MIDDLE, ANCHOR_END };

/* `name` makes the ids of title and description: several drawings on one page need different ones. */
void svg_begin(struct buffer *b, const char *name, double width, double height, const char *title, const char *description);
void svg_end(struct buffer *b);
void svg_line(struct buffer *b, double x1, double y1, double x2, double y2, enum svg_paint paint, double width, bool dashed);
void svg_rect(struct buffer *b, double x, double y, double width, double height, enum svg_paint fill, enum svg_paint line);
void svg_mark(struct buffer *b, enum svg_mark mark, double x, double y, double size, enum svg_paint paint);
void svg_text(struct buffer *b, double x, double y, enum svg_anchor anchor, enum svg_paint paint, double size,
              const char *text); /* escaped */
void svg_ellipse(struct buffer *b, double x, double y, double rx, double ry, double degrees, enum svg_paint line);
/* XML text, escaped. Characters that XML 1.0 does not allow (2.2: controls, U+FFFE, U+FFFF) are dropped, bytes that are not UTF-8 become U+FFFD. */
void svg_escape(struct buffer *b, const char *text);
/* About how wide this text stands, px: drawn without measuring, so on the wide side. */
double svg_text_width(const char *text, double size);
/* `text` as it fits `width`, an ellipsis at the end of what was cut; never cut inside a character. */
void svg_text_cut(const char *text, double size, double width, char out[128]);

/* A straight scale from data to the sheet with round ticks. Equal or not finite ends are widened so that nothing is divided by zero. */
struct svg_scale {
    double low, high; /* data, after rounding out to ticks */
    double from, to;  /* sheet */
    double tick;      /* 1, 2 or 5 times a power of ten */
};
struct svg_scale svg_scale_make(double low, double high, double from, double to, int about_ticks);
double svg_at(const struct svg_scale *s, double value);
int svg_tick_decimals(const struct svg_scale *s);

/* Axes with grid lines, tick labels and a name. */
void svg_axis_x(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top, const char *name);
void svg_axis_y(struct buffer *b, const struct svg_scale *y, double x_axis, double x_right, const char *name);

/* An axis of dates: microseconds since 1970 in the scale, ticks at the first of a month, labelled 2025-04 or 2025 (short spans: 2025-04-12). */
struct svg_scale svg_scale_time(double low_us, double high_us, double from, double to);
void svg_axis_time(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top);

#endif
