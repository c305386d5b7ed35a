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
        sd[CLASS_AT + c] = class_prior_sd(c);
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

/* An order of elimination for a large club: what few rows share first, then the tapes' side, then the decks', whose columns nearly all meet in the end anyhow. A minimum
 * degree order there costs more than it saves: a second, against a fifth more work a factorisation. NULL: out of memory, and then that order it is. */
static int *rank_columns(const struct equation *q)
{
    static const int of_block[BLOCKS] = {[PAIR] = 0,  [BATCH] = 1, [STOCK] = 2, [TAPE] = 3,       [FAMILY] = 4, [CHANNEL] = 5,
                                         [SETUP] = 5, [TREND] = 6, [ERA] = 6,   [DECK_CLASS] = 6, [DECK] = 7,   [MODEL] = 8};
    int *rank = mem_zero((size_t)q->columns + 1, sizeof *rank);
    for (int j = 0; rank && j < KNOWN_COLUMNS; j++)
        rank[j] = BLOCKS;
    for (int b = 0; rank && b < BLOCKS; b++)
        for (int l = 0; l < q->count[b]; l++)
            rank[q->first[b] + l] = of_block[b];
    return rank;
}

bool club_fit_open(struct club_fit *fit, const struct facts *x, const struct equation_options *o, struct fault *f)
{
    memset(fit, 0, sizeof *fit);
    fit->rounds = EFFECT_ROUNDS;
    if (!equation_build(&fit->q, x, o))
        return out_of_memory(f);
    unsigned char *absorb = mem_zero((size_t)fit->q.columns + 1, 1);
    int *rank = fit->q.columns >= RANKED_COLUMNS ? rank_columns(&fit->q) : NULL;
    fit->known_sd = mem_zero((size_t)fit->q.columns + 1, RESPONSES * sizeof *fit->known_sd);
    bool ok = absorb && fit->known_sd && equation_absorb(&fit->q, absorb);
    if (!ok)
        out_of_memory(f);
    if (ok) {
        struct normal_layout l = {.absorb = absorb, .merge = true, .rank = rank};
        fit->normal[BIAS] = normal_lay_out(&fit->q.design, &l, f);
        ok = fit->normal[BIAS] && (fit->normal[LEVEL] = normal_twin(fit->normal[BIAS], f));
    }
    mem_free(absorb);
    mem_free(rank);
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

/* The sample's column of each column; −1 where the sample has not met the level. */
static int *columns_there(const struct equation *q, const struct equation *there)
{
    int *to = mem_zero((size_t)q->columns + 1, sizeof *to);
    for (int j = 0; to && j < KNOWN_COLUMNS; j++)
        to[j] = j;
    for (int b = 0; to && b < BLOCKS; b++)
        for (int l = 0; l < q->count[b]; l++) {
            int known = equation_level(there, (enum block)b, &q->key[b][l]);
            to[q->first[b] + l] = known < 0 ? -1 : there->first[b] + known;
        }
    return to;
}

/* What the sample's effects say of a row, and the variance of what they leave open: a level not met there has its sd. */
static double foretell(const struct club_fit *fit, const struct estimate *of, const int *to, int i, double *open)
{
    const struct design *d = &fit->q.design;
    double sum = 0;
    *open = 0;
    for (int e = d->start[i]; e < d->start[i + 1]; e++)
        if (to[d->column[e]] >= 0)
            sum += d->value[e] * of->effect[to[d->column[e]]];
    for (int b = 0; b < BLOCKS; b++)
        if (fit->q.level[i][b] >= 0 && to[fit->q.first[b] + fit->q.level[i][b]] < 0)
            *open += exp(2 * of->log_sd[b]);
    return sum;
}

static void set_out(struct club_fit *fit, enum response r, const struct estimate *of, const int *to, const struct facts *x)
{
    struct estimate *e = &fit->e[r];
    for (int i = 0; i < fit->q.rows; i++) {
        if (e->in.kind[i] >= e->in.kinds)
            continue;
        double open, sigma = exp(of->log_sigma[e->in.kind[i]]), s2 = sigma * sigma * e->in.v[i] + e->in.s2[i];
        e->fit[i] = foretell(fit, of, to, i, &open);
        double off = e->in.y[i] - e->fit[i];
        if (!(x->rows[fit->q.fact[i]].tau[r] > 0) && !e->in.stop[i])
            e->tau[i] = robust_weight(&e->in.robust, off * off / (s2 + open));
    }
}

bool club_fit_set_out(struct club_fit *fit, const struct club_fit *sample, const struct facts *x)
{
    int *to = columns_there(&fit->q, &sample->q);
    for (int r = 0; to && r < RESPONSES; r++)
        set_out(fit, (enum response)r, &sample->e[r], to, x);
    bool ok = to != NULL;
    mem_free(to);
    return ok;
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
