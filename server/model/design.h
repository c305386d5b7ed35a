/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The design of a mixed model as a sparse table: which effects (columns) each row touches, and with what value.
 *
 * Columns are numbered from 0. A block is a run of columns with one variance in common (a grouping factor); columns in no block are
 * fixed effects with a flat prior. Values do not change after design_close; weights and responses live elsewhere, so that one
 * design serves both responses.
 */
#ifndef BIASBOOK_MODEL_DESIGN_H
#define BIASBOOK_MODEL_DESIGN_H

#include <stdbool.h>

struct design {
    int rows, columns;
    int *start;  /* rows + 1: entries of row i are start[i] … start[i+1] − 1 */
    int *column; /* distinct within a row */
    double *value;
    int row_room, entry_room; /* private: allocated sizes */
    bool failed;              /* memory ran out while adding */
};

void design_init(struct design *d, int columns);
void design_free(struct design *d);
/* Appends an entry to the row under way; a value of 0 is kept (the pattern counts). A second entry of the same column adds up. */
void design_add(struct design *d, int column, double value);
void design_end_row(struct design *d);
/* True when all rows and entries found memory. */
bool design_close(const struct design *d);

/* out = X·effects, for all rows; X'·(w∘y) added into `out` (columns). */
void design_times(const struct design *d, const double *effects, double *out);
void design_transposed_times(const struct design *d, const double *w, const double *y, double *out);

#endif
