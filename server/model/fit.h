/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator alone, on any table: a response, numeric covariates with flat priors, grouping factors with one variance each.
 *
 * Flat: plain REML on sd ≥ 0. The criterion is
 *   log|ΛᵀZᵀWZΛ + I| + log|RᵀR| + (n − p)(1 + log(2π·r²/(n − p))) − Σ log w
 * −2 log of the restricted likelihood without the −log|XᵀX| term: the convention of the R package lme4 (Bates, Mächler, Bolker & Walker,
 * J. Stat. Softw. 67(1), 2015). An sd of 0 is tested by the derivative in the variance and reported as `boundary`.
 *
 * Otherwise: half-t(3) priors on the sds with the response's own sd as scale, the mode taken in log sd, and rows weighed down as misentries (robust.h).
 */
#ifndef BIASBOOK_MODEL_FIT_H
#define BIASBOOK_MODEL_FIT_H

#include "../ground/fault.h"

#include <stddef.h>

#define FIT_GROUPS 12

struct fit_table {
    int rows;
    const double *y;
    const double *w; /* > 0; NULL = 1 */
    bool intercept;
    int fixed_count;
    const double *const *fixed; /* fixed_count columns of rows each */
    int group_count;
    const int *level[FIT_GROUPS]; /* 0 … levels − 1; −1 (a level not in the fit) only in tables to predict */
    int levels[FIT_GROUPS];
};
/* Names for faults; as many as the table has. */
struct fit_names {
    const char *const *fixed;
    const char *const *group;
};

struct fit_result {
    int n, fixed_count; /* fixed_count with the intercept, which comes first */
    double criterion, sigma;
    double sd[FIT_GROUPS];
    const double *estimate, *se; /* of the fit's own memory */
    long evaluations;
    double seconds;
    const char *reason;
    bool boundary;
};

struct fit; /* private */
/* The table is copied as far as needed. NULL and a fault that names the column: a covariate that others make up, a group of one level, as many levels
 * as rows, too few rows, a response that does not vary, memory. */
struct fit *fit_new(const struct fit_table *t, const struct fit_names *names, bool flat, struct fault *f)
    __attribute__((warn_unused_result));
void fit_free(struct fit *k);
void fit_result(const struct fit *k, struct fit_result *out);
/* Mean and the standard error of that mean for each row of `t` (y and w ignored); a level not in the fit adds its group's variance. */
bool fit_predict(struct fit *k, const struct fit_table *t, double *mean, double *se, struct fault *f);

/* Flat only, for tests: the criterion at fixed relative sds θ (sd/σ), and its gradient in log θ (NULL allowed). NaN when it cannot be had. */
double fit_criterion_at(struct fit *k, const double *theta, double *gradient);

#endif
