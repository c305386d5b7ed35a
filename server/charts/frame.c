/* SPDX-License-Identifier: GPL-3.0-or-later
 * See frame.h. */
#include "frame.h"

#include <math.h>
#include <string.h>

#define TITLE_LINE  20.0
#define KEY_LINE    18.0
#define TITLE_LINES 3

double frame_width(const struct chart_sheet *sheet)
{
    return sheet->width > 0 ? fmin(fmax(sheet->width, SVG_WIDTH_LEAST), SVG_WIDTH_MOST) : SVG_WIDTH;
}

/* Takes the words that fit from *text; returns false when none is left. */
static bool take_line(const char **text, double width, char line[128])
{
    const char *from = *text;
    size_t fits = 0;
    while (*from == ' ')
        from++;
    if (!*from)
        return false;
    for (size_t at = 0;; at++) {
        if (from[at] && from[at] != ' ')
            continue;
        if (at > 120)
            break;
        memcpy(line, from, at);
        line[at] = 0;
        if (fits && svg_text_width(line, SVG_TITLE) > width)
            break;
        fits = at;
        if (!from[at])
            break;
    }
    if (!fits) /* one word of 120 bytes and more */
        fits = strlen(from);
    char whole[121];
    size_t n = fits < sizeof whole ? fits : sizeof whole - 1;
    memcpy(whole, from, n);
    whole[n] = 0;
    svg_text_cut(whole, SVG_TITLE, width, line);
    *text = from + fits;
    return true;
}

int frame_title_lines(const struct chart_sheet *sheet, double width)
{
    const char *text = sheet->title;
    char line[128];
    int lines = 0;
    while (lines < TITLE_LINES && take_line(&text, width - 24, line))
        lines++;
    return lines;
}

double frame_begin(struct buffer *b, const struct chart_sheet *sheet, double width, double height, int count)
{
    const char *text = sheet->title;
    char line[128];
    double y = 0;
    svg_begin(b, sheet->name, width, height, sheet->title, sheet->description);
    for (int i = 0; i < TITLE_LINES && take_line(&text, width - 24, line); i++)
        svg_text(b, 12, y += TITLE_LINE, ANCHOR_START, PAINT_INK, SVG_TITLE, line);
    if (!count)
        svg_text(b, 12, y + 40, ANCHOR_START, PAINT_GREY, SVG_TITLE, sheet->nothing ? sheet->nothing : "nothing logged yet");
    return y + 6;
}

double frame_keys(struct buffer *b, const struct frame_key *keys, int count, double width, double y)
{
    double x = 12;
    for (int i = 0; i < count; i++) {
        double room = 22 + svg_text_width(keys[i].text, SVG_TEXT);
        if (x > 12 && x + room > width - 8) {
            x = 12;
            y += KEY_LINE;
        }
        if (b && keys[i].line)
            svg_line(b, x, y + 9, x + 14, y + 9, keys[i].paint, 2, keys[i].dashed);
        else if (b)
            svg_mark(b, keys[i].mark, x + 7, y + 9, 8, keys[i].paint);
        if (b)
            svg_text(b, x + 20, y + 13, ANCHOR_START, PAINT_INK, SVG_TEXT, keys[i].text);
        x += room + 14;
    }
    return count ? y + KEY_LINE : y;
}
