/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Lines of an export as CSV records.
 */
#include "csv.h"

#include "cells.h"

#include <string.h>

static void add_cell(struct buffer *b, const char *text, size_t n)
{
    bool quote = n && (text[0] == ' ' || text[n - 1] == ' ');
    for (size_t i = 0; i < n && !quote; i++)
        quote = strchr(",;\"\r\n\t", text[i]) != NULL;
    if (!quote) {
        buffer_add(b, text, n);
        return;
    }
    buffer_char(b, '"');
    for (const char *end = text + n; text < end;) {
        const char *mark = memchr(text, '"', (size_t)(end - text));
        size_t run = mark ? (size_t)(mark - text) + 1 : (size_t)(end - text);
        buffer_add(b, text, run);
        if (mark)
            buffer_char(b, '"');
        text += run;
    }
    buffer_char(b, '"');
}

void csv_write_header(struct buffer *b)
{
    int count;
    const struct column *columns = csv_columns(&count);
    for (int i = 0; i < count; i++) {
        if (i)
            buffer_char(b, ',');
        buffer_text(b, columns[i].name);
    }
    buffer_text(b, "\r\n");
}

static void add_value(struct buffer *b, struct buffer *scratch, const json_t *value)
{
    buffer_clear(scratch);
    if (json_is_string(value)) {
        const char *text = json_string_value(value);
        size_t n = json_string_length(value);
        if (csv_needs_guard(text, n))
            buffer_char(scratch, '\'');
        buffer_add(scratch, text, n);
    } else if (value && !json_is_null(value)) {
        json_value(scratch, value);
    }
    if (scratch->length)
        add_cell(b, scratch->data, scratch->length);
    buffer_inherit(b, scratch);
}

bool csv_write_line(struct buffer *b, const char *json, size_t n, struct fault *f)
{
    int count;
    size_t written = 0;
    const struct column *columns = csv_columns(&count);
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct buffer scratch;
    buffer_init(&scratch, LIMIT_LINE);
    for (int i = 0; i < count; i++) {
        const json_t *value = json_object_get(d.root, columns[i].name);
        written += value != NULL;
        if (i)
            buffer_char(b, ',');
        add_value(b, &scratch, value);
    }
    buffer_text(b, "\r\n");
    bool whole = written == json_object_size(d.root);
    buffer_free(&scratch);
    document_free(&d);
    if (b->failed)
        return b->too_large ? fault_add(f, FAULT_TOO_LARGE, "", "line-too-long", "a line holds at most %zu bytes", b->max)
                            : fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    return whole || fault_add(f, FAULT_INTERNAL, "", "no-column", "a member of this line has no column");
}
