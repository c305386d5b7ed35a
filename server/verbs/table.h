/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A CSV file of RFC 4180 as a table of named columns, for `fit`. The whole file is held in memory; cells point into it.
 * Lenient where programs differ: byte order mark, LF or CRLF, a last line without end, blank lines. Strict: quotes must close, every row has as many
 * cells as the header, names differ.
 */
#ifndef BIASBOOK_VERBS_TABLE_H
#define BIASBOOK_VERBS_TABLE_H

#include "../ground/fault.h"

#include <stddef.h>
#include <stdint.h>

struct cell {
    const char *text; /* not NUL-terminated */
    size_t length;
};
struct table {
    char *bytes;
    int columns, rows;
    struct cell *names;
    struct cell *cells; /* rows × columns */
    int *line;          /* of each row, from 1 */
    int row_room;
};
/* False and a fault that names the line. table_free is due in any case. */
bool table_read(struct table *t, const char *path, struct fault *f);
void table_free(struct table *t);
int table_column(const struct table *t, const char *name, size_t length); /* −1 */

/* A column as finite numbers (mem_alloc'ed, NULL and a fault that names column, line and cell). */
double *table_numbers(const struct table *t, int column, struct fault *f) __attribute__((warn_unused_result));

/* Different texts of one or two columns, numbered in order of appearance. */
struct levels {
    int count, room;
    struct cell *first, *second; /* of each level; second empty for one column */
    size_t slots;
    int *index;
};
void levels_free(struct levels *l);
/* Level of each row (mem_alloc'ed). `grow` false: −1 for what is not there yet. second_column −1 = none. NULL: out of memory, or an empty cell (fault set). */
int *table_levels(const struct table *t, int column, int second_column, struct levels *l, bool grow, struct fault *f)
    __attribute__((warn_unused_result));

#endif
