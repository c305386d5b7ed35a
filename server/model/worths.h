/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a mark of a `learn` dial is worth, from tapes that other decks know: their needs differ by so many dB, and the dial was turned by so many marks. A line of
 * the deck's results on what the rest of the club says of each stock, within each class, has the slope units a dB.
 */
#ifndef BIASBOOK_MODEL_WORTHS_H
#define BIASBOOK_MODEL_WORTHS_H

#include "club_fit.h"

#define WORTH_ROWS      6 /* results at least */
#define WORTH_ELSEWHERE 3 /* results that its stock must have on other decks for a row to count */
#define WORTH_SPREAD                                                                                                                       \
    0.5 /* dB²: the needs' squared distances from their class's mean, added up; below it they differ by no more than their errors */
#define WORTH_ODD     5.0 /* further from what is believed of any dial, it is not the dial */
#define WORTH_CERTAIN 3.0 /* the slope must stand so many errors above 0 */

/* Puts what it finds into the decks of `x` (the facts that the fit was opened with, in which no worth stood yet); *found counts them. False: out of memory. */
bool worths_find(const struct club_fit *fit, const struct equation_options *o, struct facts *x, int *found);

#endif
