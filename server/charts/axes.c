/* SPDX-License-Identifier: GPL-3.0-or-later
 * See svg.h: scales with round ticks, axes of numbers and of dates. */
#include "svg.h"

#include "../ground/clock.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DAY_US  86400e6
#define YEAR_US (365.25 * DAY_US)

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
    double tick = round_tick(high - low, about_ticks < 1 ? 1 : about_ticks);
    return (struct svg_scale){
        .low = floor(low / tick + 1e-9) * tick, .high = ceil(high / tick - 1e-9) * tick, .from = from, .to = to, .tick = tick};
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

/* A real minus sign, no "-0". */
static void tick_text(const struct svg_scale *s, double value, char out[40])
{
    double shown = fabs(value) < s->tick / 1e6 ? 0 : value;
    snprintf(out, 40, "%s%.*f", shown < 0 ? "\xE2\x88\x92" : "", svg_tick_decimals(s), fabs(shown));
}

void svg_axis_x(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top, const char *name)
{
    char text[40];
    int count = (int)lround((x->high - x->low) / x->tick);
    for (int i = 0; i <= count; i++) {
        double value = x->low + i * x->tick, at = svg_at(x, value);
        svg_line(b, at, y_axis, at, y_top, PAINT_FAINT, 0.6, false);
        tick_text(x, value, text);
        svg_text(b, at, y_axis + 16, ANCHOR_MIDDLE, PAINT_INK, SVG_TEXT, text);
    }
    svg_text(b, (x->from + x->to) / 2, y_axis + 34, ANCHOR_MIDDLE, PAINT_INK, SVG_TEXT, name);
}

void svg_axis_y(struct buffer *b, const struct svg_scale *y, double x_axis, double x_right, const char *name)
{
    char text[40];
    int count = (int)lround((y->high - y->low) / y->tick);
    for (int i = 0; i <= count; i++) {
        double value = y->low + i * y->tick, at = svg_at(y, value);
        svg_line(b, x_axis, at, x_right, at, PAINT_FAINT, 0.6, false);
        tick_text(y, value, text);
        svg_text(b, x_axis - 6, at + 4, ANCHOR_END, PAINT_INK, SVG_TEXT, text);
    }
    svg_text(b, fmax(x_axis - 40, 8), fmin(y->from, y->to) - 10, ANCHOR_START, PAINT_INK, SVG_TEXT, name);
}

/* ---- time ---- */

struct svg_scale svg_scale_time(double low_us, double high_us, double from, double to)
{
    if (!(high_us - low_us > DAY_US)) /* not a number either */
        low_us -= DAY_US / 2, high_us += DAY_US / 2;
    double room = (high_us - low_us) * 0.02;
    return (struct svg_scale){.low = low_us - room, .high = high_us + room, .from = from, .to = to, .tick = (high_us - low_us) / 5};
}

/* Instant of the first of a month counted from the year 0. */
static double month_us(int month)
{
    char text[CLOCK_TEXT];
    int64_t us = 0;
    snprintf(text, sizeof text, "%04d-%02d-01T00:00:00Z", month / 12, month % 12 + 1);
    return clock_parse(text, strlen(text), &us, NULL) ? (double)us : NAN;
}

static int month_of(double us)
{
    char text[CLOCK_TEXT], *end;
    long year = strtol(clock_format_date((int64_t)us, text), &end, 10);
    return (int)(year * 12 + (*end == '-' ? strtol(end + 1, NULL, 10) : 1) - 1);
}

static void time_tick(struct buffer *b, const struct svg_scale *x, double us, double y_axis, double y_top, size_t letters)
{
    char text[CLOCK_TEXT];
    double at = svg_at(x, us);
    clock_format_date((int64_t)us, text);
    text[letters] = 0;
    svg_line(b, at, y_axis, at, y_top, PAINT_FAINT, 0.6, false);
    double half = svg_text_width(text, SVG_TEXT) / 2;
    if (at - half >= 2 && at + half <= fmax(x->from, x->to) + 20)
        svg_text(b, at, y_axis + 16, ANCHOR_MIDDLE, PAINT_INK, SVG_TEXT, text);
}

void svg_axis_time(struct buffer *b, const struct svg_scale *x, double y_axis, double y_top)
{
    static const int STEPS[] = {1, 2, 3, 6, 12, 24, 60, 120, 240, 600};
    double fit = fmax(2, fabs(x->to - x->from) / 84), span = x->high - x->low;
    if (span < 70 * DAY_US) { /* days */
        double step = ceil(span / DAY_US / fit) * DAY_US;
        for (double us = ceil(x->low / DAY_US) * DAY_US; us <= x->high; us += step)
            time_tick(b, x, us, y_axis, y_top, 10);
        return;
    }
    size_t which = 0;
    while (which + 1 < sizeof STEPS / sizeof *STEPS && span / (YEAR_US / 12) / STEPS[which] > fit)
        which++;
    int step = STEPS[which], first = (month_of(x->low) / step + 1) * step, last = month_of(x->high);
    for (int month = first; month <= last && month < 12 * 9999; month += step)
        time_tick(b, x, month_us(month), y_axis, y_top, step % 12 ? 7 : 4);
}
