/* SPDX-License-Identifier: GPL-3.0-or-later
 * See charts.h: the map of stocks. Names are put where they meet no other name and no mark; one without room is left to the table beside. */
#include "charts.h"

#include "frame.h"

#include "../ground/limits.h"

#include <math.h>

#define MAP_BOXES 256 /* marks and names that later names keep clear of; more than a hundred names nobody reads */

struct box {
    double x, y, width, height;
};

struct names {
    struct box taken[MAP_BOXES];
    int count;
    double left, right, top, bottom;
};

static bool meet(const struct box *a, const struct box *b)
{
    return a->x < b->x + b->width && b->x < a->x + a->width && a->y < b->y + b->height && b->y < a->y + a->height;
}

static bool free_place(const struct names *n, const struct box *at, bool insist)
{
    if (at->x < n->left || at->x + at->width > n->right || at->y < n->top || at->y + at->height > n->bottom)
        return false;
    for (int i = 0; i < n->count && !insist; i++)
        if (meet(at, &n->taken[i]))
            return false;
    return true;
}

static void put_name(struct buffer *b, struct names *n, const struct chart_place *place, double x, double y)
{
    char label[128];
    svg_text_cut(place->label, SVG_TEXT, 0.45 * (n->right - n->left), label);
    double wide = svg_text_width(label, SVG_TEXT);
    const struct box ways[4] = {
        {x + 8, y - 8, wide, 16}, {x - 8 - wide, y - 8, wide, 16}, {x - wide / 2, y - 24, wide, 16}, {x - wide / 2, y + 8, wide, 16}};
    /* the stock asked about is named first and whatever lies there */
    for (int insist = 0; insist <= (place->asked ? 1 : 0); insist++)
        for (int i = 0; i < 4 && n->count < MAP_BOXES; i++)
            if (free_place(n, &ways[i], insist)) {
                n->taken[n->count++] = ways[i];
                svg_text(b, ways[i].x, ways[i].y + 12, ANCHOR_START, place->asked ? PAINT_OXIDE : PAINT_INK, SVG_TEXT, label);
                return;
            }
}

static bool drawable(const struct chart_place *p)
{
    return isfinite(p->bias) && isfinite(p->level);
}

static double spread(double sd)
{
    return isfinite(sd) ? sd : 0;
}

/* The asked stock first, then those alike, then the rest: names are given out in this order. */
static int rank(const struct chart_place *p)
{
    return p->asked ? 0 : p->near ? 1 : 2;
}

static void draw_places(struct buffer *b, const struct chart_place *places, int count, const struct svg_scale *x, const struct svg_scale *y,
                        struct names *names)
{
    static const enum svg_mark marks[3] = {MARK_DIAMOND, MARK_SQUARE, MARK_RING};
    double x_unit = fabs(svg_at(x, 1) - svg_at(x, 0)), y_unit = fabs(svg_at(y, 1) - svg_at(y, 0));
    for (int i = 0; i < count; i++)
        if (drawable(&places[i]))
            svg_ellipse(b, svg_at(x, places[i].bias), svg_at(y, places[i].level), spread(places[i].bias_sd) * x_unit,
                        spread(places[i].level_sd) * y_unit, 0, places[i].asked ? PAINT_OXIDE : PAINT_FAINT);
    for (int pass = 2; pass >= 0; pass--) /* what matters most lies on top */
        for (int i = 0; i < count; i++)
            if (drawable(&places[i]) && rank(&places[i]) == pass)
                svg_mark(b, marks[pass], svg_at(x, places[i].bias), svg_at(y, places[i].level), 8, pass == 0 ? PAINT_OXIDE : PAINT_INK);
    for (int pass = 0; pass < 3; pass++)
        for (int i = 0; i < count; i++)
            if (drawable(&places[i]) && rank(&places[i]) == pass)
                put_name(b, names, &places[i], svg_at(x, places[i].bias), svg_at(y, places[i].level));
}

void chart_map(struct buffer *b, const struct chart_sheet *sheet, const struct chart_place *places, int count)
{
    const struct frame_key keys[4] = {{MARK_DIAMOND, PAINT_OXIDE, false, false, "asked about"},
                                      {MARK_SQUARE, PAINT_INK, false, false, "alike"},
                                      {MARK_RING, PAINT_INK, false, false, "other"},
                                      {MARK_RING, PAINT_FAINT, true, false, "one standard deviation"}};
    double width = frame_width(sheet), right = width - FRAME_RIGHT;
    double head = frame_keys(NULL, keys, count ? 4 : 0, width, 20.0 * frame_title_lines(sheet, width) + 6);
    double top = head + 24, bottom = top + fmin(width - FRAME_LEFT - FRAME_RIGHT, 380), height = count ? bottom + FRAME_BOTTOM : head + 60;
    double below = frame_begin(b, sheet, width, height, count);
    if (count) {
        double xl = INFINITY, xh = -INFINITY, yl = INFINITY, yh = -INFINITY;
        for (int i = 0; i < count; i++) {
            if (!drawable(&places[i]))
                continue;
            double rx = spread(places[i].bias_sd), ry = spread(places[i].level_sd);
            xl = fmin(xl, places[i].bias - rx), xh = fmax(xh, places[i].bias + rx);
            yl = fmin(yl, places[i].level - ry), yh = fmax(yh, places[i].level + ry);
        }
        struct svg_scale x = svg_scale_make(xl, xh, FRAME_LEFT, right, width < 400 ? 4 : 7), y = svg_scale_make(yl, yh, bottom, top, 6);
        struct names names = {.left = FRAME_LEFT, .right = right, .top = top, .bottom = bottom};
        for (int i = 0; i < count && names.count < MAP_BOXES / 2; i++)
            if (drawable(&places[i]))
                names.taken[names.count++] = (struct box){svg_at(&x, places[i].bias) - 5, svg_at(&y, places[i].level) - 5, 10, 10};
        frame_keys(b, keys, 4, width, below);
        svg_axis_x(b, &x, bottom, top, "bias wanted, dB");
        svg_axis_y(b, &y, FRAME_LEFT, right, "");
        svg_text(b, 12, head + 14, ANCHOR_START, PAINT_INK, SVG_TEXT, "record level wanted, dB");
        draw_places(b, places, count, &x, &y, &names);
    }
    svg_end(b);
}
