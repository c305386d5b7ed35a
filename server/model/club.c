/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator's door: facts in, fits as jobs, views out. A model belongs to one thread; a job works on a copy.
 */
#include "club.h"

#include "../ground/clock.h"
#include "../ground/memory.h"
#include "breaks.h"
#include "club_fit.h"
#include "facts.h"
#include "replay_inside.h"

#include <string.h>

struct model {
    struct facts facts;
    struct slope_learner *learner;
    struct slope_table *slopes; /* as of the last solve; NULL = priors */
    struct variances variances;
    struct model_view *view;    /* of the last solve, until published */
    int64_t as_of;
};

struct model_job {
    struct facts facts;
    struct slope_table *slopes;
    struct variances variances;
};

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory in the estimator");
}

struct model *model_new(void)
{
    struct model *m = mem_zero(1, sizeof *m);
    if (!m)
        return NULL;
    facts_init(&m->facts);
    variances_prior(&m->variances);
    m->learner = slope_learner_new();
    if (m->learner)
        return m;
    model_free(m);
    return NULL;
}

void model_free(struct model *m)
{
    if (!m)
        return;
    model_view_free(m->view);
    slope_table_drop(m->slopes);
    slope_learner_free(m->learner);
    facts_free(&m->facts);
    mem_free(m);
}

/* ---- facts ---- */

bool model_put_deck(struct model *m, const struct deck *d)
{
    return facts_put_deck(&m->facts, d, NULL) && slope_learner_put_deck(m->learner, d);
}

bool model_put_stock(struct model *m, const struct stock *s)
{
    return facts_put_stock(&m->facts, s, NULL);
}

bool model_put_service(struct model *m, const struct service *s, const struct stamp *stamp)
{
    return facts_put_service(&m->facts, s, stamp && stamp->is_void);
}

bool model_put_calibration(struct model *m, const struct calibration *c, const struct stamp *stamp)
{
    int row;
    if (!facts_put_row(&m->facts, c, stamp, &row))
        return false;
    if (row < 0)
        return true;
    if (stamp && stamp->is_void) {
        slope_learner_remove(m->learner, &c->id);
        return true;
    }
    return slope_learner_put(m->learner, c, m->facts.stocks[m->facts.rows[row].stock]->tape_class);
}

void model_reached(struct model *m, int64_t seq)
{
    if (seq > m->as_of)
        m->as_of = seq;
}

void model_held(const struct model *m, struct model_figures *out)
{
    memset(out, 0, sizeof *out);
    out->as_of = m->as_of;
    out->fitted_us = m->variances.fitted_us;
    out->rows = m->facts.row_count;
    out->rows_used = m->facts.used;
    out->decks = m->facts.deck_count;
    out->stocks = m->facts.stock_count;
}

/* ---- compute ---- */

static bool learn_slopes(struct model *m, struct fault *f)
{
    if (m->slopes && !slope_learner_changed(m->learner))
        return true;
    struct slope_table *t = slope_learner_solve(m->learner);
    if (!t)
        return out_of_memory(f);
    slope_table_drop(m->slopes);
    m->slopes = t;
    return true;
}

static struct equation_options options_of(const struct slope_table *slopes, int sample)
{
    return (struct equation_options){.slopes = slopes, .sample = sample, .before_us = CLOCK_NONE};
}

bool model_solve(struct model *m, struct fault *f)
{
    if (!learn_slopes(m, f))
        return false;
    struct equation_options o = options_of(m->slopes, 0);
    struct club_fit fit;
    struct model_view *v = NULL;
    if (club_fit_open(&fit, &m->facts, &o, f)) {
        club_fit_take_weights(&fit, &m->facts);
        v = view_build(&fit, &m->facts, &o, &m->variances, m->as_of, f);
        club_fit_keep_weights(&fit, &m->facts);
    }
    club_fit_free(&fit);
    if (!v)
        return false;
    model_view_free(m->view);
    m->view = v;
    return true;
}

/* Variances, then the jumps that the residuals show, then variances with those; at last the range. */
static bool estimate_all(struct facts *x, const struct slope_table *slopes, struct variances *v, const volatile bool *stop, struct fault *f)
{
    struct equation_options o = options_of(slopes, SAMPLE_ROWS);
    bool ok = true;
    facts_clear_breaks(x);
    for (int round = 0, found = 1; ok && found && round < 2; round++) {
        struct club_fit fit;
        ok = club_fit_open(&fit, x, &o, f) && club_fit_variances(&fit, v, stop, f);
        if (ok && round == 0 && !breaks_find(&fit, x, &found))
            ok = out_of_memory(f);
        club_fit_free(&fit);
    }
    ok = ok && replay_ranges(x, &o, v, stop, f);
    if (ok)
        v->fitted_us = clock_now_us();
    return ok;
}

struct model_job *model_fit_begin(struct model *m, struct fault *f)
{
    struct model_job *j = learn_slopes(m, f) ? mem_zero(1, sizeof *j) : NULL;
    if (j && facts_copy(&j->facts, &m->facts)) {
        j->slopes = slope_table_hold(m->slopes);
        j->variances = m->variances;
        return j;
    }
    mem_free(j);
    if (!fault_set(f))
        out_of_memory(f);
    return NULL;
}

bool model_job_run(struct model_job *j, const volatile bool *stop, struct fault *f)
{
    return estimate_all(&j->facts, j->slopes, &j->variances, stop, f);
}

bool model_job_replay(struct model_job *j, int blocks, const volatile bool *stop, replay_callback row, void *user, struct fault *f)
{
    struct equation_options o = options_of(j->slopes, 0);
    struct replay p = {.facts = &j->facts, .options = &o, .variances = &j->variances, .blocks = blocks > 0 ? blocks : 1, .stop = stop};
    return replay_run(&p, row, user, f);
}

void model_job_free(struct model_job *j)
{
    if (!j)
        return;
    slope_table_drop(j->slopes);
    facts_free(&j->facts);
    mem_free(j);
}

bool model_fit_adopt(struct model *m, struct model_job *j, struct fault *f)
{
    m->variances = j->variances;
    bool ok = facts_copy_breaks(&m->facts, &j->facts) || out_of_memory(f);
    model_job_free(j);
    return ok && model_solve(m, f);
}

bool model_refit(struct model *m, struct fault *f)
{
    struct variances v;
    variances_prior(&v);
    if (!learn_slopes(m, f) || !estimate_all(&m->facts, m->slopes, &v, NULL, f))
        return false;
    m->variances = v;
    return model_solve(m, f);
}

/* ---- views ---- */

struct model_view *model_publish(struct model *m, struct fault *f)
{
    if (!m->view && !model_solve(m, f))
        return NULL;
    struct model_view *v = m->view;
    v->head->as_of = m->as_of;
    m->view = NULL;
    return v;
}

bool model_warm(struct model *m, const struct model_view *v)
{
    const struct view_head *h = v->head;
    for (int r = 0; r < RESPONSES; r++) {
        for (int b = 0; b < BLOCKS; b++)
            m->variances.log_sd[r][b] = log(h->sd[r][b]);
        for (int k = 0; k < KINDS; k++)
            m->variances.log_sigma[r][k] = log(h->sigma[r][k]);
        memcpy(m->variances.multiplier[r], h->multiplier[r], sizeof h->multiplier[r]);
        m->variances.record[r] = h->record[r];
    }
    m->variances.fitted_us = h->fitted_us;
    return true;
}
