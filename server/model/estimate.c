/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One point of the criterion: weights, effects, value, the inverse, robust weights. Some ten times a fit; see the header for the formulas.
 */
#include "estimate_parts.h"

#include "../ground/memory.h"
#include "normal_hazard.h"

#include <math.h>
#include <string.h>

#define PRIOR_NU 3.0

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
        double s2 = estimate_scale2(e, i);
        if (!estimate_stopped(in, i)) {
            e->w[i] = e->tau[i] / s2;
            sum += log(s2);
            continue;
        }
        double s = sqrt(s2), alpha = in->stop[i] * (in->y[i] - e->fit[i]) / s, lambda = normal_hazard(alpha);
        double curvature = lambda * (lambda - alpha);
        if (curvature < STOP_SPENT)
            continue;
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
        if (estimate_stopped(in, i)) {
            double alpha = in->stop[i] * (in->y[i] - e->fit[i]) / sqrt(estimate_scale2(e, i));
            sum -= 2 * normal_log_tail(alpha);
            continue;
        }
        double r = in->y[i] - e->fit[i];
        sum += e->w[i] * r * r;
        sum += e->slack[i];
    }
    return sum;
}

double estimate_prior(double log_sd, double scale, double *slope, double *curvature)
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
        sum += b < e->in.blocks ? estimate_prior(e->log_sd[b], e->in.prior[b], &slope, &curvature)
                                : estimate_prior(e->log_sigma[b - e->in.blocks], e->in.sigma_prior, &slope, &curvature);
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
        if (in->kind[i] < in->kinds && estimate_stopped(in, i))
            e->moved = fmax(e->moved, fabs(e->fit[i] - e->direction[i]) / sqrt(estimate_scale2(e, i)));
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

/* ---- after a value ---- */

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
    if (!estimate_plain(in))
        normal_leverage(in->normal, e->leverage);
    e->inverted = true;
    return true;
}

double estimate_reweigh(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    double most = 0;
    if (in->robust.kind == ROBUST_NONE)
        return 0;
    for (int i = 0; i < in->design->rows; i++) {
        if (in->kind[i] >= in->kinds || estimate_stopped(in, i))
            continue;
        double x = estimate_square(e, i) / estimate_scale2(e, i), tau = robust_weight(&in->robust, x);
        e->slack[i] = robust_loss(&in->robust, x) - tau * x;
        double change = fabs(tau - e->tau[i]);
        most = change > most ? change : most;
        e->tau[i] = tau;
    }
    return most;
}
