/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * When average-information steps do not get there: sequential quadratic programming (Kraft 1988, as NLopt's SLSQP) on log sd with the exact
 * gradient, weights held. Rare; the record of the fit says so by its evaluations.
 */
#include "estimate.h"

#include <math.h>
#include <nlopt.h>

#define LOWEST  (-9.0)
#define HIGHEST 5.0
#define STILL   1e-6 /* in log sd */

struct search_state {
    struct estimate *e;
    enum factor_result worst;
};

static double objective(unsigned n, const double *x, double *slope, void *user)
{
    struct search_state *s = user;
    for (unsigned p = 0; p < n; p++)
        *estimate_parameter(s->e, (int)p) = x[p];
    enum factor_result r = estimate_value(s->e);
    if (r == FACTOR_DONE && slope && !estimate_gradient(s->e))
        r = FACTOR_MEMORY;
    if (r != FACTOR_DONE) {
        s->worst = r;
        for (unsigned p = 0; slope && p < n; p++)
            slope[p] = 0;
        return HUGE_VAL;
    }
    for (unsigned p = 0; slope && p < n; p++)
        slope[p] = s->e->gradient[p];
    return s->e->objective;
}

bool estimate_fall_back(struct estimate *e, int most_evaluations, struct fault *f)
{
    struct search_state s = {.e = e, .worst = FACTOR_DONE};
    double x[ESTIMATE_PARAMETERS], best = 0;
    for (int p = 0; p < e->parameters; p++)
        x[p] = fmin(fmax(*estimate_parameter(e, p), LOWEST), HIGHEST);
    nlopt_opt o = nlopt_create(NLOPT_LD_SLSQP, (unsigned)e->parameters);
    bool ok = o && nlopt_set_min_objective(o, objective, &s) > 0 && nlopt_set_lower_bounds1(o, LOWEST) > 0 &&
              nlopt_set_upper_bounds1(o, HIGHEST) > 0 && nlopt_set_xtol_abs1(o, STILL) > 0 && nlopt_set_maxeval(o, most_evaluations) > 0;
    nlopt_result r = ok ? nlopt_optimize(o, x, &best) : NLOPT_OUT_OF_MEMORY;
    nlopt_destroy(o);
    if (!ok || r == NLOPT_OUT_OF_MEMORY || s.worst == FACTOR_MEMORY)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while estimating");
    for (int p = 0; p < e->parameters; p++)
        *estimate_parameter(e, p) = x[p];
    e->reason = r > 0 && r != NLOPT_MAXEVAL_REACHED ? ESTIMATE_CONVERGED : ESTIMATE_NOT_CONVERGED;
    if (estimate_value(e) != FACTOR_DONE || !estimate_invert(e))
        return fault_add(f, FAULT_INTERNAL, "", "not-definite", "the equations of the model lost their positive definiteness");
    return true;
}
