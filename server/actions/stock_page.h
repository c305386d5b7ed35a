/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the answer about one stock is made of, shared by statistics.c (reads it, writes most of it) and stock_label.c (is it what its label says).
 */
#ifndef BIASBOOK_ACTIONS_STOCK_PAGE_H
#define BIASBOOK_ACTIONS_STOCK_PAGE_H

#include "groups.h"

/* Everything one answer is made of; the arrays have one place a result. */
struct stock_page {
    const struct view *view;
    const struct stock *stock;
    struct outlook_stock outlook;
    struct results results;
    struct groups decks, tapes, batches, whole;
    const struct deck **deck; /* by the keys of `decks` */
    int deck_count;
    int *key;
    double *numbers;
};

/* Appends "label": the whole stock, and the batches and tapes that behave like another class. False: out of memory. */
bool stock_page_label(struct buffer *b, const struct stock_page *p, struct arena *arena);
/* Appends "sheet": the maker's figure against what was found; null without one. */
void stock_page_sheet(struct buffer *b, const struct stock_page *p);

#endif
