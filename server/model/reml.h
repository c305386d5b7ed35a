/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Plain restricted maximum likelihood on sd ≥ 0: average-information steps in log sd with σ profiled out, and zeros by the derivative in the variance.
 */
#ifndef BIASBOOK_MODEL_REML_H
#define BIASBOOK_MODEL_REML_H

#include "estimate.h"

/* From where `e` stands to the optimum; ends with a value (no inverse) there. False: fault set. */
bool reml_run(struct estimate *e, int most_evaluations, struct fault *f);

#endif
