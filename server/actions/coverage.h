/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How much one more result of a pair would teach about all pairs: the arithmetic behind "try next".
 *
 * The prediction of deck d with stock s is D + S + P (deck, stock, what is particular to the pair). A result with noise variance N lowers the variance
 * of any prediction q by cov(q, D + S + P)²/(V + N), V = var(D + S + P). Predictions on the same deck share D with it, those of the same stock share S:
 *
 *   cov with D = Vd + C,  cov with S = Vs + C,  C = cov(D, S) = (V − Vd − Vs − Vp)/2
 *
 * What other decks and stocks owe to each other beside that is left out, so it is an approximation, good for ranking. dB².
 */
#ifndef BIASBOOK_ACTIONS_COVERAGE_H
#define BIASBOOK_ACTIONS_COVERAGE_H

struct coverage_pair {
    double whole;            /* V */
    double deck, deck_other; /* Vd with the stock's class, and what the deck shares with other classes */
    double stock;            /* Vs */
    double pair;             /* Vp */
    double noise;            /* N */
    int same_class;          /* other stocks of this class that fit the deck */
    int other_class;         /* stocks of other classes that fit it */
    int decks;               /* other decks that take the stock */
};
/* The fall in the sum of variances over all pairs; >= 0. */
double coverage_fall(const struct coverage_pair *p);

#endif
