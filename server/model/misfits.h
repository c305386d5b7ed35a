/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows that nothing but their own effect believes. Weights follow residuals, and a misentry that is the only result of its tape or deck leaves none: the effect
 * goes where the row says. So each row is also asked what the others would have foretold for it.
 */
#ifndef BIASBOOK_MODEL_MISFITS_H
#define BIASBOOK_MODEL_MISFITS_H

#include "club_fit.h"

#define MISFIT_REST 1e-6 /* share of a fitted value that is not the row itself; below it nothing else speaks of the row */

/* Takes weight from the rows that the others contradict, in a fit that has run; the next steps set out from there. */
void misfits_doubt(struct club_fit *fit);

#endif
