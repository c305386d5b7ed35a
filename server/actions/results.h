/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The results of one deck or one stock, read once for a page of knowledge: each with its flat equivalent, what the model makes of it part by part, and
 * names made small. Decks and stocks are the view's own; the view must be held as long as the results are used.
 */
#ifndef BIASBOOK_ACTIONS_RESULTS_H
#define BIASBOOK_ACTIONS_RESULTS_H

#include "../live/live.h"
#include "../model/outlook.h"
#include "../store/reader.h"
#include "exchange.h"

struct result {
    struct uuid id;
    int64_t made_at_us;
    int made_at_offset_minutes;
    const struct deck *deck;
    const struct stock *stock;
    int tape, batch, member; /* numbers of names; -1 = not said. Tapes and batches of different stocks have different numbers */
    const char *left_out;    /* NULL: the fit sees it */
    enum channel channel;
    enum bias_method method;
    int recordings;            /* -1 = not known */
    bool settled, stopped;     /* a dial ran out */
    double reading[RESPONSES]; /* dials as typed */
    struct outlook_row is;     /* what it says, and what the model makes of it part by part */
    double low_balance_db, high_balance_db, unsteady_db, peak_db;
};

struct results {
    struct result *rows; /* by time */
    int count, room;
    bool more;                /* older ones than LIMIT_RESULTS exist */
    int name_count;           /* tapes, batches and members have numbers below it */
    struct name_table *names; /* private */
};

/* Reads those of this deck, or stock (the other NULL). False and a fault. results_free in any case. */
bool results_read(const struct view *v, struct reader *r, const char *deck, const char *stock, struct results *out, struct fault *f);
void results_free(struct results *r);
/* The text behind a number; for tapes and batches without the stock. */
const char *results_name(const struct results *r, int name);
/* How many different names (tapes, batches, members) `name` gives; -1 of it counts for none. -1: out of memory. */
int results_distinct(const struct results *r, int (*name)(const struct result *row));
void json_member_text_or_null(struct buffer *b, const char *name, const char *text);

/* Answers a 404 fault and returns NULL when the path's first capture is no deck (stock) of the club. */
const struct deck *captured_deck(const struct view *v, const struct exchange *x, struct fault *f);
const struct stock *captured_stock(const struct view *v, const struct exchange *x, struct fault *f);
/* The club's decks (or stocks) of a medium (MEDIUM_NONE = all) as one array in the arena; NULL: out of memory. */
const struct deck **catalog_decks(const struct view *v, struct arena *a, enum medium medium, int *count);
const struct stock **catalog_stocks(const struct view *v, struct arena *a, enum medium medium, int *count);

#endif
