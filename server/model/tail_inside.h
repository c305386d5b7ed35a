/* SPDX-License-Identifier: GPL-3.0-or-later
 * What tail.c (arithmetic) and tail_levels.c (names) share. */
#ifndef BIASBOOK_MODEL_TAIL_INSIDE_H
#define BIASBOOK_MODEL_TAIL_INSIDE_H

#include "flat_rows.h"
#include "tail.h"

#define TAIL_ROWS    256
#define TAIL_ENTRIES (BLOCKS + 8)

struct tail_row {
    int fact, count;
    bool gone; /* taken out, nothing put in */
    int column[TAIL_ENTRIES];
    double value[TAIL_ENTRIES];
    double y[RESPONSES], precision[RESPONSES]; /* precision 0: not in this response */
};
struct tail_update {
    double *k[RESPONSES]; /* NULL: this response was not touched */
    double s[RESPONSES];
    int columns; /* length of k */
};
struct tail_level { /* a level that the full solve did not know */
    enum block block;
    struct level_key key;
    int effect;
};
struct tail {
    struct club_fit *fit;
    struct tables *t;
    int most, count;
    struct tail_update *update;
    int facts_known;
    int *equation_row; /* fact -> row of the equation, −1 */
    double *phi_base, *phi_timeless, *phi_stock;
    int row_count;
    struct tail_row row[TAIL_ROWS];
    int level_count;
    struct tail_level level[ROOM_EFFECTS];
    double prior[ROOM_EFFECTS][RESPONSES]; /* prior variance of effects beyond the fit's */
};

/* C·x over all columns (mem_alloc'ed); NULL: out of memory. */
double *tail_covariance(struct tail *w, enum response r, const struct tail_row *x) __attribute__((warn_unused_result));
/* The columns and values of a calibration; new levels are made. False: it needs a full solve. */
bool tail_levels(struct tail *w, const struct facts *x, const struct fact_row *row, struct tail_row *out);
/* Counts of rows; `row` NULL when it only goes. */
void tail_count(struct tail *w, const struct tail_row *x, const struct fact_row *row, int by);

#endif
