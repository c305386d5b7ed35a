/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Slope of the criterion by log sd, and its average information. Once a step; see estimate.h for the formulas.
 */
#include "estimate_parts.h"

#include "../ground/memory.h"

#include <string.h>

#define AVERAGE_AGE  4    /* gradients that one average information serves at most */
#define AVERAGE_NEAR 0.05 /* and how far the log sds may have moved since */

static double plain_slope(const struct estimate *e)
{
    double sum = e->used[0];
    for (int i = 0; i < e->in.design->rows; i++) {
        double r = e->in.y[i] - e->fit[i];
        sum -= e->w[i] * r * r;
    }
    for (int j = 0; j < e->in.design->columns; j++)
        sum -= e->add[j] == 0 ? 1 : 1 - e->variance[j];
    return 2 * sum;
}

/* `left`: of the information about σ, what remains when the weights follow it: the mean of
 * d log(τx)/d log x weighed by τx, x = E r²/scale². */
static void gradient(struct estimate *e, double left[ESTIMATE_KINDS])
{
    const struct estimate_input *in = &e->in;
    double sigma_slope[ESTIMATE_KINDS] = {0}, all[ESTIMATE_KINDS] = {0}, some[ESTIMATE_KINDS] = {0};
    for (int i = 0; i < in->design->rows && !estimate_plain(in); i++)
        if (in->kind[i] < in->kinds && !estimate_stopped(in, i)) {
            int k = in->kind[i];
            double sigma = exp(e->log_sigma[k]), s2 = estimate_scale2(e, i), share = 2 * sigma * sigma * in->v[i] / s2;
            double x = estimate_square(e, i) / s2, tx = e->tau[i] * x;
            sigma_slope[k] += share * (1 - tx);
            all[k] += tx;
            some[k] += tx * fmax(robust_left(&in->robust, x), 0);
        }
    if (estimate_plain(in))
        sigma_slope[0] = plain_slope(e);
    for (int k = 0; k < ESTIMATE_KINDS; k++)
        left[k] = all[k] > 0 ? some[k] / all[k] : 1;
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        double slope, curvature, sum;
        if (b < in->blocks) {
            sum = in->size[b];
            for (int j = in->first[b]; j < in->first[b] + in->size[b]; j++)
                sum -= e->variance[j] + e->u[j] * e->u[j];
            estimate_prior(e->log_sd[b], in->prior[b], &slope, &curvature);
            e->gradient[p] = 2 * sum + slope;
        } else {
            estimate_prior(e->log_sigma[b - in->blocks], in->sigma_prior, &slope, &curvature);
            e->gradient[p] = sigma_slope[b - in->blocks] + slope;
        }
    }
}

/* Derivative of the marginal covariance times P·y: 2·Z·effect for a block, 2σ²v/scale²·r for a kind of row. */
static void direction_of(const struct estimate *e, int b, double *out)
{
    const struct estimate_input *in = &e->in;
    const struct design *d = in->design;
    for (int i = 0; i < d->rows; i++) {
        out[i] = 0;
        if (in->kind[i] >= in->kinds)
            continue;
        if (b < in->blocks) {
            for (int k = d->start[i]; k < d->start[i + 1]; k++)
                if (d->column[k] >= in->first[b] && d->column[k] < in->first[b] + in->size[b])
                    out[i] += 2 * d->value[k] * e->effect[d->column[k]];
        } else if (in->kind[i] == b - in->blocks && !estimate_stopped(in, i)) {
            double sigma = exp(e->log_sigma[in->kind[i]]);
            out[i] = 2 * sigma * sigma * in->v[i] / estimate_scale2(e, i) * (in->y[i] - e->fit[i]);
        }
    }
}

/* q_p'·P·q_k for all parameters, P·q = w∘(q − X·fitted). */
static bool average_information(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    const struct design *d = in->design;
    int m = e->parameters;
    size_t rows = (size_t)d->rows, columns = (size_t)d->columns;
    double *q = mem_zero((size_t)m + 1, (rows + 1) * sizeof *q), *x = mem_zero((size_t)m + 1, (columns + 1) * sizeof *x);
    bool ok = q && x;
    for (int p = 0; ok && p < m; p++) {
        direction_of(e, e->parameter_block[p], q + (size_t)p * rows);
        design_transposed_times(d, e->w, q + (size_t)p * rows, x + (size_t)p * columns);
        for (size_t j = 0; j < columns; j++)
            x[(size_t)p * columns + j] *= e->scale[j];
    }
    ok = ok && normal_solve(in->normal, x, m);
    for (int p = 0; ok && p < m; p++) {
        double *solved = x + (size_t)p * columns;
        for (size_t j = 0; j < columns; j++)
            solved[j] *= e->scale[j];
        design_times(d, solved, e->direction);
        for (size_t i = 0; i < rows; i++)
            e->direction[i] = e->w[i] * (q[(size_t)p * rows + i] - e->direction[i]);
        for (int k = 0; k <= p; k++) {
            double sum = 0;
            for (size_t i = 0; i < rows; i++)
                sum += e->direction[i] * q[(size_t)k * rows + i];
            e->average[p * ESTIMATE_PARAMETERS + k] = e->average[k * ESTIMATE_PARAMETERS + p] = sum;
        }
    }
    mem_free(q);
    mem_free(x);
    return ok;
}

/* The average information costs as much as a factorisation and changes little where the steps are short: a Newton step with one of a moment ago ends at
 * the same place, since the gradient is exact. */
static bool renew_average(struct estimate *e)
{
    bool near = e->average_parameters == e->parameters && e->average_age < AVERAGE_AGE;
    for (int p = 0; near && p < e->parameters; p++)
        near = fabs(*estimate_parameter(e, p) - e->average_at[p]) < AVERAGE_NEAR;
    if (near) {
        e->average_age++;
        return true;
    }
    if (!average_information(e))
        return false;
    e->average_parameters = e->parameters;
    e->average_age = 0;
    for (int p = 0; p < e->parameters; p++)
        e->average_at[p] = *estimate_parameter(e, p);
    return true;
}

bool estimate_gradient(struct estimate *e)
{
    if (!estimate_invert(e))
        return false;
    double left[ESTIMATE_KINDS];
    gradient(e, left);
    if (!estimate_stopped_gradient(e) || !renew_average(e))
        return false;
    memcpy(e->information, e->average, sizeof e->information);
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        double slope, curvature;
        if (b < e->in.blocks)
            estimate_prior(e->log_sd[b], e->in.prior[b], &slope, &curvature);
        else
            estimate_prior(e->log_sigma[b - e->in.blocks], e->in.sigma_prior, &slope, &curvature);
        double *own = &e->information[p * ESTIMATE_PARAMETERS + p];
        if (b >= e->in.blocks)
            *own *= left[b - e->in.blocks];
        /* d²/dℓ² = 4·sd⁴·d²/dv² + 2·d/dℓ, v = sd². The average information is the first term; where the rows pull an sd towards 0 the
         * second is what bends. */
        double pull = b < e->in.blocks ? 2 * fmax(e->gradient[p] - slope, 0) : 0;
        *own += curvature + pull;
        e->pulled[p] = pull / (*own + 1e-300);
    }
    return true;
}
