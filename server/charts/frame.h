/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What all drawings of this room share: margins, the sheet's beginning, its key.
 */
#ifndef BIASBOOK_CHARTS_FRAME_H
#define BIASBOOK_CHARTS_FRAME_H

#include "charts.h"
#include "svg.h"

#define FRAME_LEFT   52.0
#define FRAME_RIGHT  16.0
#define FRAME_BOTTOM 48.0

double frame_width(const struct chart_sheet *sheet); /* within the limits */
/* Lines that the title takes at this width, at most three; each 20 px. */
int frame_title_lines(const struct chart_sheet *sheet, double width);
/* Sheet, title (broken into lines) and, when there is nothing to draw, a line that says so. Returns the y below the title. */
double frame_begin(struct buffer *b, const struct chart_sheet *sheet, double width, double height, int count);

struct frame_key {
    enum svg_mark mark;
    enum svg_paint paint;
    bool line, dashed; /* a short line instead of the mark */
    const char *text;
};
/* Entries one after the other from the left, broken into rows of 18 px. Returns the y below; with `b` NULL only measures. */
double frame_keys(struct buffer *b, const struct frame_key *keys, int count, double width, double y);

#endif
