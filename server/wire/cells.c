/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See cells.h.
 */
#include "cells.h"

#include "utf8.h"

#include <pthread.h>
#include <string.h>
#include <strings.h>

enum cell_type cell_type_of(const struct member *m)
{
    switch (m->type) {
    case MEMBER_SLUG:
    case MEMBER_CHOICE:
    case MEMBER_TIME:
    case MEMBER_UUID: return CELL_WORD;
    case MEMBER_NUMBER:
    case MEMBER_WHOLE:
    case MEMBER_LARGE:
    case MEMBER_PLACE: return CELL_NUMBER;
    case MEMBER_FLAG: return CELL_FLAG;
    case MEMBER_INNER: return CELL_JSON;
    case MEMBER_TEXT:
    case MEMBER_YEAR:
    case MEMBER_NOTES:
    case MEMBER_SERVER: break;
    }
    return CELL_TEXT;
}

static void trim(const char **text, size_t *n)
{
    while (*n && strchr(" \t\r\n", **text) && **text)
        ++*text, --*n;
    while (*n && strchr(" \t\r\n", (*text)[*n - 1]) && (*text)[*n - 1])
        --*n;
}

/* A cell of a detail: not too long, nothing but valid UTF-8. */
static const char *shown(const char *text, size_t n, char out[41])
{
    size_t used = 0;
    while (n) {
        size_t step = utf8_step(text, n);
        if (!step || used + step > 40 || (unsigned char)*text < 0x20)
            break;
        memcpy(out + used, text, step);
        used += step, text += step, n -= step;
    }
    out[used] = '\0';
    return out;
}

#define REFUSE(...) fault_add(f, FAULT_UNACCEPTABLE, __VA_ARGS__)

bool cell_number(const char *field, const char *text, size_t n, enum number_style style, double *out, struct fault *f)
{
    char plain[LIMIT_NUMBER_TEXT + 1], show[41];
    size_t length = 0, commas = 0, points = 0;
    trim(&text, &n);
    if (n > LIMIT_NUMBER_TEXT)
        return REFUSE(field, "not-a-number", "this is too long for a number");
    for (size_t i = 0; i < n; i++) {
        commas += text[i] == ',';
        points += text[i] == '.';
        if (i == 0 && n >= 3 && !memcmp(text, "\xE2\x88\x92", 3)) {
            plain[length++] = '-';
            i = 2;
        } else {
            plain[length++] = text[i] == ',' ? '.' : text[i];
        }
    }
    shown(text, n, show);
    if (commas && points)
        return REFUSE(field, "comma-and-point",
                      "'%s' has a comma and a point; write one of them, for the decimals, and none for the thousands", show);
    if (commas && style == NUMBER_POINT)
        return REFUSE(field, "decimal-comma", "'%s' has a comma; write a decimal point, or declare decimal commas for the whole file",
                      show);
    if (points && style == NUMBER_COMMA)
        return REFUSE(field, "decimal-point",
                      "'%s' has a point although decimal commas are declared; write a comma, and nothing between thousands", show);
    return number_parse(plain, length, out) || REFUSE(field, "not-a-number", "'%s' is not a number", show);
}

static bool flag(struct buffer *json, const char *name, const char *text, size_t n, struct fault *f)
{
    static const char *const words[] = {"true", "false", "yes", "no", "on", "off", "1", "0"};
    char show[41];
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strlen(words[i]) == n && !strncasecmp(words[i], text, n)) {
            json_member_flag(json, name, i % 2 == 0);
            return true;
        }
    return REFUSE(name, "not-a-flag", "'%s' is neither true nor false", shown(text, n, show));
}

static bool inner(struct buffer *json, const char *name, const char *text, size_t n, struct fault *f)
{
    struct fault why = {0};
    struct document d;
    bool nested = document_parse(&d, text, n, &why) && (json_is_object(d.root) || json_is_array(d.root));
    if (nested) {
        json_name(json, name);
        json_value(json, d.root);
    }
    document_free(&d);
    if (nested)
        return true;
    if (why.kind == FAULT_MEMORY)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    return REFUSE(name, "not-json", "this cell holds JSON text, an object or an array: %s",
                  why.count ? why.items[0].detail : "it is neither");
}

static bool text_cell(struct buffer *json, const char *name, const char *text, size_t n, struct fault *f)
{
    if (!utf8_valid(text, n))
        return REFUSE(name, "not-utf-8", "there are bytes that are not UTF-8; save the file as UTF-8");
    if (memchr(text, '\0', n))
        return REFUSE(name, "control-character", "there is a NUL character in it; take it out");
    char copy[256];
    if (n < sizeof copy) {
        memcpy(copy, text, n);
        copy[n] = '\0';
        json_member_text(json, name, copy);
        return true;
    }
    char *large = mem_alloc(n + 1);
    if (!large)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    memcpy(large, text, n);
    large[n] = '\0';
    json_member_text(json, name, large);
    mem_free(large);
    return true;
}

bool cell_json(struct buffer *json, const char *name, enum cell_type type, const char *text, size_t n, enum number_style style,
               struct fault *f)
{
    double x;
    if (type != CELL_TEXT)
        trim(&text, &n);
    if (n == 0)
        return true;
    switch (type) {
    case CELL_TEXT:
    case CELL_WORD: return text_cell(json, name, text, n, f);
    case CELL_NUMBER:
        if (!cell_number(name, text, n, style, &x, f))
            return false;
        json_member_number(json, name, x);
        return true;
    case CELL_FLAG: return flag(json, name, text, n, f);
    case CELL_JSON: return inner(json, name, text, n, f);
    }
    return true;
}

/* ---- columns ---- */

static struct column columns[LIMIT_CSV_COLUMNS];
static int column_count;

/* Each new member goes right after the one before it in its own table. */
static void merge(const struct member *table)
{
    int at = 1; /* after kind */
    for (; table->name; table++) {
        if (table->type == MEMBER_SERVER)
            continue;
        int found = 0;
        while (found < column_count && strcmp(columns[found].name, table->name))
            found++;
        if (found < column_count) {
            at = found + 1;
            continue;
        }
        if (column_count == LIMIT_CSV_COLUMNS)
            return; /* cannot happen: a test counts them */
        memmove(columns + at + 1, columns + at, (size_t)(column_count - at) * sizeof *columns);
        columns[at++] = (struct column){table->name, cell_type_of(table)};
        column_count++;
    }
}

static void merge_all(void)
{
    columns[column_count++] = (struct column){"kind", CELL_WORD};
    merge(deck_members);
    merge(stock_members);
    merge(calibration_members);
    merge(service_line_members);
    merge(check_line_members);
    for (const struct member *m = line_members; m->name; m++) /* after all others, as they are written */
        if (m->type != MEMBER_SERVER)
            columns[column_count++] = (struct column){m->name, cell_type_of(m)};
    for (const struct member *m = line_end_members; m->name; m++)
        if (m->type != MEMBER_SERVER)
            columns[column_count++] = (struct column){m->name, cell_type_of(m)};
}

const struct column *csv_columns(int *count)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, merge_all);
    *count = column_count;
    return columns;
}

bool csv_needs_guard(const char *text, size_t n)
{
    double x;
    static const char starts[] = "=+-@\t\r\n";
    if (n == 0 || number_parse(text, n, &x))
        return false;
    if (memchr(starts, text[0], sizeof starts - 1))
        return true;
    return text[0] == '\'' && n > 1 && (text[1] == '\'' || memchr(starts, text[1], sizeof starts - 1));
}
