/* SPDX-License-Identifier: GPL-3.0-or-later
 * See html.h. */
#include "html.h"

#include <string.h>

void html_text(struct buffer *b, const char *text)
{
    for (const char *p = text ? text : ""; *p; p++) {
        switch (*p) {
        case '<': buffer_text(b, "&lt;"); break;
        case '>': buffer_text(b, "&gt;"); break;
        case '&': buffer_text(b, "&amp;"); break;
        case '"': buffer_text(b, "&quot;"); break;
        default: buffer_char(b, *p);
        }
    }
}

void html_attribute(struct buffer *b, const char *text)
{
    html_text(b, text);
}

struct buffer *html_begin(struct exchange *x, const char *root, const char *title)
{
    struct buffer *b = &x->reply.body;
    x->reply.content_type = "text/html; charset=utf-8";
    buffer_text(b, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
    html_text(b, title);
    buffer_text(b, " · biasbook</title>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                   "<meta name=\"color-scheme\" content=\"light dark\">\n<link rel=\"stylesheet\" href=\"");
    html_attribute(b, root);
    buffer_text(b, "style.css\">\n</head>\n<body>\n<main>\n<h1>");
    html_text(b, title);
    buffer_text(b, "</h1>\n");
    return b;
}

void html_end(struct buffer *b)
{
    buffer_text(b, "</main>\n</body>\n</html>\n");
}

void html_option(struct buffer *b, const char *value, const char *name, const char *chosen)
{
    buffer_text(b, "<option value=\"");
    html_attribute(b, value);
    buffer_text(b, chosen && !strcmp(chosen, value) ? "\" selected>" : "\">");
    html_text(b, name);
    buffer_text(b, "</option>\n");
}
