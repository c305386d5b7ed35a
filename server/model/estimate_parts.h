/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What estimate.c (one point), estimate_gradient.c (its derivatives) and estimate_stops.c (what stopped rows add to them) share; nobody else includes it.
 */
#ifndef BIASBOOK_MODEL_ESTIMATE_PARTS_H
#define BIASBOOK_MODEL_ESTIMATE_PARTS_H

#include "estimate.h"

#include <math.h>

#define STOP_SPENT 1e-10 /* curvature of a stopped row from which on it is long past its stop: nothing to learn */

/* −2 log of the half-t(3) prior of sd with scale A, as a density of ℓ = log sd; its two derivatives. The mode is at sd = A. */
double estimate_prior(double log_sd, double scale, double *slope, double *curvature);
/* After the inverse: adds to the gradient what comes of the stopped rows. False: out of memory. */
bool estimate_stopped_gradient(struct estimate *e);

static inline bool estimate_stopped(const struct estimate_input *in, int i)
{
    return in->stop && in->stop[i];
}

/* Nothing but σ² scales the rows: then their leverages are needed only in sum, and that is the count of columns less what the priors hold. */
static inline bool estimate_plain(const struct estimate_input *in)
{
    return in->robust.kind == ROBUST_NONE && !in->s2 && in->kinds == 1 && !in->stop;
}

static inline double estimate_square(const struct estimate *e, int i)
{
    double r = e->working_y[i] - e->fit[i];
    return r * r + e->leverage[i];
}
#endif
