/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A club drawn from the row equation itself, with its truth, for tests of the estimator's numbers.
 */
#ifndef TESTS_MODEL_INVENTED_H
#define TESTS_MODEL_INVENTED_H

#include "../../server/model/club.h"
#include "dense.h"

struct invented {
    struct lot lot;
    int decks, stocks, tapes_each, rows;
    double readings;   /* share of rows with readings */
    double misentries; /* share of rows whose bias is off by 3 dB */
    struct deck *deck;
    struct stock *stock;
    struct calibration *row;
    double (*deck_truth)[2], (*stock_truth)[2], (*class_truth)[2], (*pair_truth)[2];
    bool *misentry;
};
/* Sizes as set in `v`; everything else is made. */
void invent(struct invented *v, uint64_t seed);
void invented_free(struct invented *v);
double invented_truth(const struct invented *v, int deck, int stock, int response);
/* A model that knows the decks and stocks, and no result. */
struct model *invented_model(const struct invented *v);
/* All of it into the model, rows in the order given (NULL: as made). */
void invented_put(const struct invented *v, struct model *m, const int *order);
struct model_question invented_question(const struct invented *v, int deck, int stock);

#endif
