/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Changes that nobody wrote down: a deck whose results jump, for both dials together, begins an era of its own there, as after a service that resets it.
 * A step has to stand out beside a straight drift; what it takes is far above what chance gives a quiet deck.
 */
#ifndef BIASBOOK_MODEL_BREAKS_H
#define BIASBOOK_MODEL_BREAKS_H

#include "club_fit.h"

#define BREAK_EVIDENCE 21.0 /* drop of the sum of squares, in variances of a row, both responses added */
#define BREAK_ROWS     4    /* at least so many results on either side */
#define BREAKS_A_DECK  3

/* Looks at the fit's residuals and puts the eras it finds into `x` (the facts the fit was opened with); *found counts them. False: out of memory. */
bool breaks_find(const struct club_fit *fit, struct facts *x, int *found);

#endif
