/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Is it what its label says? A tape, a batch or a whole stock that wants a setting far from its class is weighed against the other classes of its medium; and
 * how alike the tapes (or batches) of one stock are. Pure.
 *
 * A deck is switched to the class on the label, and its presets are class by class. So a tape of another class shows the difference between what the two classes
 * need: label_need_db. These figures are common practice from memory, and rough; the sd that goes with them says so.
 */
#ifndef BIASBOOK_TRADE_LABEL_H
#define BIASBOOK_TRADE_LABEL_H

#include "records.h"

#define LABEL_NEED_SD_DB  1.2  /* dB of bias, how far a tape of another class may lie from the difference of the two needs */
#define LABEL_LEVEL_SD_DB 1.5  /* dB of level likewise, about no difference */
#define LABEL_WRONG       0.05 /* share of stocks, batches and tapes that are not what the label says, before any result; from memory */

/* Bias that tapes of a class need against Type I (cassette) or standard output (reel), dB. */
double label_need_db(enum tape_class c);

struct label_evidence {
    double apart[2];    /* bias, level: what it wants minus what its label lets expect, dB */
    double variance[2]; /* of that difference, from the results alone */
    double spread[2];   /* sd by which things of that label differ among each other */
};
struct label_odds {
    double right;              /* probability that it is what the label says */
    double as[CLASS_COUNT];    /* that it behaves like each class; as[label] = right; other media 0 */
    enum tape_class otherwise; /* the likeliest other class */
};
/* What differs inside its label is taken as Student's t with eight degrees of freedom, so that a merely odd tape is not called another class. */
void label_weigh(enum tape_class label, const struct label_evidence *e, struct label_odds *out);

/* ---- how alike are groups (tapes, batches)? ---- */
struct label_group {
    double mean, variance; /* of the mean of its results, from their own scatter and number; dB, dB² */
};
/* Standard deviation between groups, by moments, leaning on `usual` with the weight of LABEL_USUAL_GROUPS groups; `usual` when there are fewer than two. A group
 * further out than three times what is usual counts as that far: one odd group does not make the rest differ. */
#define LABEL_USUAL_GROUPS 5.0
double label_spread(const struct label_group *groups, int count, double usual);
#define LABEL_STOCK_SD_DB 0.8 /* between stocks of one class, bias and level: about ±1 dB; from memory, low confidence */
#endif
