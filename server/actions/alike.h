/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Stocks beside one stock on one deck: what GET …/alike and the map share.
 */
#ifndef BIASBOOK_ACTIONS_ALIKE_H
#define BIASBOOK_ACTIONS_ALIKE_H

#include "results.h"
#include "suggest.h"

#define ALIKE_WITHIN_DB 0.5

struct alike_row {
    const struct stock *stock;
    double mean[RESPONSES];     /* its setting on the deck */
    long pair, of_stock;        /* results of it there, and in all */
    struct outlook_apart apart; /* against the stock asked about */
    double chance;              /* that it needs the same within so many dB, on every dial the deck has */
    bool alike;                 /* its prediction does */
};
struct alike {
    const struct deck *deck;
    const struct stock *stock;
    double within_db;
    double mean[RESPONSES]; /* setting of the stock asked about */
    double se[RESPONSES];
    struct alike_row *rows; /* the likeliest first; in the arena */
    int count;
};
/* Reads deck and within_db from the parameters; without a deck, the one on which the stock was logged most. False and a fault. */
bool alike_make(const struct view *v, const struct exchange *x, const struct stock *s, struct alike *out, struct fault *f);

#endif
