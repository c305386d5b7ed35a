/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A CSV reader that is fed whatever bytes have come and holds one record. The grammar of RFC 4180 is a machine of five states; a record that breaks it is read to its end, so
 * that the next one is whole again.
 */
#include "csv.h"

#include "cells.h"

#include <string.h>

enum state {
    CELL_START, /* nothing of the cell yet */
    PLAIN,      /* in a cell without quotes */
    QUOTED,     /* in quotes */
    QUOTE_SEEN, /* a quote in quotes: the end, or the first of a pair */
    AFTER_CR,   /* the record ends, with the LF if one follows */
};

struct csv_reader {
    char separator;
    enum number_style style;
    enum state state;
    bool in_header, failed, ready; /* ready: a record waits to be taken */
    int bom;                       /* bytes of a byte order mark seen at the very start, -1 = past it */
    long line, record_line;
    struct buffer text; /* the record's cells one after the other */
    size_t cell_end[LIMIT_CSV_COLUMNS];
    int cells;
    struct fault broken; /* what is wrong with this record's form */
    int column_count;
    int column[LIMIT_CSV_COLUMNS]; /* which of csv_columns */
};

struct csv_reader *csv_reader_new(char separator, bool decimal_comma)
{
    struct csv_reader *r = mem_zero(1, sizeof *r);
    if (!r)
        return NULL;
    r->separator = separator;
    r->style = decimal_comma ? NUMBER_COMMA : NUMBER_POINT;
    r->in_header = true;
    r->line = r->record_line = 1;
    buffer_init(&r->text, LIMIT_LINE);
    return r;
}

void csv_reader_free(struct csv_reader *r)
{
    if (!r)
        return;
    buffer_free(&r->text);
    mem_free(r);
}

/* ---- one record's cells ---- */

static void broken(struct csv_reader *r, const char *code, const char *detail)
{
    if (!fault_set(&r->broken))
        fault_add(&r->broken, FAULT_UNACCEPTABLE, "", code, "%s", detail);
}

static void start_record(struct csv_reader *r)
{
    buffer_clear(&r->text);
    fault_clear(&r->broken);
    r->cells = 0;
    r->ready = false;
    r->state = CELL_START;
    r->record_line = r->line;
}

static void end_cell(struct csv_reader *r)
{
    if (r->cells == LIMIT_CSV_COLUMNS)
        broken(r, "too-many-cells", "this record has more cells than there can be columns; check the separator");
    else
        r->cell_end[r->cells++] = r->text.length;
    r->state = CELL_START;
}

static void keep(struct csv_reader *r, char c)
{
    buffer_char(&r->text, c);
    if (r->text.too_large)
        broken(r, "line-too-long", "this record is too long; is a quote left open?");
}

/* One byte; true when it completed a record. *again: the byte belongs to the next one. */
static bool take(struct csv_reader *r, char c, bool *again)
{
    *again = false;
    if (r->state == AFTER_CR) {
        *again = c != '\n';
        end_cell(r);
        return true;
    }
    if (r->state == QUOTED) {
        r->line += c == '\n';
        if (c == '"')
            r->state = QUOTE_SEEN;
        else
            keep(r, c);
        return false;
    }
    if (c == '"' && r->state == QUOTE_SEEN) {
        keep(r, c);
        r->state = QUOTED;
    } else if (c == '"' && r->state == CELL_START) {
        r->state = QUOTED;
    } else if (c == r->separator) {
        end_cell(r);
    } else if (c == '\r') {
        r->line++;
        r->state = AFTER_CR;
    } else if (c == '\n') {
        r->line++;
        end_cell(r);
        return true;
    } else {
        if (c == '"')
            broken(r, "stray-quote",
                   "there is a quote inside a cell that does not begin with one; put the cell in quotes and double the quotes in it");
        else if (r->state == QUOTE_SEEN)
            broken(r, "stray-quote", "something follows a closing quote; double the quotes inside a quoted cell");
        r->state = PLAIN;
        keep(r, c);
    }
    return false;
}

/* ---- header ---- */

static const char *cell(const struct csv_reader *r, int i, size_t *n)
{
    size_t from = i ? r->cell_end[i - 1] : 0;
    *n = r->cell_end[i] - from;
    return (r->text.data ? r->text.data : "") + from;
}

/* "Made at " -> "made_at" */
static void fold_name(char out[LIMIT_SLUG + 1], const char *text, size_t n)
{
    size_t used = 0;
    while (n && text[n - 1] == ' ')
        n--;
    for (size_t i = 0; i < n && used < LIMIT_SLUG; i++) {
        char c = text[i];
        if (c == ' ' && used == 0)
            continue;
        out[used++] = (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c == ' ' || c == '-' ? '_' : c);
    }
    out[used] = '\0';
}

static bool read_header(struct csv_reader *r, struct fault *f)
{
    int count;
    const struct column *columns = csv_columns(&count);
    bool kind = false, fine = true;
    if (fault_set(&r->broken)) {
        fault_merge(f, &r->broken, "");
        return false;
    }
    for (int i = 0; i < r->cells; i++) {
        size_t n;
        char name[LIMIT_SLUG + 1];
        const char *text = cell(r, i, &n);
        fold_name(name, text, n);
        r->column[i] = -1;
        for (int k = 0; k < count; k++)
            if (!strcmp(columns[k].name, name))
                r->column[i] = k;
        if (r->column[i] < 0 && *name)
            fine = fault_add(f, FAULT_UNACCEPTABLE, name, "unknown-column", "there is no column '%s'; take it out, or check the separator",
                             name);
        for (int k = 0; k < i; k++)
            if (r->column[i] >= 0 && r->column[k] == r->column[i])
                fine = fault_add(f, FAULT_UNACCEPTABLE, name, "duplicate-column", "the column '%s' is there twice; leave one out", name);
        kind = kind || r->column[i] == 0;
    }
    r->column_count = r->cells;
    if (fine && !kind)
        fine = fault_add(f, FAULT_UNACCEPTABLE, "kind", "required", "the first line names the columns, and one of them is 'kind'");
    return fine;
}

/* ---- feeding ---- */

/* A record has ended; says what csv_feed returns. */
static enum csv_step finish(struct csv_reader *r, struct fault *f)
{
    if (r->text.failed && !r->text.too_large) {
        r->failed = true;
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
        return CSV_FAILED;
    }
    if (r->text.length == 0 && !fault_set(&r->broken)) { /* an empty line, or nothing but separators */
        start_record(r);
        return CSV_MORE;
    }
    if (!r->in_header) {
        r->ready = true;
        return CSV_RECORD;
    }
    r->failed = !read_header(r, f);
    r->in_header = false;
    start_record(r);
    return r->failed ? CSV_FAILED : CSV_MORE;
}

static bool byte_order_mark(struct csv_reader *r, char c)
{
    static const char mark[] = "\xEF\xBB\xBF";
    if (r->bom < 0 || r->bom == 3 || c != mark[r->bom]) {
        for (int i = 0; r->bom < 3 && i < r->bom; i++) { /* not a mark after all */
            keep(r, mark[i]);
            r->state = PLAIN;
        }
        r->bom = -1;
        return false;
    }
    r->bom++;
    return true;
}

enum csv_step csv_feed(struct csv_reader *r, const char *bytes, size_t n, size_t *used, struct fault *f)
{
    *used = 0;
    if (r->failed) {
        fault_add(f, FAULT_UNACCEPTABLE, "", "not-readable", "the header of this file could not be read");
        return CSV_FAILED;
    }
    if (r->ready)
        start_record(r);
    if (n == 0) {
        if (r->state == QUOTED)
            broken(r, "unclosed-quote", "a quote is opened here and never closed");
        if (r->state == CELL_START && r->cells == 0)
            return CSV_MORE;
        end_cell(r);
        return finish(r, f);
    }
    while (*used < n) {
        bool again;
        if (r->bom >= 0 && byte_order_mark(r, bytes[*used])) {
            ++*used;
            continue;
        }
        bool ended = take(r, bytes[*used], &again);
        *used += !again;
        if (ended)
            return finish(r, f);
    }
    return CSV_MORE;
}

/* ---- a record as JSON ---- */

static bool one_cell(struct csv_reader *r, int i, struct buffer *json, const struct column *columns, struct fault *f)
{
    size_t n;
    const char *text = cell(r, i, &n);
    if (n == 0)
        return true;
    if (i >= r->column_count || r->column[i] < 0)
        return fault_add(f, FAULT_UNACCEPTABLE, "", "too-many-cells", "cell %d has no column in the header; check the separator", i + 1);
    const struct column *c = &columns[r->column[i]];
    bool textual = c->type == CELL_TEXT || c->type == CELL_WORD;
    if (textual && text[0] == '\'' && csv_needs_guard(text + 1, n - 1))
        text++, n--;
    return cell_json(json, c->name, c->type, text, n, r->style, f);
}

bool csv_record_json(struct csv_reader *r, struct buffer *json, long *line, struct fault *f)
{
    int count;
    const struct column *columns = csv_columns(&count);
    *line = r->record_line;
    if (fault_set(&r->broken)) {
        fault_merge(f, &r->broken, "");
        return false;
    }
    bool fine = true;
    size_t before = json->length;
    buffer_char(json, '{');
    for (int i = 0; i < r->cells; i++)
        fine = one_cell(r, i, json, columns, f) && fine;
    buffer_char(json, '}');
    if (json->failed)
        return json->too_large
                   ? fault_add(f, FAULT_UNACCEPTABLE, "", "line-too-long", "this record is longer than %zu bytes", json->max - before)
                   : fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    return fine;
}
