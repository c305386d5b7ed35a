/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Effects and variances of one response: the joint mode in the logarithms of the standard deviations, with robust weights.
 *
 *   y = X·effect + e,  effect_j ~ N(0, sd_block²),  scale_i² = σ_kind²·v_i + s2_i,  e_i/scale_i heavy-tailed
 *
 * With the weights τ held, the criterion is −2 log of the marginal likelihood plus −2 log of the priors of log sd (Jacobian included):
 *
 *   F = Σ log scale_i² + log|M| + Σ τ_i x_i + |u|² + Σ (ρ(x'_i) − τ_i x'_i) − 2 Σ log prior,   τ_i = τ(x'_i)
 *
 * x_i = r_i²/scale_i², x'_i = (r_i² + z_i'M⁻¹z_i)/scale_i² where the weights were last renewed (robust.h). F is a tangent from above to the
 * robust criterion, so it falls at every step, whichever of sds and weights is moved.
 * Steps: average information (Gilmour, Thompson & Cullis, Biometrics 51, 1995) in log sd.
 *
 * A stopped row (stop ±1) says only that the wanted value lies beyond y: it enters by log Φ, as a working row of weight
 * λ(λ − α)/scale² at its present prediction.
 */
#ifndef BIASBOOK_MODEL_ESTIMATE_H
#define BIASBOOK_MODEL_ESTIMATE_H

#include "normal.h"
#include "robust.h"

#include <math.h>
#include <stdatomic.h>

#define ESTIMATE_BLOCKS     24
#define ESTIMATE_KINDS      2
#define ESTIMATE_PARAMETERS (ESTIMATE_BLOCKS + ESTIMATE_KINDS)

struct estimate_input {
    const struct design *design;
    struct normal *normal; /* used, not owned */
    int blocks;
    int first[ESTIMATE_BLOCKS], size[ESTIMATE_BLOCKS];
    double prior[ESTIMATE_BLOCKS]; /* half-t(3) scale of the sd; 0 = none */
    const double *known_sd;        /* per column: of columns in no block their prior sd, 0 = flat prior */
    const double *y, *v;
    const double *s2;          /* NULL = 0 */
    const unsigned char *kind; /* 0, 1, or 255 = tells nothing */
    const signed char *stop;   /* NULL = none */
    int kinds;
    double sigma_prior;                         /* 0 = none */
    double start[ESTIMATE_BLOCKS], sigma_start; /* sds to start from; 0 = the prior's scale */
    struct robust robust;
    double tolerance; /* stop when a step promises less of F than this and weights move less than its root; 0 = 1e-7 */
};

enum estimate_reason {
    ESTIMATE_CONVERGED,
    ESTIMATE_PRIOR_ONLY,
    ESTIMATE_EVALUATIONS,
    ESTIMATE_STOPPED,
    ESTIMATE_NOT_CONVERGED,
    ESTIMATE_HELD
};
const char *estimate_reason_text(enum estimate_reason r);

struct estimate {
    struct estimate_input in;
    /* the answer */
    double log_sd[ESTIMATE_BLOCKS], log_sigma[ESTIMATE_KINDS];
    double *effect;      /* columns */
    double *tau;         /* rows */
    double *slack;       /* rows: ρ(x') − τx' */
    double *w;           /* rows: weight in the normal equations, 0 = unused */
    double *fit;         /* rows: X·effect */
    double *leverage;    /* rows: variance of fit, valid when `inverted` */
    double *variance;    /* columns: posterior variance of each effect, valid when `inverted` */
    double *scale, *add; /* columns */
    double objective;
    double
        moved; /* largest change of a stopped row's prediction in the last evaluation, in scales: how far its working row is from settled */
    long evaluations;
    enum estimate_reason reason;
    bool inverted;
    int used[ESTIMATE_KINDS]; /* rows of each kind */
    int stops;                /* stopped rows: their working rows move with the effects, so F need not fall at each step */
    /* of the last gradient */
    int parameters;
    int parameter_block[ESTIMATE_PARAMETERS]; /* block, or blocks + kind */
    double gradient[ESTIMATE_PARAMETERS];
    double information[ESTIMATE_PARAMETERS * ESTIMATE_PARAMETERS]; /* the average information, bent (estimate_gradient) */
    double pulled[ESTIMATE_PARAMETERS]; /* share of the curvature that comes from rows pulling the sd towards 0 */
    /* private */
    double *u, *working_y, *direction;
    double average[ESTIMATE_PARAMETERS * ESTIMATE_PARAMETERS]; /* the average information alone, where it was last worked out */
    double average_at[ESTIMATE_PARAMETERS];                    /* the log sds there */
    int average_parameters, average_age;                       /* 0 parameters: never; evaluations of the gradient since */
};

/* scale² of row i, of a kind that counts, at the sds as they stand. */
static inline double estimate_scale2(const struct estimate *e, int i)
{
    double sigma = exp(e->log_sigma[e->in.kind[i]]);
    return sigma * sigma * e->in.v[i] + (e->in.s2 ? e->in.s2[i] : 0);
}

/* Starts at the priors, all weights 1. False: out of memory; then estimate_free is still due. */
bool estimate_init(struct estimate *e, const struct estimate_input *in);
void estimate_free(struct estimate *e);

/* An sd at exactly 0 (log_sd −∞) is no parameter; call after changing which are. */
void estimate_list_parameters(struct estimate *e);
/* One point: weights from τ and the sds, factor, effects, objective. FACTOR_NOT_DEFINITE is for the caller to judge. */
enum factor_result estimate_value(struct estimate *e);
/* After a value: the inverse (variances, leverages). */
bool estimate_invert(struct estimate *e);
/* After the inverse: gradient of F and the average information, by log sd. τ may have been reweighed since (it is then F's
 * gradient with the weights at their best, but for what they do to the effects). False: out of memory. */
bool estimate_gradient(struct estimate *e);
/* After the inverse: τ from the present residuals; returns the largest change. */
double estimate_reweigh(struct estimate *e);

/* Without priors, s2 and robust weights one factor on all sds is free: puts it where F is least, without a new factorisation. */
void estimate_profile(struct estimate *e);

/* The steps of estimate_run, for drivers with other rules of stopping. */
double *estimate_parameter(struct estimate *e, int p);
/* Newton's step bent to the criterion's shape; returns the decrement −step'·gradient it started from. */
double estimate_step(const struct estimate *e, double step[ESTIMATE_PARAMETERS]);
/* Takes the step, or a shorter one, so that F falls below `before`; false: none does, and the sds stand where they were. */
bool estimate_search(struct estimate *e, const double *step, double before, enum factor_result *result);

/* Moves the sds (and weights) to the mode. `*stop` true gives up. */
bool estimate_run(struct estimate *e, int most_evaluations, const atomic_bool *stop, struct fault *f);
/* The same by NLopt's SLSQP with the weights held, for when the steps above do not get there. */
bool estimate_fall_back(struct estimate *e, int most_evaluations, struct fault *f);
/* Sds held: effects and weights only, `rounds` times reweighed. Ends with the inverse in place. */
bool estimate_effects(struct estimate *e, int rounds, struct fault *f);

#endif
