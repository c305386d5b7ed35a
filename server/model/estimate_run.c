/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The way to the mode: damped average-information steps, weights renewed between them; and effects alone with the sds held.
 */
#include "estimate.h"

#include "../ground/memory.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define LARGEST_STEP 1.5    /* in log sd */
#define FLOOR        (-9.0) /* log sd: 0.1 mdB is nothing */
#define CEILING      5.0
#define TOLERANCE    1e-7
#define HALVINGS     8
#define STOP_ROUNDS  8    /* Newton steps of stopped rows; they begin at their stops and take three to six */
#define EFFECT_STILL 0.02 /* change of a weight that is none; what is served then stands within some 0.01 dB of where it would end */
#define MANY_EFFECTS 6000
#define LARGE_ROUNDS 5
#define LARGE_STILL  0.3 /* scales that a stopped row may still move when a factor is dear */

static bool fail_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while estimating");
}

double *estimate_parameter(struct estimate *e, int p)
{
    int b = e->parameter_block[p];
    return b < e->in.blocks ? &e->log_sd[b] : &e->log_sigma[b - e->in.blocks];
}

/* A Newton step in log sd, bent to where the criterion's known shape has its bottom. With v the variance, an sd the rows know well makes
 * q·log v + B/v: −½·log(1 − 2·step) goes there at once. One that they pull towards 0 makes c·v − log v: ½·log(1 + 2·step). */
static double bent(double step, double pulled)
{
    double well = -0.5 * log(1 - 2 * fmin(step, 0.45));
    if (step < 0)
        well = pulled * 0.5 * log(1 + 2 * fmax(step, -0.475)) + (1 - pulled) * well;
    return fmax(-LARGEST_STEP, fmin(LARGEST_STEP, well));
}

/* H is the information.
 * step = −(H + damping·diag H)⁻¹·g, bent; returns the decrement −step'·g. */
double estimate_step(const struct estimate *e, double step[ESTIMATE_PARAMETERS])
{
    int m = e->parameters;
    double damping = 0;
    for (int attempt = 0; attempt<12; attempt++, damping = damping> 0 ? damping * 10 : 1e-6) {
        double h[ESTIMATE_PARAMETERS * ESTIMATE_PARAMETERS];
        for (int p = 0; p < m; p++) {
            for (int k = 0; k < m; k++)
                h[p * m + k] = e->information[p * ESTIMATE_PARAMETERS + k];
            h[p * m + p] += damping * h[p * m + p] + 1e-9;
            step[p] = -e->gradient[p];
        }
        if (LAPACKE_dposv_work(LAPACK_COL_MAJOR, 'L', m, 1, h, m, step, m) == 0)
            break;
        for (int p = 0; p < m; p++)
            step[p] = -e->gradient[p] / (e->information[p * ESTIMATE_PARAMETERS + p] + 1);
    }
    double decrement = 0;
    for (int p = 0; p < m; p++) {
        decrement -= step[p] * e->gradient[p];
        step[p] = bent(step[p], e->pulled[p]);
    }
    return decrement;
}

static void move(struct estimate *e, const double *from, const double *step, double share)
{
    for (int p = 0; p < e->parameters; p++) {
        double x = from[p] + share * step[p];
        *estimate_parameter(e, p) = x < FLOOR ? FLOOR : x > CEILING ? CEILING : x;
    }
}

/* Tries the step and shorter ones until F falls; false: none does. */
bool estimate_search(struct estimate *e, const double *step, double before, enum factor_result *result)
{
    double from[ESTIMATE_PARAMETERS], share = 1, allowed = 1e-9 * (1 + fabs(before)) + 0.2 * e->stops;
    for (int p = 0; p < e->parameters; p++)
        from[p] = *estimate_parameter(e, p);
    for (int k = 0; k < HALVINGS; k++, share *= 0.4) {
        move(e, from, step, share);
        *result = estimate_value(e);
        if (*result == FACTOR_MEMORY)
            return false;
        if (*result == FACTOR_DONE && e->objective <= before + allowed)
            return true;
    }
    move(e, from, step, 0);
    *result = estimate_value(e);
    return false;
}

bool estimate_run(struct estimate *e, int most_evaluations, const atomic_bool *stop, struct fault *f)
{
    bool first = true;
    double step[ESTIMATE_PARAMETERS], change = 1, done = e->in.tolerance > 0 ? e->in.tolerance : TOLERANCE, still = sqrt(done);
    enum factor_result r = estimate_value(e);
    e->reason = ESTIMATE_NOT_CONVERGED;
    for (;;) {
        if (r == FACTOR_NOT_DEFINITE)
            return fault_add(f, FAULT_INTERNAL, "", "not-definite", "the equations of the model lost their positive definiteness");
        if (r == FACTOR_MEMORY || !estimate_invert(e))
            return fail_memory(f);
        /* weights that were given and not worked out here have no tangent yet: then no value to fall below */
        double before = first ? INFINITY : e->objective;
        first = false;
        change = estimate_reweigh(e);
        if (!estimate_gradient(e))
            return fail_memory(f);
        if (e->parameters == 0 || e->used[0] + e->used[1] == 0) {
            e->reason = ESTIMATE_PRIOR_ONLY;
            break;
        }
        double decrement = estimate_step(e, step);
        if (decrement < done && change < still && e->moved < still) {
            e->reason = ESTIMATE_CONVERGED;
            break;
        }
        if (stop && *stop) {
            e->reason = ESTIMATE_STOPPED;
            break;
        }
        if (e->evaluations >= most_evaluations) {
            e->reason = ESTIMATE_EVALUATIONS;
            break;
        }
        if (!estimate_search(e, step, before, &r) && r == FACTOR_DONE && change < still) {
            e->reason = decrement < 100 * done ? ESTIMATE_CONVERGED : ESTIMATE_NOT_CONVERGED;
            return estimate_invert(e) || fail_memory(f);
        }
    }
    return true;
}

bool estimate_effects(struct estimate *e, int rounds, struct fault *f)
{
    double still = EFFECT_STILL, change = 1;
    bool large = e->in.design->columns > MANY_EFFECTS, fresh = false; /* large: weights on the way go without leverages */
    e->reason = ESTIMATE_HELD;
    if (large) {
        rounds = rounds > LARGE_ROUNDS ? LARGE_ROUNDS : rounds;
        still = fmax(still, LARGE_STILL);
    }
    for (int k = 0;; k++) {
        enum factor_result r = estimate_value(e);
        if (r == FACTOR_NOT_DEFINITE)
            return fault_add(f, FAULT_INTERNAL, "", "not-definite", "the equations of the model lost their positive definiteness");
        if (r == FACTOR_MEMORY)
            return fail_memory(f);
        /* stopped rows move with the effects as weights do; while they still run, weights may follow beyond `rounds` */
        bool moving = e->moved > still, settled = !moving && change < still;
        if (k >= rounds + STOP_ROUNDS || (!moving && k >= rounds) || (settled && (fresh || large)))
            break;
        /* an inverse costs twice a factor and leverages hardly change on the way: they are looked at first and, for good, last */
        fresh = !large && (k == 0 || settled);
        if (fresh && !estimate_invert(e))
            return fail_memory(f);
        change = estimate_reweigh(e);
        if (!moving && change < still && (fresh || large))
            break;
    }
    return estimate_invert(e) || fail_memory(f);
}
