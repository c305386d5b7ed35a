/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One point of the criterion: weights, effects, value, gradient, average information. Some ten times a fit; see the header for the formulas.
 */
#include "estimate.h"

#include "../ground/memory.h"
#include "normal_hazard.h"

#include <math.h>
#include <string.h>

#define PRIOR_NU     3.0
#define AVERAGE_AGE  4    /* gradients that one average information serves at most */
#define AVERAGE_NEAR 0.05 /* and how far the log sds may have moved since */

const char *estimate_reason_text(enum estimate_reason r)
{
    static const char *const text[] = {"converged",         "prior only",    "stopped: evaluations",
                                       "stopped: asked to", "not converged", "variances held"};
    return text[r];
}

bool estimate_init(struct estimate *e, const struct estimate_input *in)
{
    *e = (struct estimate){.in = *in};
    size_t n = (size_t)in->design->rows + 1, p = (size_t)in->design->columns + 1;
    double **by_row[] = {&e->tau, &e->slack, &e->w, &e->fit, &e->leverage, &e->working_y, &e->direction};
    double **by_column[] = {&e->effect, &e->variance, &e->scale, &e->add, &e->u};
    bool ok = true;
    for (size_t i = 0; i < sizeof by_row / sizeof *by_row; i++)
        ok = (*by_row[i] = mem_zero(n, sizeof(double))) && ok;
    for (size_t i = 0; i < sizeof by_column / sizeof *by_column; i++)
        ok = (*by_column[i] = mem_zero(p, sizeof(double))) && ok;
    if (!ok)
        return false;
    for (int b = 0; b < in->blocks; b++)
        e->log_sd[b] = log(in->start[b] > 0 ? in->start[b] : in->prior[b]);
    for (int k = 0; k < in->kinds; k++)
        e->log_sigma[k] = log(in->sigma_start > 0 ? in->sigma_start : in->sigma_prior);
    for (int i = 0; i < in->design->rows; i++) {
        e->tau[i] = 1;
        e->fit[i] = in->y[i];
        if (in->kind[i] >= in->kinds)
            continue;
        e->used[in->kind[i]]++;
        e->stops += in->stop && in->stop[i];
    }
    estimate_list_parameters(e);
    return true;
}

void estimate_list_parameters(struct estimate *e)
{
    e->parameters = 0;
    e->average_parameters = 0; /* they may be others by the same number */
    for (int b = 0; b < e->in.blocks; b++)
        if (e->in.size[b] > 0 && isfinite(e->log_sd[b]))
            e->parameter_block[e->parameters++] = b;
    for (int k = 0; k < e->in.kinds; k++)
        if (e->used[k])
            e->parameter_block[e->parameters++] = e->in.blocks + k;
}

void estimate_free(struct estimate *e)
{
    double *all[] = {e->tau,       e->slack,  e->w,        e->fit,   e->leverage, e->working_y,
                     e->direction, e->effect, e->variance, e->scale, e->add,      e->u};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        mem_free(all[i]);
    *e = (struct estimate){0};
}

/* ---- value ---- */

static void set_scales(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    for (int j = 0; j < in->design->columns; j++) {
        double sd = in->known_sd[j];
        e->scale[j] = sd == 0 ? exp(e->log_sigma[0]) : sd < 0 ? 0 : sd; /* negative: this column does not count */
        e->add[j] = sd == 0 ? 0 : 1;
    }
    for (int b = 0; b < in->blocks; b++) {
        double sd = exp(e->log_sd[b]);
        for (int j = in->first[b]; j < in->first[b] + in->size[b]; j++) {
            e->scale[j] = sd;
            e->add[j] = 1;
        }
    }
}

static bool stopped(const struct estimate_input *in, int i)
{
    return in->stop && in->stop[i];
}

static double scale2(const struct estimate *e, int i)
{
    double sigma = exp(e->log_sigma[e->in.kind[i]]);
    return sigma * sigma * e->in.v[i] + (e->in.s2 ? e->in.s2[i] : 0);
}

/* Weights and working responses; returns Σ log scale² over ordinary rows. */
static double set_weights(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    double sum = 0;
    for (int i = 0; i < in->design->rows; i++) {
        e->w[i] = 0;
        e->working_y[i] = in->y[i];
        if (in->kind[i] >= in->kinds)
            continue;
        double s2 = scale2(e, i);
        if (!stopped(in, i)) {
            e->w[i] = e->tau[i] / s2;
            sum += log(s2);
            continue;
        }
        double s = sqrt(s2), alpha = in->stop[i] * (in->y[i] - e->fit[i]) / s, lambda = normal_hazard(alpha);
        double curvature = lambda * (lambda - alpha);
        if (curvature < 1e-10)
            continue; /* long past the stop: nothing to learn */
        e->w[i] = curvature / s2;
        e->working_y[i] = e->fit[i] + in->stop[i] * s * lambda / curvature;
    }
    return sum;
}

static double residual_terms(const struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    double sum = 0;
    for (int i = 0; i < in->design->rows; i++) {
        if (in->kind[i] >= in->kinds)
            continue;
        if (stopped(in, i)) {
            double alpha = in->stop[i] * (in->y[i] - e->fit[i]) / sqrt(scale2(e, i));
            sum -= 2 * normal_log_tail(alpha);
            continue;
        }
        double r = in->y[i] - e->fit[i];
        sum += e->w[i] * r * r;
        sum += e->slack[i];
    }
    return sum;
}

/* −2 log of the half-t(3) prior of sd with scale A, as a density of ℓ = log sd; its two derivatives. The mode is at sd = A. */
static double prior_value(double log_sd, double scale, double *slope, double *curvature)
{
    *slope = *curvature = 0;
    if (!(scale > 0))
        return 0;
    double t = exp(2 * (log_sd - log(scale))) / PRIOR_NU, share = t / (1 + t);
    *slope = -2 + 2 * (PRIOR_NU + 1) * share;
    *curvature = 4 * (PRIOR_NU + 1) * share * (1 - share);
    return -2 * log_sd + (PRIOR_NU + 1) * log1p(t);
}

static double prior_terms(const struct estimate *e)
{
    double sum = 0, slope, curvature;
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        sum += b < e->in.blocks ? prior_value(e->log_sd[b], e->in.prior[b], &slope, &curvature)
                                : prior_value(e->log_sigma[b - e->in.blocks], e->in.sigma_prior, &slope, &curvature);
    }
    return sum;
}

static void predict(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    e->moved = 0;
    for (int i = 0; i < in->design->rows && in->stop; i++)
        e->direction[i] = e->fit[i];
    design_times(in->design, e->effect, e->fit);
    for (int i = 0; i < in->design->rows && in->stop; i++)
        if (in->kind[i] < in->kinds && stopped(in, i))
            e->moved = fmax(e->moved, fabs(e->fit[i] - e->direction[i]) / sqrt(scale2(e, i)));
}

enum factor_result estimate_value(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    const struct design *d = in->design;
    e->inverted = false;
    e->evaluations++;
    set_scales(e);
    double sum = set_weights(e);
    enum factor_result r = normal_factor(in->normal, e->w, e->scale, e->add);
    if (r != FACTOR_DONE)
        return r;
    memset(e->u, 0, (size_t)d->columns * sizeof *e->u);
    design_transposed_times(d, e->w, e->working_y, e->u);
    for (int j = 0; j < d->columns; j++)
        e->u[j] *= e->scale[j];
    if (!normal_solve(in->normal, e->u, 1))
        return FACTOR_MEMORY;
    for (int j = 0; j < d->columns; j++) {
        e->effect[j] = e->scale[j] * e->u[j];
        sum += e->add[j] * e->u[j] * e->u[j];
        if (e->add[j] == 0)
            sum -= 2 * e->log_sigma[0]; /* a flat column's scale of σ is only a unit */
    }
    predict(e);
    e->objective = sum + normal_log_determinant(in->normal) + residual_terms(e) + prior_terms(e);
    return isfinite(e->objective) ? FACTOR_DONE : FACTOR_NOT_DEFINITE;
}

/* ---- derivatives ---- */

/* Nothing but σ² scales the rows: then their leverages are needed only in sum, and that is the count of columns less what the priors hold. */
static bool plain(const struct estimate_input *in)
{
    return in->robust.kind == ROBUST_NONE && !in->s2 && in->kinds == 1 && !in->stop;
}

void estimate_profile(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    double q = 0, fixed = 0;
    for (int i = 0; i < in->design->rows; i++) {
        double r = in->y[i] - e->fit[i];
        q += e->w[i] * r * r;
    }
    for (int j = 0; j < in->design->columns; j++) {
        q += e->add[j] * e->u[j] * e->u[j];
        fixed += e->add[j] == 0;
    }
    double free_rows = e->used[0] - fixed, c2 = q / free_rows;
    if (!(c2 > 0) || !isfinite(c2))
        return;
    double c = sqrt(c2);
    e->objective += free_rows * log(c2) + q * (1 / c2 - 1);
    for (int b = 0; b < in->blocks; b++)
        e->log_sd[b] += log(c);
    e->log_sigma[0] += log(c);
    for (int i = 0; i < in->design->rows; i++)
        e->w[i] /= c2;
    for (int j = 0; j < in->design->columns; j++) {
        e->u[j] /= c;
        e->scale[j] *= c;
    }
}

bool estimate_invert(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    if (e->inverted)
        return true;
    if (!normal_invert(in->normal))
        return false;
    normal_inverse_diagonal(in->normal, e->variance);
    if (!plain(in))
        normal_leverage(in->normal, e->leverage);
    e->inverted = true;
    return true;
}

static double expected_square(const struct estimate *e, int i)
{
    double r = e->working_y[i] - e->fit[i];
    return r * r + e->leverage[i];
}

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
    for (int i = 0; i < in->design->rows && !plain(in); i++)
        if (in->kind[i] < in->kinds && !stopped(in, i)) {
            int k = in->kind[i];
            double sigma = exp(e->log_sigma[k]), s2 = scale2(e, i), share = 2 * sigma * sigma * in->v[i] / s2;
            double x = expected_square(e, i) / s2, tx = e->tau[i] * x;
            sigma_slope[k] += share * (1 - tx);
            all[k] += tx;
            some[k] += tx * fmax(robust_left(&in->robust, x), 0);
        }
    if (plain(in))
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
            prior_value(e->log_sd[b], in->prior[b], &slope, &curvature);
            e->gradient[p] = 2 * sum + slope;
        } else {
            prior_value(e->log_sigma[b - in->blocks], in->sigma_prior, &slope, &curvature);
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
        } else if (in->kind[i] == b - in->blocks && !stopped(in, i)) {
            double sigma = exp(e->log_sigma[in->kind[i]]);
            out[i] = 2 * sigma * sigma * in->v[i] / scale2(e, i) * (in->y[i] - e->fit[i]);
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
    if (!renew_average(e))
        return false;
    memcpy(e->information, e->average, sizeof e->information);
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        double slope, curvature;
        if (b < e->in.blocks)
            prior_value(e->log_sd[b], e->in.prior[b], &slope, &curvature);
        else
            prior_value(e->log_sigma[b - e->in.blocks], e->in.sigma_prior, &slope, &curvature);
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

double estimate_reweigh(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    double most = 0;
    if (in->robust.kind == ROBUST_NONE)
        return 0;
    for (int i = 0; i < in->design->rows; i++) {
        if (in->kind[i] >= in->kinds || stopped(in, i))
            continue;
        double x = expected_square(e, i) / scale2(e, i), tau = robust_weight(&in->robust, x);
        e->slack[i] = robust_loss(&in->robust, x) - tau * x;
        double change = fabs(tau - e->tau[i]);
        most = change > most ? change : most;
        e->tau[i] = tau;
    }
    return most;
}
