/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The driver of flat fits. Some six evaluations for a large table.
 */
#include "reml.h"

#include <math.h>

#define SMALL_RATIO (-5.0) /* log(sd/σ) below which an sd that rows still pull down is put to 0 */
#define PROBE_RATIO (-6.0) /* where the derivative in the variance of a zero is looked at */
#define AGAIN_RATIO (-2.0) /* where a zero that wants to grow starts again */
#define STILL       3e-5   /* in log sd: stop by x */
#define NOTHING     1e-12  /* of the criterion: tables of a few rows never come nearer */

static bool fail(enum factor_result r, struct fault *f)
{
    if (r == FACTOR_NOT_DEFINITE)
        return fault_add(f, FAULT_UNACCEPTABLE, "", "not-definite",
                         "the table does not determine the model: a covariate is made up of the others, or the rows are too few");
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while estimating");
}

static double ratio(const struct estimate *e, int block)
{
    return e->log_sd[block] - e->log_sigma[0];
}

/* Puts to 0 what is nearly there and still falls; true when any was. */
static bool drop_zeros(struct estimate *e)
{
    bool any = false;
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        if (b < e->in.blocks && ratio(e, b) < SMALL_RATIO && e->gradient[p] > 0) {
            e->log_sd[b] = -INFINITY;
            any = true;
        }
    }
    if (any)
        estimate_list_parameters(e);
    return any;
}

static enum factor_result value(struct estimate *e)
{
    enum factor_result r = estimate_value(e);
    if (r == FACTOR_DONE)
        estimate_profile(e);
    return r;
}

static bool run_inside(struct estimate *e, int most, struct fault *f)
{
    double step[ESTIMATE_PARAMETERS];
    enum factor_result r = value(e);
    for (;;) {
        if (r != FACTOR_DONE || !estimate_gradient(e))
            return fail(r == FACTOR_DONE ? FACTOR_MEMORY : r, f);
        if (drop_zeros(e)) {
            r = value(e);
            continue;
        }
        double decrement = estimate_step(e, step), largest = 0, before = e->objective;
        for (int p = 0; p < e->parameters; p++)
            largest = fmax(largest, fabs(step[p]));
        bool last = largest < STILL || decrement < NOTHING;
        if (e->evaluations >= most)
            return estimate_fall_back(e, 4 * most, f);
        if (!estimate_search(e, step, before, &r) && r == FACTOR_DONE) {
            e->reason = ESTIMATE_CONVERGED;
            return last || decrement < 1e-6 || estimate_fall_back(e, 4 * most, f); /* no step falls: only rounding is left */
        }
        if (r != FACTOR_DONE)
            return fail(r, f);
        estimate_profile(e);
        if (last) {
            e->reason = ESTIMATE_CONVERGED;
            return true;
        }
    }
}

/* The derivative in the variance of each zero, looked at just beside it. Those that want to grow are let go; *any tells. */
static bool probe_zeros(struct estimate *e, bool *any, struct fault *f)
{
    bool zero[ESTIMATE_BLOCKS] = {false};
    *any = false;
    for (int b = 0; b < e->in.blocks; b++)
        if (e->in.size[b] > 0 && isinf(e->log_sd[b])) {
            zero[b] = true;
            e->log_sd[b] = e->log_sigma[0] + PROBE_RATIO;
        }
    estimate_list_parameters(e);
    enum factor_result r = value(e);
    if (r != FACTOR_DONE || !estimate_gradient(e))
        return fail(r == FACTOR_DONE ? FACTOR_MEMORY : r, f);
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        if (b >= e->in.blocks || !zero[b])
            continue;
        bool grows = e->gradient[p] < 0;
        *any |= grows;
        e->log_sd[b] = grows ? e->log_sigma[0] + AGAIN_RATIO : -INFINITY;
    }
    estimate_list_parameters(e);
    return true;
}

bool reml_run(struct estimate *e, int most, struct fault *f)
{
    for (int round = 0; round < 4; round++) {
        if (!run_inside(e, most, f))
            return false;
        bool zeros = false, grows = false;
        for (int b = 0; b < e->in.blocks; b++)
            zeros |= e->in.size[b] > 0 && isinf(e->log_sd[b]);
        if (!zeros)
            return true;
        enum estimate_reason reason = e->reason;
        if (!probe_zeros(e, &grows, f))
            return false;
        if (!grows) {
            enum factor_result r = value(e);
            e->reason = reason;
            return r == FACTOR_DONE || fail(r, f);
        }
    }
    e->reason = ESTIMATE_NOT_CONVERGED;
    enum factor_result r = value(e);
    return r == FACTOR_DONE || fail(r, f);
}
