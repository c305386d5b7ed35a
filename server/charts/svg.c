/* SPDX-License-Identifier: GPL-3.0-or-later
 * See svg.h. */
#include "svg.h"

#include "../ground/clock.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FONT "font-family=\"Georgia, 'Times New Roman', serif\""

void svg_escape(struct buffer *b, const char *text)
{
    for (const char *p = text; *p; p++) {
        switch (*p) {
        case '<': buffer_text(b, "&lt;"); break;
        case '>': buffer_text(b, "&gt;"); break;
        case '&': buffer_text(b, "&amp;"); break;
        case '"': buffer_text(b, "&quot;"); break;
        default:
            if ((unsigned char)*p >= 32)
                buffer_char(b, *p);
        }
    }
}

static void attribute(struct buffer *b, const char *name, double value)
{
    buffer_char(b, ' ');
    buffer_text(b, name);
    buffer_text(b, "=\"");
    buffer_fixed(b, isfinite(value) ? value : 0, 1);
    buffer_char(b, '"');
}

static void paint(struct buffer *b, const char *name, const char *value)
{
    buffer_format(b, " %s=\"%s\"", name, value ? value : "none");
}

void svg_begin(struct buffer *b, double width, double height, const char *title, const char *description)
{
    buffer_text(b, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-labelledby=\"t d\" " FONT);
    buffer_format(b, " viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\"><title id=\"t\">", width, height, width, height);
    svg_escape(b, title);
    buffer_text(b, "</title><desc id=\"d\">");
    svg_escape(b, description);
    buffer_text(b, "</desc>\n");
    svg_rect(b, 0, 0, width, height, SVG_PAPER, NULL);
}

void svg_end(struct buffer *b)
{
    buffer_text(b, "</svg>\n");
}

void svg_line(struct buffer *b, double x1, double y1, double x2, double y2, const char *colour, double width, bool dashed)
{
    buffer_text(b, "<line");
    attribute(b, "x1", x1), attribute(b, "y1", y1), attribute(b, "x2", x2), attribute(b, "y2", y2);
    paint(b, "stroke", colour);
    attribute(b, "stroke-width", width);
    if (dashed)
        buffer_text(b, " stroke-dasharray=\"4 3\"");
    buffer_text(b, "/>\n");
}

void svg_rect(struct buffer *b, double x, double y, double width, double height, const char *fill, const char *stroke)
{
    buffer_text(b, "<rect");
    attribute(b, "x", x), attribute(b, "y", y), attribute(b, "width", fmax(width, 0)), attribute(b, "height", fmax(height, 0));
    paint(b, "fill", fill), paint(b, "stroke", stroke);
    buffer_text(b, "/>\n");
}

static void polygon(struct buffer *b, const double (*points)[2], int count, const char *colour)
{
    buffer_text(b, "<polygon points=\"");
    for (int i = 0; i < count; i++) {
        buffer_fixed(b, points[i][0], 1);
        buffer_char(b, ',');
        buffer_fixed(b, points[i][1], 1);
        buffer_char(b, ' ');
    }
    buffer_char(b, '"');
    paint(b, "fill", colour);
    buffer_text(b, "/>\n");
}

void svg_mark(struct buffer *b, enum svg_mark mark, double x, double y, double size, const char *colour)
{
    double r = size / 2;
    switch (mark) {
    case MARK_DISC:
    case MARK_RING:
        buffer_text(b, "<circle");
        attribute(b, "cx", x), attribute(b, "cy", y), attribute(b, "r", r);
        paint(b, "fill", mark == MARK_DISC ? colour : SVG_PAPER), paint(b, "stroke", colour);
        buffer_text(b, "/>\n");
        break;
    case MARK_SQUARE: svg_rect(b, x - r, y - r, size, size, colour, NULL); break;
    case MARK_DIAMOND: {
        const double points[4][2] = {{x, y - r - 1}, {x + r + 1, y}, {x, y + r + 1}, {x - r - 1, y}};
        polygon(b, points, 4, colour);
        break;
    }
    case MARK_CROSS:
        svg_line(b, x - r, y - r, x + r, y + r, colour, 1.5, false);
        svg_line(b, x - r, y + r, x + r, y - r, colour, 1.5, false);
        break;
    }
}

void svg_text(struct buffer *b, double x, double y, enum svg_anchor anchor, const char *colour, double size, const char *text)
{
    static const char *const anchors[] = {"start", "middle", "end"};
    buffer_text(b, "<text");
    attribute(b, "x", x), attribute(b, "y", y), attribute(b, "font-size", size);
    paint(b, "text-anchor", anchors[anchor]), paint(b, "fill", colour);
    buffer_char(b, '>');
    svg_escape(b, text);
    buffer_text(b, "</text>\n");
}

void svg_ellipse(struct buffer *b, double x, double y, double rx, double ry, double degrees, const char *stroke)
{
    buffer_text(b, "<ellipse");
    attribute(b, "cx", x), attribute(b, "cy", y), attribute(b, "rx", fmax(rx, 0)), attribute(b, "ry", fmax(ry, 0));
    buffer_format(b, " transform=\"rotate(%.1f %.1f %.1f)\"", degrees, x, y);
    paint(b, "fill", NULL), paint(b, "stroke", stroke);
    buffer_text(b, "/>\n");
}

/* ---- scales ---- */

static double round_tick(double span, int about)
{
    double raw = span / about, power = pow(10, floor(log10(raw))), part = raw / power;
    return power * (part < 1.5 ? 1 : part < 3.5 ? 2 : part < 7.5 ? 5 : 10);
}

struct svg_scale svg_scale_make(double low, double high, double from, double to, int about_ticks)
{
    if (!isfinite(low) || !isfinite(high))
        low = -1, high = 1;
    if (low > high) {
        double swap = low;
        low = high;
        high = swap;
    }
    if (high - low < 1e-9 * fmax(1, fabs(high)))
        low -= 0.5, high += 0.5;
    double tick = round_tick(high - low, about_ticks);
    return (struct svg_scale){.low = floor(low / tick + 1e-9) * tick, .high = ceil(high / tick - 1e-9) * tick, .from = from, .to = to, .tick = tick};
}

double svg_at(const struct svg_scale *s, double value)
{
    return s->from + (value - s->low) / (s->high - s->low) * (s->to - s->from);
}

int svg_tick_decimals(const struct svg_scale *s)
{
    int decimals = 0;
    for (double t = s->tick; decimals < 6 && fabs(t - round(t)) > 1e-9 * fabs(t); t *= 10)
        decimals++;
    return decimals;
}

static void tick_text(const struct svg_scale *s, double value, char out[32])
{
    snprintf(out, 32, "%.*f", svg_tick_decimals(s), fabs(value) < s->tick / 1e6 ? 0 : value);
}

void svg_axis_x(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top, const char *name)
{
    char text[32];
    int count = (int)lround((x->high - x->low) / x->tick);
    for (int i = 0; i <= count; i++) {
        double value = x->low + i * x->tick, at = svg_at(x, value);
        svg_line(b, at, y_axis, at, y_top, SVG_FAINT, 0.6, false);
        tick_text(x, value, text);
        svg_text(b, at, y_axis + 16, ANCHOR_MIDDLE, SVG_INK, 13, text);
    }
    svg_text(b, (x->from + x->to) / 2, y_axis + 34, ANCHOR_MIDDLE, SVG_INK, 13, name);
}

void svg_axis_y(struct buffer *b, const struct svg_scale *y, double x_axis, double x_right, const char *name)
{
    char text[32];
    int count = (int)lround((y->high - y->low) / y->tick);
    for (int i = 0; i <= count; i++) {
        double value = y->low + i * y->tick, at = svg_at(y, value);
        svg_line(b, x_axis, at, x_right, at, SVG_FAINT, 0.6, false);
        tick_text(y, value, text);
        svg_text(b, x_axis - 6, at + 4, ANCHOR_END, SVG_INK, 13, text);
    }
    svg_text(b, x_axis - 40, fmin(y->from, y->to) - 8, ANCHOR_START, SVG_INK, 13, name);
}

/* ---- time ---- */

#define YEAR_US (365.25 * 86400e6)

struct svg_scale svg_scale_time(double low_us, double high_us, double from, double to)
{
    if (!(high_us - low_us > 86400e6))
        low_us -= 43200e6, high_us += 43200e6;
    double room = (high_us - low_us) * 0.02;
    return (struct svg_scale){.low = low_us - room, .high = high_us + room, .from = from, .to = to, .tick = (high_us - low_us) / 5};
}

void svg_axis_time(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top)
{
    bool years = x->high - x->low > 5 * YEAR_US, days = x->high - x->low < YEAR_US / 4;
    for (int i = 0; i <= 5; i++) {
        double value = x->low + (x->high - x->low) * (0.04 + 0.184 * i), at = svg_at(x, value);
        char text[CLOCK_TEXT];
        clock_format_date((int64_t)value, text);
        if (!days)
            text[years ? 4 : 7] = 0;
        svg_line(b, at, y_axis, at, y_top, SVG_FAINT, 0.6, false);
        svg_text(b, at, y_axis + 16, ANCHOR_MIDDLE, SVG_INK, 13, text);
    }
}
