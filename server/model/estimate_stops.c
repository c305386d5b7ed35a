/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What stopped rows add to the gradient. Row i lies d = ±1 beyond y, α = d·(y − fit)/scale, λ = normal_hazard(α), c = λ(λ − α) = dλ/dα its curvature,
 * c' = dc/dα = c·(2λ − α) − λ. In the criterion stand −2·log tail(α) and, within log|M|, its weight w = c/scale². With s = d log scale²/d log σ:
 *
 *   of log σ itself   −λ·α·s + h·(−½·c'·α − c)·s/scale²,   h = z'M⁻¹z
 *
 * An ordinary row's weight does not depend on the fit; this one's does, so log|M| also moves with the effects as these follow the sds:
 *
 *   q = d log|M|/d fit = −h·c'·d/scale³,   a = M⁻¹·S·X'q
 *   by log sd of a block   2·Σ a_j·u_j over its columns
 *   by log σ               Σ (X·S·a)_i·d score_i,   d score = −s·w·r (ordinary),   −½·d·s·(c·α + λ)/scale (stopped)
 */
#include "estimate_parts.h"

#include "../ground/memory.h"
#include "normal_hazard.h"

struct stop_slopes {
    double own, score;    /* by log σ: of F with the fit held; of the score */
    double weight_by_fit; /* dw/d fit */
};

static struct stop_slopes slopes_of(const struct estimate *e, int i)
{
    const struct estimate_input *in = &e->in;
    double sigma = exp(e->log_sigma[in->kind[i]]), s2 = estimate_scale2(e, i), s = sqrt(s2), d = in->stop[i];
    double alpha = d * (in->y[i] - e->fit[i]) / s, lambda = normal_hazard(alpha), c = lambda * (lambda - alpha);
    double bend = c < STOP_SPENT ? 0 : c * (2 * lambda - alpha) - lambda, share = 2 * sigma * sigma * in->v[i] / s2;
    return (struct stop_slopes){.own =
                                    -lambda * alpha * share - e->leverage[i] * (0.5 * bend * alpha + (c < STOP_SPENT ? 0 : c)) * share / s2,
                                .score = -0.5 * d * share * (c * alpha + lambda) / s,
                                .weight_by_fit = -bend * d / (s2 * s)};
}

/* a, from q in its place: columns. */
static bool follow(const struct estimate *e, double *a)
{
    const struct design *d = e->in.design;
    for (int i = 0; i < d->rows; i++)
        if (e->in.kind[i] < e->in.kinds && estimate_stopped(&e->in, i)) {
            double q = e->leverage[i] * slopes_of(e, i).weight_by_fit;
            for (int k = d->start[i]; k < d->start[i + 1]; k++)
                a[d->column[k]] += q * d->value[k] * e->scale[d->column[k]];
        }
    return normal_solve(e->in.normal, a, 1);
}

static double row_slope(const struct estimate *e, int i, const double *a)
{
    const struct estimate_input *in = &e->in;
    const struct design *d = in->design;
    double t = 0;
    for (int k = d->start[i]; k < d->start[i + 1]; k++)
        t += d->value[k] * e->scale[d->column[k]] * a[d->column[k]];
    if (estimate_stopped(in, i)) {
        struct stop_slopes s = slopes_of(e, i);
        return s.own + t * s.score;
    }
    double sigma = exp(e->log_sigma[in->kind[i]]), share = 2 * sigma * sigma * in->v[i] / estimate_scale2(e, i);
    return -t * share * e->w[i] * (in->y[i] - e->fit[i]);
}

bool estimate_stopped_gradient(struct estimate *e)
{
    const struct estimate_input *in = &e->in;
    if (!e->stops)
        return true;
    double *a = mem_zero((size_t)in->design->columns + 1, sizeof *a), sigma_slope[ESTIMATE_KINDS] = {0};
    if (!a || !follow(e, a)) {
        mem_free(a);
        return false;
    }
    for (int i = 0; i < in->design->rows; i++)
        if (in->kind[i] < in->kinds)
            sigma_slope[in->kind[i]] += row_slope(e, i, a);
    for (int p = 0; p < e->parameters; p++) {
        int b = e->parameter_block[p];
        if (b >= in->blocks)
            e->gradient[p] += sigma_slope[b - in->blocks];
        else
            for (int j = in->first[b]; j < in->first[b] + in->size[b]; j++)
                e->gradient[p] += 2 * a[j] * e->u[j];
    }
    mem_free(a);
    return true;
}
