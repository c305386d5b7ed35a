/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Both responses over one design; the normal equations' pattern is shared, their values are not.
 */
#include "club_fit.h"
#include "both.h"

#include "../ground/memory.h"

#include <string.h>

void variances_prior(struct variances *v)
{
    memset(v, 0, sizeof *v);
    for (int r = 0; r < RESPONSES; r++) {
        for (int b = 0; b < BLOCKS; b++)
            v->log_sd[r][b] = log(block_prior[b]);
        for (int k = 0; k < KINDS; k++)
            v->log_sigma[r][k] = log(SIGMA_PRIOR);
        for (int k = 0; k < BASIS_KINDS; k++)
            v->multiplier[r][k] = 1;
        v->record[r].reason = ESTIMATE_PRIOR_ONLY;
    }
    v->fitted_us = CLOCK_NONE;
    v->fitted_as_of = 0;
}

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while fitting the club's results");
}

static void known_sds(double *sd, enum response r)
{
    for (int c = 0; c < CLASS_COUNT; c++) {
        sd[CLASS_AT + c] = CLASS_SD;
        sd[RECORDINGS_AT + c] = RECORDINGS_SD;
    }
    sd[PLACE_AT] = PLACE_SD;
    for (int k = 0; k < RESPONSES; k++)
        sd[SHEET_AT + k] = k == (int)r ? SHEET_SD : -1;
}

static void input_of(const struct club_fit *fit, enum response r, struct estimate_input *in)
{
    const struct equation *q = &fit->q;
    *in = (struct estimate_input){.design = &q->design,
                                  .normal = fit->normal[r],
                                  .blocks = BLOCKS,
                                  .known_sd = fit->known_sd + (size_t)r * (size_t)q->columns,
                                  .y = q->y[r],
                                  .v = q->v,
                                  .s2 = q->s2[r],
                                  .kind = q->kind[r],
                                  .stop = q->stop[r],
                                  .kinds = KINDS,
                                  .sigma_prior = SIGMA_PRIOR,
                                  .robust = robust_usual(),
                                  .tolerance = FIT_TOLERANCE};
    for (int b = 0; b < BLOCKS; b++) {
        in->first[b] = q->first[b];
        in->size[b] = q->count[b];
        in->prior[b] = block_prior[b];
    }
}

bool club_fit_open(struct club_fit *fit, const struct facts *x, const struct equation_options *o, struct fault *f)
{
    memset(fit, 0, sizeof *fit);
    fit->rounds = EFFECT_ROUNDS;
    if (!equation_build(&fit->q, x, o))
        return out_of_memory(f);
    unsigned char *absorb = mem_zero((size_t)fit->q.columns + 1, 1);
    fit->known_sd = mem_zero((size_t)fit->q.columns + 1, RESPONSES * sizeof *fit->known_sd);
    bool ok = absorb && fit->known_sd && equation_absorb(&fit->q, absorb);
    if (!ok)
        out_of_memory(f);
    if (ok) {
        fit->normal[BIAS] = normal_new(&fit->q.design, absorb, f);
        ok = fit->normal[BIAS] && (fit->normal[LEVEL] = normal_twin(fit->normal[BIAS], f));
    }
    mem_free(absorb);
    for (int r = 0; ok && r < RESPONSES; r++) {
        struct estimate_input in;
        known_sds(fit->known_sd + (size_t)r * (size_t)fit->q.columns, (enum response)r);
        input_of(fit, (enum response)r, &in);
        ok = estimate_init(&fit->e[r], &in) || out_of_memory(f);
    }
    return ok;
}

void club_fit_free(struct club_fit *fit)
{
    for (int r = 0; r < RESPONSES; r++)
        estimate_free(&fit->e[r]);
    normal_free(fit->normal[LEVEL]); /* borrows from the other */
    normal_free(fit->normal[BIAS]);
    mem_free(fit->known_sd);
    equation_free(&fit->q);
    memset(fit, 0, sizeof *fit);
}

void club_fit_take_weights(struct club_fit *fit, const struct facts *x)
{
    for (int r = 0; r < RESPONSES; r++)
        for (int i = 0; i < fit->q.rows; i++) {
            float tau = x->rows[fit->q.fact[i]].tau[r];
            if (tau > 0)
                fit->e[r].tau[i] = (double)tau;
        }
}

void club_fit_keep_weights(const struct club_fit *fit, struct facts *x)
{
    for (int r = 0; r < RESPONSES; r++)
        for (int i = 0; i < fit->q.rows; i++)
            x->rows[fit->q.fact[i]].tau[r] = (float)fit->e[r].tau[i];
}

static void keep_record(struct variances *v, enum response r, const struct estimate *e)
{
    struct model_record_kept *k = &v->record[r];
    k->reason = (int32_t)e->reason;
    k->evaluations = e->evaluations;
    for (int b = 0; b < BLOCKS; b++) {
        k->sd[b] = exp(e->log_sd[b]);
        k->levels[b] = (int32_t)e->in.size[b];
        k->boundary[b] = k->sd[b] < 1e-3 * block_prior[b]; /* the rows say nothing of it, the prior alone keeps it above 0 */
    }
}

struct variance_work {
    struct club_fit *fit;
    struct variances *v;
    double tolerance;
    const atomic_bool *stop;
};

/* The criterion has more than one low: with room in effects that hardly more than one row has, a misentry's own tape and pair take it up, and their sds grow on
 * it. From little room it is first seen as what it is, and F ends lower. */
static void start_low(struct estimate *e)
{
    static const enum block alone[2] = {TAPE, PAIR};
    for (int i = 0; i < 2; i++)
        if (e->in.size[alone[i]])
            e->log_sd[alone[i]] = log(START_ALONE_SD);
    for (int k = 0; k < KINDS; k++)
        if (e->used[k])
            e->log_sigma[k] = log(START_SIGMA);
}

static bool variances_of(void *user, enum response r, struct fault *f)
{
    const struct variance_work *w = user;
    struct variances *v = w->v;
    struct estimate *e = &w->fit->e[r];
    memcpy(e->log_sd, v->log_sd[r], BLOCKS * sizeof *e->log_sd);
    memcpy(e->log_sigma, v->log_sigma[r], KINDS * sizeof *e->log_sigma);
    for (int b = 0; b < BLOCKS; b++)
        if (!e->in.size[b])
            e->log_sd[b] = log(block_prior[b]);     /* nothing known of it any more */
    if (v->record[r].reason == ESTIMATE_PRIOR_ONLY) /* never estimated */
        start_low(e);
    e->in.tolerance = w->tolerance;
    if (!estimate_run(e, MOST_EVALUATIONS, w->stop, f))
        return false;
    memcpy(v->log_sd[r], e->log_sd, BLOCKS * sizeof *e->log_sd);
    memcpy(v->log_sigma[r], e->log_sigma, KINDS * sizeof *e->log_sigma);
    keep_record(v, r, e);
    return true;
}

double club_fit_slack(int rows)
{
    double n = rows / FIT_ROWS;
    return fmin(1 + n, 2 * n);
}

bool club_fit_variances(struct club_fit *fit, struct variances *v, double tolerance, const atomic_bool *stop, struct fault *f)
{
    struct variance_work w = {fit, v, tolerance, stop};
    return both_responses(variances_of, &w, fit->q.rows >= ASIDE_ROWS, f);
}
