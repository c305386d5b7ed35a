/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One fit of the club: the row equation written out, both responses estimated, and the tables a view needs drawn from the factors.
 * Owned by one thread; built from facts that are only read.
 */
#ifndef BIASBOOK_MODEL_CLUB_FIT_H
#define BIASBOOK_MODEL_CLUB_FIT_H

#include "equation.h"
#include "estimate.h"
#include "view.h"

/* Variances as they travel between fits and views. */
struct variances {
    double log_sd[RESPONSES][BLOCKS], log_sigma[RESPONSES][KINDS];
    struct model_record_kept record[RESPONSES];
    double multiplier[RESPONSES][BASIS_KINDS];
    int64_t fitted_us;
    int64_t fitted_as_of; /* the change up to which the rows were known that these come from; 0 = never */
};
void variances_prior(struct variances *v);

struct club_fit {
    struct equation q;
    struct normal *normal[RESPONSES]; /* twins */
    double *known_sd;
    struct estimate e[RESPONSES];
    int rounds; /* reweighings of view_build */
};
/* The equation and its symbolic factor. False and a fault otherwise; club_fit_free is due in any case. */
bool club_fit_open(struct club_fit *fit, const struct facts *x, const struct equation_options *o, struct fault *f);
void club_fit_free(struct club_fit *fit);
/* Robust weights from those the facts remember (`x` the facts the fit was opened with), and back. */
void club_fit_take_weights(struct club_fit *fit, const struct facts *x);
void club_fit_keep_weights(const struct club_fit *fit, struct facts *x);
/* Weights of the rows that are not in `sample`, and where all stand, by the effects found there (`x` the facts of both). False: out of memory. */
bool club_fit_set_out(struct club_fit *fit, const struct club_fit *sample, const struct facts *x);
/* What the tolerances are multiplied with: the more rows, the smaller an sd's own standard error. Steps of a small club cost nothing, and there the criterion is
 * flat: they go on to its end. */
double club_fit_slack(int rows);
/* Estimates the variances from where `v` stands and puts the result there; `tolerance` as in estimate.h. */
bool club_fit_variances(struct club_fit *fit, struct variances *v, double tolerance, const atomic_bool *stop, struct fault *f);

#define ASIDE_ROWS       200    /* from so many rows on a second thread is worth its start */
#define SAMPLE_ROWS      6000   /* past so many rows variances come from a sample of about this size */
#define RANKED_COLUMNS   40000  /* from so many on a factor's order is given and not worked out */
#define FIT_ROWS         4000.0 /* the tolerances below grow with the rows over these, see club_fit_slack */
#define EFFECT_ROUNDS    20     /* reweighings when variances are held, at most; mostly three */
#define MOST_EVALUATIONS 60
#define START_ALONE_SD   0.05 /* dB: where the sds of tapes and pairs start from, and σ; the rest starts from its prior's scale */
#define START_SIGMA      0.2
#define FIT_TOLERANCE    2e-2 /* of −2 log: a seventh of an sd's own standard error */
#define LOOK_TOLERANCE   2.0  /* enough to look for jumps and odd dials */

/* Effects with the variances of `v`, and the view's tables. NULL and a fault otherwise. `slopes` gets one more owner. */
struct model_view *view_build(struct club_fit *fit, const struct facts *x, const struct equation_options *o, const struct variances *v,
                              int64_t as_of, struct fault *f) __attribute__((warn_unused_result));

#endif
