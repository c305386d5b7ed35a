/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator's door: facts in, fits as jobs, views out. A model belongs to one thread; a job works on a copy.
 *
 * What was learned is a full solve (equation, factors, tables) and a tail of results worked into it since. A solve takes the changes that wait into the tail, or,
 * when they are too many or change the equation itself, begins anew. A job brings variances and the full solve that goes with them.
 */
#include "club.h"

#include "../ground/clock.h"
#include "../ground/memory.h"
#include "club_estimate.h"
#include "facts.h"
#include "replay_inside.h"
#include "tail.h"

#include <string.h>

#define WAITING_MOST 96    /* changes that are worth working in one by one */
#define COLD_ROWS    20000 /* up to so many rows each estimate of variances is independent of the one before */

struct learned {
    struct club_fit fit;
    struct tables tables;
    struct tail *tail;
};

struct waiting { /* facts that changed, in order; a fact may stand there twice */
    int *fact, count, room;
    bool all; /* too many, or the equation itself changed */
};

struct model {
    struct facts facts;
    struct slope_learner *learner;
    struct slope_table *slopes; /* as of the last solve; NULL = priors */
    struct variances variances;
    struct learned *learned;
    struct waiting waiting;     /* since the last solve */
    struct waiting since_begin; /* since the last job began, for its adoption */
    struct model_view *warm;    /* eras and worths found before a restart, until a solve has used them */
    int64_t as_of;
};

struct model_job {
    struct facts facts;
    struct slope_table *slopes;
    struct variances variances;
    int64_t as_of; /* of the facts */
    struct learned *learned;
};

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory in the estimator");
}

/* ---- what was learned ---- */

static void learned_free(struct learned *l)
{
    if (!l)
        return;
    tail_free(l->tail);
    tables_free(&l->tables);
    club_fit_free(&l->fit);
    mem_free(l);
}

static struct equation_options options_of(const struct slope_table *slopes, int sample)
{
    return (struct equation_options){.slopes = slopes, .sample = sample, .before_us = CLOCK_NONE};
}

/* A full solve with variances held. Leaves the robust weights in the facts. */
static struct learned *learn(struct facts *x, const struct slope_table *slopes, const struct variances *v, struct fault *f)
{
    struct equation_options o = options_of(slopes, 0);
    struct learned *l = mem_zero(1, sizeof *l);
    if (!l) {
        out_of_memory(f);
        return NULL;
    }
    bool ok = club_fit_open(&l->fit, x, &o, f);
    if (ok) {
        club_fit_take_weights(&l->fit, x);
        ok = tables_build(&l->tables, &l->fit, x, v, f);
    }
    if (ok) {
        club_fit_keep_weights(&l->fit, x);
        l->tail = tail_new(&l->fit, &l->tables, x);
        ok = l->tail || out_of_memory(f);
    }
    if (ok)
        return l;
    learned_free(l);
    return NULL;
}

/* ---- changes that wait ---- */

static void waiting_clear(struct waiting *w)
{
    w->count = 0;
    w->all = false;
}

static void wait_for(struct waiting *w, int fact)
{
    if (w->all)
        return;
    if (w->count == w->room) {
        int room = w->room ? w->room * 2 : 32;
        int *more = w->count < WAITING_MOST ? mem_grow(w->fact, (size_t)room, sizeof *more) : NULL;
        if (!more) {
            w->all = true; /* a full solve needs no list */
            return;
        }
        w->fact = more;
        w->room = room;
    }
    w->fact[w->count++] = fact;
}

static void changed_row(struct model *m, int fact)
{
    wait_for(&m->waiting, fact);
    wait_for(&m->since_begin, fact);
}

static void changed_all(struct model *m)
{
    m->waiting.all = m->since_begin.all = true;
}

/* ---- life ---- */

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
    learned_free(m->learned);
    model_view_free(m->warm);
    slope_table_drop(m->slopes);
    slope_learner_free(m->learner);
    facts_free(&m->facts);
    mem_free(m->waiting.fact);
    mem_free(m->since_begin.fact);
    mem_free(m);
}

/* ---- facts ---- */

static bool same_dial(const struct dial *a, const struct dial *b)
{
    return memcmp(a, b, sizeof *a) == 0;
}

/* Whether results already in the equation would stand otherwise. */
static bool deck_matters(const struct deck *a, const struct deck *b)
{
    return strcmp(a->model, b->model) != 0 || !same_dial(&a->bias_dial, &b->bias_dial) || !same_dial(&a->level_dial, &b->level_dial) ||
           a->setup_count != b->setup_count || memcmp(a->setups, b->setups, sizeof a->setups) != 0 || a->medium != b->medium ||
           memcmp(&a->low_hz, &b->low_hz, 2 * sizeof a->low_hz) != 0 ||
           memcmp(&a->meter_step_db, &b->meter_step_db, sizeof a->meter_step_db) != 0;
}

static bool stock_matters(const struct stock *a, const struct stock *b)
{
    return a->tape_class != b->tape_class || strcmp(a->family, b->family) != 0 ||
           memcmp(&a->sheet_bias_db, &b->sheet_bias_db, 2 * sizeof a->sheet_bias_db) != 0 ||
           memcmp(&a->side_minutes, &b->side_minutes, 4 * sizeof a->side_minutes) != 0;
}

bool model_put_deck(struct model *m, const struct deck *d)
{
    int at = facts_deck(&m->facts, d->id);
    bool matters = at >= 0 && deck_matters(&m->facts.decks[at]->deck, d);
    if (!facts_put_deck(&m->facts, d, NULL) || !slope_learner_put_deck(m->learner, d))
        return false;
    if (matters)
        changed_all(m);
    return true;
}

bool model_put_stock(struct model *m, const struct stock *s)
{
    int at = facts_stock(&m->facts, s->id);
    bool matters = at >= 0 && stock_matters(&m->facts.stocks[at]->stock, s);
    if (!facts_put_stock(&m->facts, s, NULL))
        return false;
    if (matters)
        changed_all(m);
    return true;
}

bool model_put_service(struct model *m, const struct service *s, const struct stamp *stamp)
{
    changed_all(m);
    return facts_put_service(&m->facts, s, stamp && stamp->is_void);
}

bool model_put_calibration(struct model *m, const struct calibration *c, const struct stamp *stamp)
{
    int row;
    if (!facts_put_row(&m->facts, c, stamp, &row))
        return false;
    if (row < 0)
        return true;
    changed_row(m, row);
    if (stamp && stamp->is_void) {
        slope_learner_remove(m->learner, &c->id);
        return true;
    }
    return slope_learner_put(m->learner, c, m->facts.stocks[m->facts.rows[row].stock]->tape_class);
}

void model_reached(struct model *m, int64_t seq)
{
    if (seq <= m->as_of)
        return;
    /* Changes that no result depends on leave the variances as they would come out. */
    if (m->variances.fitted_as_of == m->as_of && !m->waiting.all && m->waiting.count == 0)
        m->variances.fitted_as_of = seq;
    m->as_of = seq;
}

void model_held(const struct model *m, struct model_figures *out)
{
    memset(out, 0, sizeof *out);
    out->as_of = m->as_of;
    out->fitted_us = m->variances.fitted_us;
    out->fitted_as_of = m->variances.fitted_as_of;
    out->rows = m->facts.row_count;
    out->rows_used = m->facts.used;
    out->decks = m->facts.deck_count;
    out->stocks = m->facts.stock_count;
}

/* ---- solve ---- */

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

/* Eras and worths that were found before a restart. */
static bool take_warm(struct model *m)
{
    if (!m->warm)
        return true;
    const struct model_view *v = m->warm;
    bool ok = true;
    facts_clear_found(&m->facts);
    for (int d = 0; ok && d < m->facts.deck_count; d++) {
        int at = view_find(v, view_hash(KEY_DECK, view_text(m->facts.decks[d]->deck.id), 0, 0));
        for (int i = 0; ok && at >= 0 && i < v->decks[at].service_count; i++)
            if (v->services[v->decks[at].service_first + i].found)
                ok = facts_put_break(&m->facts, d, v->services[v->decks[at].service_first + i].made_at_us);
        for (int r = 0; at >= 0 && r < RESPONSES; r++)
            m->facts.decks[d]->shared[r] = (struct dial_worth){.db_per_unit = v->decks[at].worth[r], .se = v->decks[at].worth_se[r]};
    }
    model_view_free(m->warm);
    m->warm = NULL;
    return ok;
}

static bool solve_anew(struct model *m, struct fault *f)
{
    if (!take_warm(m))
        return out_of_memory(f);
    struct learned *l = learn(&m->facts, m->slopes, &m->variances, f);
    if (!l)
        return false;
    learned_free(m->learned);
    m->learned = l;
    waiting_clear(&m->waiting);
    return true;
}

bool model_solve(struct model *m, struct fault *f)
{
    if (!learn_slopes(m, f))
        return false;
    if (!m->learned || m->waiting.all || m->waiting.count * 2 > tail_room(m->learned->tail))
        return solve_anew(m, f);
    struct equation_options o = options_of(m->slopes, 0);
    enum tail_result result = TAIL_DONE;
    for (int i = 0; i < m->waiting.count && result == TAIL_DONE; i++)
        result = tail_change(m->learned->tail, &m->facts, m->waiting.fact[i], &o);
    if (result == TAIL_DONE)
        result = tail_settle(m->learned->tail, &m->facts);
    if (result == TAIL_FULL_SOLVE)
        return solve_anew(m, f);
    if (result == TAIL_MEMORY) {
        m->waiting.all = true; /* the tables are half changed */
        return out_of_memory(f);
    }
    waiting_clear(&m->waiting);
    return true;
}

/* ---- fits ---- */

/* The criterion has more than one low, and which one a search ends in depends on where it sets out. So an estimate sets out from the priors, as a rebuild does, and what
 * is served is what the rows say whatever happened on the way; only in a large club, whose many rows leave little choice, from what was found last. */
struct model_job *model_fit_begin(struct model *m, struct fault *f)
{
    struct model_job *j = learn_slopes(m, f) && (take_warm(m) || out_of_memory(f)) ? mem_zero(1, sizeof *j) : NULL;
    if (j && facts_copy(&j->facts, &m->facts)) {
        j->slopes = slope_table_hold(m->slopes);
        j->variances = m->variances;
        if (m->facts.used <= COLD_ROWS)
            variances_prior(&j->variances);
        j->as_of = m->as_of;
        waiting_clear(&m->since_begin);
        return j;
    }
    mem_free(j);
    if (!fault_set(f))
        out_of_memory(f);
    return NULL;
}

bool model_job_run(struct model_job *j, const atomic_bool *stop, struct fault *f)
{
    if (!club_estimate(&j->facts, j->slopes, &j->variances, stop, f))
        return false;
    j->variances.fitted_as_of = j->as_of;
    j->learned = learn(&j->facts, j->slopes, &j->variances, f);
    return j->learned != NULL;
}

bool model_job_replay(struct model_job *j, int blocks, const atomic_bool *stop, replay_callback row, void *user, struct fault *f)
{
    struct equation_options o = options_of(j->slopes, 0);
    struct replay p = {.facts = &j->facts, .options = &o, .variances = &j->variances, .blocks = blocks > 0 ? blocks : 1, .stop = stop};
    return replay_run(&p, row, user, f);
}

void model_job_free(struct model_job *j)
{
    if (!j)
        return;
    learned_free(j->learned);
    slope_table_drop(j->slopes);
    facts_free(&j->facts);
    mem_free(j);
}

/* Weights of rows that have not changed since the copy was made. Those that have are worked in again anyhow. */
static void take_weights(struct facts *to, const struct facts *from)
{
    for (int i = 0; i < from->row_count && i < to->row_count; i++)
        memcpy(to->rows[i].tau, from->rows[i].tau, sizeof to->rows[i].tau);
}

bool model_fit_adopt(struct model *m, struct model_job *j, struct fault *f)
{
    m->variances = j->variances;
    bool ok = facts_copy_found(&m->facts, &j->facts) || out_of_memory(f);
    take_weights(&m->facts, &j->facts);
    if (ok && j->learned) {
        learned_free(m->learned);
        m->learned = j->learned;
        j->learned = NULL;
        /* what came meanwhile waits to be worked into it */
        struct waiting spare = m->waiting;
        m->waiting = m->since_begin;
        m->since_begin = spare;
    } else {
        m->waiting.all = true;
    }
    waiting_clear(&m->since_begin);
    model_job_free(j);
    return ok && model_solve(m, f);
}

bool model_refit(struct model *m, struct fault *f)
{
    struct variances v;
    variances_prior(&v);
    if (!learn_slopes(m, f) || !club_estimate(&m->facts, m->slopes, &v, NULL, f))
        return false;
    m->variances = v;
    m->variances.fitted_as_of = m->as_of;
    model_view_free(m->warm);
    m->warm = NULL;
    return solve_anew(m, f);
}

/* ---- views ---- */

struct model_view *model_publish(struct model *m, struct fault *f)
{
    if (!m->learned && !model_solve(m, f))
        return NULL;
    struct model_view *v = tables_publish(&m->learned->tables, m->slopes, m->as_of, f);
    if (v)
        v->head->fitted_as_of = m->variances.fitted_as_of;
    return v;
}

static struct model_view *copy_head(const struct model_view *v)
{
    struct model_view *new = mem_zero(1, sizeof *new);
    if (new)
        new->head = mem_alloc((size_t)v->head->bytes);
    if (!new || !new->head) {
        model_view_free(new);
        return NULL;
    }
    memcpy(new->head, v->head, (size_t)v->head->bytes);
    view_attach(new);
    return new;
}

bool model_warm(struct model *m, const struct model_view *v)
{
    const struct view_head *h = v->head;
    model_view_free(m->warm);
    m->warm = copy_head(v);
    for (int r = 0; r < RESPONSES; r++) {
        for (int b = 0; b < BLOCKS; b++)
            m->variances.log_sd[r][b] = log(h->sd[r][b]);
        for (int k = 0; k < KINDS; k++)
            m->variances.log_sigma[r][k] = log(h->sigma[r][k]);
        memcpy(m->variances.multiplier[r], h->multiplier[r], sizeof h->multiplier[r]);
        m->variances.record[r] = h->record[r];
    }
    m->variances.fitted_us = h->fitted_us;
    m->variances.fitted_as_of = h->fitted_as_of;
    return m->warm != NULL;
}
