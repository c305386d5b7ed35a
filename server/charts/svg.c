/* SPDX-License-Identifier: GPL-3.0-or-later
 * See svg.h: marks, text, escaping. Scales and axes are in axes.c. */
#include "svg.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FONT "font-family=\"Georgia, 'Times New Roman', serif\""

static const struct {
    const char *hex, *name;
} PAINTS[] = {
    [PAINT_NONE] = {"none", "none"},      [PAINT_PAPER] = {"#fffdf7", "paper"}, [PAINT_INK] = {"#1f1b16", "ink"},
    [PAINT_FAINT] = {"#c9c2b4", "faint"}, [PAINT_OXIDE] = {"#8a4522", "oxide"}, [PAINT_GREY] = {"#6b655b", "grey"},
};

/* ---- text ---- */

/* Length of the UTF-8 character at `p` and its code point; 0 for a byte that begins none. */
static int character(const unsigned char *p, unsigned *code)
{
    int n = *p < 0x80 ? 1 : *p >= 0xc2 && *p < 0xe0 ? 2 : *p >= 0xe0 && *p < 0xf0 ? 3 : *p >= 0xf0 && *p < 0xf5 ? 4 : 0;
    *code = n == 1 ? *p : n ? *p & (0xffu >> (n + 1)) : 0;
    for (int i = 1; i < n; i++) {
        if ((p[i] & 0xc0) != 0x80)
            return 0;
        *code = *code << 6 | (p[i] & 0x3f);
    }
    bool overlong = (n == 3 && *code < 0x800) || (n == 4 && *code < 0x10000);
    return overlong || *code > 0x10ffff || (*code >= 0xd800 && *code < 0xe000) ? 0 : n;
}

void svg_escape(struct buffer *b, const char *text)
{
    for (const unsigned char *p = (const unsigned char *)text; *p;) {
        unsigned code;
        int n = character(p, &code);
        if (!n) {
            buffer_text(b, "\xEF\xBF\xBD");
            p++;
            continue;
        }
        switch (code) {
        case '<': buffer_text(b, "&lt;"); break;
        case '>': buffer_text(b, "&gt;"); break;
        case '&': buffer_text(b, "&amp;"); break;
        case '"': buffer_text(b, "&quot;"); break;
        default:
            if (code >= 32 && code != 0x7f && code != 0xfffe && code != 0xffff)
                buffer_add(b, p, (size_t)n);
        }
        p += n;
    }
}

double svg_text_width(const char *text, double size)
{
    double ems = 0;
    for (const unsigned char *p = (const unsigned char *)text; *p;) {
        unsigned code;
        int n = character(p, &code);
        ems += !n || code >= 0x2e80                ? 1.0
               : code >= 'A' && code <= 'Z'        ? 0.72
               : code > 0x7f                       ? 0.62
               : strchr("iljt.,:;'|! ", (int)code) ? 0.32
                                                   : 0.56;
        p += n ? n : 1;
    }
    return ems * size;
}

void svg_text_cut(const char *text, double size, double width, char out[128])
{
    char part[124];
    size_t length = 0, whole = strlen(text);
    if (whole < sizeof part && svg_text_width(text, size) <= width) {
        snprintf(out, 128, "%s", text);
        return;
    }
    while (length < whole) {
        unsigned code;
        int n = character((const unsigned char *)text + length, &code);
        size_t next = length + (size_t)(n ? n : 1);
        if (next >= sizeof part)
            break;
        memcpy(part, text, next);
        part[next] = 0;
        if (svg_text_width(part, size) > width - 0.8 * size)
            break;
        length = next;
    }
    while (length && text[length - 1] == ' ')
        length--;
    snprintf(out, 128, "%.*s\xE2\x80\xA6", (int)length, text);
}

/* ---- elements ---- */

static void attribute(struct buffer *b, const char *name, double value)
{
    buffer_char(b, ' ');
    buffer_text(b, name);
    buffer_text(b, "=\"");
    buffer_fixed(b, isfinite(value) ? value : 0, 1);
    buffer_char(b, '"');
}

static void painted(struct buffer *b, enum svg_paint fill, enum svg_paint line)
{
    buffer_format(b, " fill=\"%s\" stroke=\"%s\" class=\"fill-%s line-%s\"", PAINTS[fill].hex, PAINTS[line].hex, PAINTS[fill].name,
                  PAINTS[line].name);
}

void svg_begin(struct buffer *b, const char *name, double width, double height, const char *title, const char *description)
{
    buffer_text(b, "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" aria-labelledby=\"");
    svg_escape(b, name);
    buffer_text(b, "-title ");
    svg_escape(b, name);
    buffer_text(b, "-about\" class=\"chart\" " FONT);
    buffer_format(b, " viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\"><title id=\"", width, height, width, height);
    svg_escape(b, name);
    buffer_text(b, "-title\">");
    svg_escape(b, title);
    buffer_text(b, "</title><desc id=\"");
    svg_escape(b, name);
    buffer_text(b, "-about\">");
    svg_escape(b, description);
    buffer_text(b, "</desc>\n");
    svg_rect(b, 0, 0, width, height, PAINT_PAPER, PAINT_NONE);
}

void svg_end(struct buffer *b)
{
    buffer_text(b, "</svg>\n");
}

void svg_line(struct buffer *b, double x1, double y1, double x2, double y2, enum svg_paint paint, double width, bool dashed)
{
    buffer_text(b, "<line");
    attribute(b, "x1", x1), attribute(b, "y1", y1), attribute(b, "x2", x2), attribute(b, "y2", y2);
    painted(b, PAINT_NONE, paint);
    attribute(b, "stroke-width", width);
    if (dashed)
        buffer_text(b, " stroke-dasharray=\"4 3\"");
    buffer_text(b, "/>\n");
}

void svg_rect(struct buffer *b, double x, double y, double width, double height, enum svg_paint fill, enum svg_paint line)
{
    buffer_text(b, "<rect");
    attribute(b, "x", x), attribute(b, "y", y), attribute(b, "width", fmax(width, 0)), attribute(b, "height", fmax(height, 0));
    painted(b, fill, line);
    buffer_text(b, "/>\n");
}

static void polygon(struct buffer *b, const double (*points)[2], int count, enum svg_paint paint)
{
    buffer_text(b, "<polygon points=\"");
    for (int i = 0; i < count; i++) {
        if (i)
            buffer_char(b, ' ');
        buffer_fixed(b, isfinite(points[i][0]) ? points[i][0] : 0, 1);
        buffer_char(b, ',');
        buffer_fixed(b, isfinite(points[i][1]) ? points[i][1] : 0, 1);
    }
    buffer_char(b, '"');
    painted(b, paint, PAINT_NONE);
    buffer_text(b, "/>\n");
}

void svg_mark(struct buffer *b, enum svg_mark mark, double x, double y, double size, enum svg_paint paint)
{
    double r = size / 2;
    switch (mark) {
    case MARK_DISC:
    case MARK_RING:
        buffer_text(b, "<circle");
        attribute(b, "cx", x), attribute(b, "cy", y), attribute(b, "r", r);
        painted(b, mark == MARK_DISC ? paint : PAINT_PAPER, paint);
        buffer_text(b, "/>\n");
        break;
    case MARK_SQUARE: svg_rect(b, x - r, y - r, size, size, paint, PAINT_NONE); break;
    case MARK_DIAMOND: {
        const double points[4][2] = {{x, y - r - 1}, {x + r + 1, y}, {x, y + r + 1}, {x - r - 1, y}};
        polygon(b, points, 4, paint);
        break;
    }
    case MARK_CROSS:
        svg_line(b, x - r, y - r, x + r, y + r, paint, 1.5, false);
        svg_line(b, x - r, y + r, x + r, y - r, paint, 1.5, false);
        break;
    }
}

void svg_text(struct buffer *b, double x, double y, enum svg_anchor anchor, enum svg_paint paint, double size, const char *text)
{
    static const char *const anchors[] = {"start", "middle", "end"};
    buffer_text(b, "<text");
    attribute(b, "x", x), attribute(b, "y", y), attribute(b, "font-size", size);
    buffer_format(b, " text-anchor=\"%s\" fill=\"%s\" class=\"fill-%s\">", anchors[anchor], PAINTS[paint].hex, PAINTS[paint].name);
    svg_escape(b, text);
    buffer_text(b, "</text>\n");
}

void svg_ellipse(struct buffer *b, double x, double y, double rx, double ry, double degrees, enum svg_paint line)
{
    buffer_text(b, "<ellipse");
    attribute(b, "cx", x), attribute(b, "cy", y), attribute(b, "rx", fmax(rx, 0)), attribute(b, "ry", fmax(ry, 0));
    if (degrees < -0.05 || degrees > 0.05) {
        buffer_text(b, " transform=\"rotate(");
        buffer_fixed(b, degrees, 1), buffer_char(b, ' ');
        buffer_fixed(b, isfinite(x) ? x : 0, 1), buffer_char(b, ' ');
        buffer_fixed(b, isfinite(y) ? y : 0, 1);
        buffer_text(b, ")\"");
    }
    painted(b, PAINT_NONE, line);
    buffer_text(b, "/>\n");
}
