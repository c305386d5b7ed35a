/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The daemon's drawings: plain structs in, SVG text out. Always shown beside a table with the same numbers. 0 rows give a sheet that says so.
 * What is not finite is left out. Texts are at least 12 px at the sheet's own width, so a page asks for the width it has.
 */
#ifndef BIASBOOK_CHARTS_CHARTS_H
#define BIASBOOK_CHARTS_CHARTS_H

#include "../ground/buffer.h"

#include <stdint.h>

struct chart_sheet {
    const char *name;        /* letters, digits, hyphens: makes the ids inside, so different on one page */
    const char *title;       /* one line */
    const char *description; /* what it shows and what stands out, for who does not see it */
    double width;            /* px, SVG_WIDTH_LEAST … SVG_WIDTH_MOST; 0 = SVG_WIDTH */
    const char *nothing;     /* what an empty sheet says; NULL = "nothing logged yet" */
};

/* ---- dots with bars: one row a deck (or stock), its value and its range ---- */
struct chart_bar {
    const char *label;
    double value, low, high; /* dB */
    bool strong;             /* filled mark, whole line: rests on own results; else an estimate, a ring with a dashed line */
};
/* `mean`: a line across at this value, ABSENT (NaN) = none, named `mean_name` in the key. */
void chart_bars(struct buffer *b, const struct chart_sheet *sheet, const char *axis, const struct chart_bar *bars, int count, double mean,
                const char *mean_name);

/* ---- results over time, with levels of eras, services and signals ---- */
struct chart_point {
    int64_t at_us;
    double value;
    bool odd; /* drawn as a cross: kept out of the fit, or a probable misentry */
};
struct chart_event {
    int64_t at_us;
    const char *label;
    bool signal; /* a change noticed: whole line; else a service: dashed */
};
struct chart_level { /* where results stood from … to, and its range */
    int64_t from_us, to_us;
    double value, low, high;
};
struct chart_course {
    const struct chart_point *points;
    int count;
    const struct chart_event *events;
    int event_count;
    const struct chart_level *levels;
    int level_count;
};
/* A few results far from the rest do not flatten it: they are drawn at the edge as diamonds. */
void chart_series(struct buffer *b, const struct chart_sheet *sheet, const char *axis, const struct chart_course *course);

/* ---- track record: how far off each suggestion was, in time ---- */
struct chart_miss {
    int64_t at_us;
    double error_db;
    bool inside; /* within the range that was given */
};
void chart_track(struct buffer *b, const struct chart_sheet *sheet, const struct chart_miss *misses, int count);

/* ---- a small map: bias against level with ellipses of one standard deviation ---- */
struct chart_place {
    const char *label;
    double bias, level, bias_sd, level_sd; /* dB */
    bool asked;                            /* the stock the others are compared with */
    bool near;                             /* counted as alike: a square, named first */
};
void chart_map(struct buffer *b, const struct chart_sheet *sheet, const struct chart_place *places, int count);

#endif
