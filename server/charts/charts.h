/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The daemon's drawings: plain structs in, SVG text out. Always shown beside a table with the same numbers. 0 rows give a sheet that says so.
 */
#ifndef BIASBOOK_CHARTS_CHARTS_H
#define BIASBOOK_CHARTS_CHARTS_H

#include "../ground/buffer.h"

#include <stdint.h>

/* ---- dots with bars: one row a deck (or stock), its value and its range ---- */
struct chart_bar {
    const char *label;
    double value, low, high; /* dB */
    bool strong;             /* filled mark: rests on own results; else an estimate, a ring */
};
void chart_bars(struct buffer *b, const char *title, const char *description, const char *axis, const struct chart_bar *bars, int count);

/* ---- results over time: bias and level, with beginnings of eras and signals ---- */
struct chart_point {
    int64_t at_us;
    double value;
    bool odd; /* drawn as a cross: kept out of the fit, or a probable misentry */
};
struct chart_event {
    int64_t at_us;
    const char *label;
    bool signal; /* a change noticed; else a service */
};
void chart_series(struct buffer *b, const char *title, const char *description, const char *axis, const struct chart_point *points, int count,
                  const struct chart_event *events, int event_count);

/* ---- track record: how far off each suggestion was, in time, with the middle half a month ---- */
struct chart_miss {
    int64_t at_us;
    double error_db;
    bool inside; /* within the range that was given */
};
void chart_track(struct buffer *b, const char *title, const char *description, const struct chart_miss *misses, int count);

/* ---- a small map: bias against level with ellipses of one standard deviation ---- */
struct chart_place {
    const char *label;
    double bias, level, bias_sd, level_sd; /* dB */
    bool asked;                            /* the stock the others are compared with */
};
void chart_map(struct buffer *b, const char *title, const char *description, const struct chart_place *places, int count);

#endif
