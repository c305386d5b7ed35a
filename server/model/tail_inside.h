/* SPDX-License-Identifier: GPL-3.0-or-later
 * What tail.c (arithmetic), tail_rows.c (memory), tail_weights.c, tail_levels.c (names) and tail_places.c share. */
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
    double tau[RESPONSES];                     /* of an ordinary row; 0: stopped, or not in this response */
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
struct tail_doubt { /* a result that is not believed, and what the tables said when it was weighed */
    int fact;
    enum response response;
    double predicted;
};
struct tail {
    struct club_fit *fit;
    struct tables *t;
    int most, count;
    struct tail_update *update;
    int facts_known;
    int *equation_row; /* fact -> row of the equation, −1 */
    int *changed;      /* fact -> its place in `row` + 1; facts past facts_known are looked for */
    int doubt_count, doubt_room;
    struct tail_doubt *doubt;
    int stocks_known;
    int *stock_first, *stock_next; /* the equation's facts by stock: stock -> its first fact, fact -> the next of its stock; −1 ends */
    double *phi_base, *phi_timeless, *phi_stock;
    int row_count;
    struct tail_row row[TAIL_ROWS];
    int level_count;
    struct tail_level level[ROOM_EFFECTS];
    double prior[ROOM_EFFECTS][RESPONSES]; /* prior variance of effects beyond the fit's */
};

/* What row `fact` has put into the equations so far; false: nothing. */
bool tail_present(const struct tail *w, int fact, struct tail_row *out);
double tail_predicted(const struct tail *w, enum response r, const struct tail_row *x);
/* Works one response in; `variance` is R (negative: taken out). Takes k over. The update's other response is the caller's to fill or to leave NULL, and so is
 * counting it. */
void tail_update_with(struct tail *w, enum response r, const struct tail_row *x, double *k, double y, double variance);
/* What row `fact` has put in is now `x`. False: no room. */
bool tail_remember(struct tail *w, const struct tail_row *x);

/* Lists the results that the full solve does not believe. False: out of memory. */
bool tail_doubts(struct tail *w);
/* Whether a result is not believed. */
bool tail_doubted(const struct tail_row *row, enum response r);
/* Weights of the results of row `fact`'s pair and tape, where they have become others. */
enum tail_result tail_reweigh(struct tail *w, struct facts *x, int fact, enum response r) __attribute__((warn_unused_result));

/* x·k of one of the updates. */
double tail_share(const struct tail_update *u, enum response r, const struct tail_row *x);
/* k = C·x, C that of the full solve, brought up to now. */
void tail_less(const struct tail *w, enum response r, const struct tail_row *x, double *k);
/* C·x over all columns (mem_alloc'ed), C that of the full solve and as it is now; NULL: out of memory. */
double *tail_covariance_before(struct tail *w, enum response r, const struct tail_row *x) __attribute__((warn_unused_result));
double *tail_covariance(struct tail *w, enum response r, const struct tail_row *x) __attribute__((warn_unused_result));
/* The columns and values of a calibration; new levels are made. False: it needs a full solve. */
bool tail_levels(struct tail *w, const struct facts *x, const struct fact_row *row, struct tail_row *out);

/* Counts of rows; `row` NULL when it only goes. */
void tail_count(struct tail *w, const struct tail_row *x, const struct fact_row *row, int by);

/* ---- tail_places.c: −1 or false: no room, or out of memory ---- */
int tail_effect(const struct tail *w, enum block b, const struct level_key *key); /* −1: nobody has named it yet */
int tail_stock(const struct tail *w, const struct facts *x, int stock);           /* its entry, −1 */
/* Of its family in its class, drawn if need be; else of the class. */
int tail_family_side(struct tail *w, const struct facts *x, int stock);
int tail_add_stock(struct tail *w, const struct facts *x, int stock); /* that the tables do not know: its entry */
bool tail_add_deck(struct tail *w, const struct facts *x, int deck);  /* that the tables do not know */
bool tail_add_class_base(struct tail *w, int deck, int c, int effect);
bool tail_add_model_base(struct tail *w, const struct facts *x, int model, int effect);      /* for decks of it that nobody has logged */
struct view_era *tail_era(struct tail *w, int deck, int number, const struct fact_row *row); /* NULL: a later one than the first */
void tail_widen_bases(struct tail *w, int deck, int r, double variance, bool timeless);

#endif
