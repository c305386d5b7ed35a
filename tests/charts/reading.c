/* SPDX-License-Identifier: GPL-3.0-or-later
 * See reading.h. */
#include "reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

int drawn_count(const char *svg, const char *needle)
{
    int n = 0;
    for (const char *p = svg; (p = strstr(p, needle)) != NULL; p += strlen(needle))
        n++;
    return n;
}

double drawn_number(const char *element, const char *attribute)
{
    char name[40];
    snprintf(name, sizeof name, " %s=\"", attribute);
    const char *end = strchr(element, '>'), *at = strstr(element, name);
    return at && end && at < end ? strtod(at + strlen(name), NULL) : NAN;
}

/* Entities back to characters, so that widths are those of what is seen. */
static void plain(const char *from, size_t n, char *out, size_t room)
{
    static const char *const names[4] = {"&lt;", "&gt;", "&amp;", "&quot;"};
    size_t k = 0;
    for (size_t i = 0; i < n && k + 1 < room; i++) {
        out[k++] = from[i];
        for (int e = 0; e < 4; e++)
            if (!strncmp(from + i, names[e], strlen(names[e]))) {
                out[k - 1] = "<>&\""[e];
                i += strlen(names[e]) - 1;
                break;
            }
    }
    out[k] = 0;
}

int drawn_texts(const char *svg, struct drawn_text *out, int room)
{
    int n = 0;
    for (const char *p = svg; n < room && (p = strstr(p, "<text ")) != NULL; p++) {
        const char *from = strchr(p, '>') + 1, *to = strstr(from, "</text>");
        assert_non_null(to);
        out[n].x = drawn_number(p, "x");
        out[n].y = drawn_number(p, "y");
        out[n].size = drawn_number(p, "font-size");
        const char *anchor = strstr(p, "text-anchor=\"");
        assert_true(anchor && anchor < from);
        out[n].anchor = anchor[strlen("text-anchor=\"")];
        plain(from, (size_t)(to - from), out[n].text, sizeof out[n].text);
        n++;
    }
    return n;
}

static void well_formed(const char *svg)
{
    char path[] = "/tmp/biasbook-drawing-XXXXXX", command[200];
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, svg, strlen(svg)), strlen(svg));
    close(fd);
    snprintf(command, sizeof command, "xmllint --nonet --noout %s", path);
    int status = system(command);
    unlink(path);
    assert_int_equal(status, 0);
}

void drawing_holds(const char *svg)
{
    static const char *const never[] = {" style=", "<style", "<script",        " on", "href", "nan", "inf\"",
                                        "url(",    "<image", "<foreignObject", NULL};
    struct drawn_text text[400];
    well_formed(svg);
    assert_int_equal(drawn_count(svg, "<svg "), 1);
    assert_int_equal(drawn_count(svg, "<title id="), 1);
    assert_int_equal(drawn_count(svg, "<desc id="), 1);
    /* markup alone: what a name says is its own business */
    for (const char *p = strchr(svg, '<'); p; p = strchr(p + 1, '<')) {
        char element[600];
        snprintf(element, sizeof element, "%.*s", (int)(strchr(p, '>') - p), p);
        for (int i = 0; never[i]; i++)
            if (strstr(element, never[i]))
                fail_msg("%s in %s", never[i], element);
    }
    double width = drawn_number(svg, "width"), height = drawn_number(svg, "height");
    int n = drawn_texts(svg, text, 400);
    assert_true(n >= 1 && n < 400);
    for (int i = 0; i < n; i++) {
        double wide = svg_text_width(text[i].text, text[i].size);
        double left = text[i].x - (text[i].anchor == 'e' ? wide : text[i].anchor == 'm' ? wide / 2 : 0);
        if (text[i].size < 12 || left < -0.5 || left + wide > width + 8 || text[i].y < 10 || text[i].y > height - 2)
            fail_msg("'%s' at %.1f,%.1f of %.0f × %.0f", text[i].text, text[i].x, text[i].y, width, height);
    }
}
