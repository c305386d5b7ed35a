/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One whole estimate of a club's variances, with what goes along with them: jumps nobody wrote down, what marks of `learn` dials are worth, weights, ranges.
 */
#ifndef BIASBOOK_MODEL_CLUB_ESTIMATE_H
#define BIASBOOK_MODEL_CLUB_ESTIMATE_H

#include "club_fit.h"

/* Sets out from `v` and puts the result there; into the facts what was found (eras, worths) and the rows' weights. `fit` is left open as it ended, for what comes after:
 * club_fit_free is due in any case. False: fault set, or *stop. */
bool club_estimate(struct facts *x, const struct slope_table *slopes, struct variances *v, struct club_fit *fit, const atomic_bool *stop,
                   struct fault *f);

#endif
