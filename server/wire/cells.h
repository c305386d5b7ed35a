/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Text that people or spreadsheets wrote, cell by cell, into the JSON that the record readers take: shared by CSV and the form. Not for other rooms.
 */
#ifndef BIASBOOK_WIRE_CELLS_H
#define BIASBOOK_WIRE_CELLS_H

#include "members.h"

enum cell_type {
    CELL_TEXT, /* as it is */
    CELL_WORD, /* spaces around it do not count: choices, times, ids */
    CELL_NUMBER,
    CELL_FLAG, /* true, false, yes, no, on, off, 1, 0 in any case */
    CELL_JSON, /* an object or array */
};
enum number_style { NUMBER_POINT, NUMBER_COMMA, NUMBER_EITHER };

enum cell_type cell_type_of(const struct member *m);

/* A decimal number as people write it: spaces around it, a leading +, a true minus sign (U+2212) are fine. Comma or point by `style`; both together never. */
bool cell_number(const char *field, const char *text, size_t n, enum number_style style, double *out, struct fault *f);
/* Appends `"name":value`; an empty cell (or only spaces where they do not count) appends nothing. */
bool cell_json(struct buffer *json, const char *name, enum cell_type type, const char *text, size_t n, enum number_style style,
               struct fault *f);

/* The columns of CSV: every member of every kind of line once, `kind` first, in an order of which each kind's own order is a part. */
struct column {
    const char *name;
    enum cell_type type;
};
const struct column *csv_columns(int *count);
/* Whether a text cell would be taken for a formula by a spreadsheet (or already wears the apostrophe that keeps it from it). */
bool csv_needs_guard(const char *text, size_t n);

#endif
