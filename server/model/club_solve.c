/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Once a commit: what was learned is kept up with the facts. A solve works the changes that wait into the tail of what is served, or takes the fresher one
 * that was being brought up, or, when there is none or the equation itself has changed, begins anew.
 */
#include "club_inside.h"

#include "../ground/memory.h"
#include "club_estimate.h"

#include <string.h>

/* ---- changes ---- */

struct reached changes_now(const struct model *m)
{
    return (struct reached){m->changes.count, m->changes.whole};
}

void changed_row(struct model *m, int fact)
{
    m->changes.fact[m->changes.count++ % CHANGES_KEPT] = fact;
}

void changed_all(struct model *m)
{
    m->changes.whole++;
}

int changes_since(const struct model *m, struct reached r)
{
    int64_t n = m->changes.count - r.count;
    return r.whole != m->changes.whole || n > CHANGES_KEPT ? BEGIN_ANEW : (int)n;
}

/* ---- a full solve ---- */

static void fit_drop(struct club_fit *fit)
{
    if (fit)
        club_fit_free(fit);
    mem_free(fit);
}

void learned_free(struct learned *l)
{
    if (!l)
        return;
    tail_free(l->tail);
    tables_free(&l->tables);
    fit_drop(l->fit);
    mem_free(l);
}

struct equation_options options_of(const struct slope_table *slopes, int sample)
{
    return (struct equation_options){.slopes = slopes, .sample = sample, .before_us = CLOCK_NONE};
}

/* The fit of all rows. What an estimate left open is it already, or a sample that it sets out from. */
static struct club_fit *open_full(struct facts *x, const struct slope_table *slopes, struct club_fit *estimated, struct fault *f)
{
    struct equation_options o = options_of(slopes, 0);
    if (estimated && estimated->q.rows == x->used)
        return estimated;
    struct club_fit *fit = mem_zero(1, sizeof *fit);
    bool ok = fit ? club_fit_open(fit, x, &o, f) : club_out_of_memory(f);
    if (ok) {
        club_fit_take_weights(fit, x);
        ok = !estimated || club_fit_set_out(fit, estimated, x) || club_out_of_memory(f);
    }
    fit_drop(estimated);
    if (ok)
        return fit;
    fit_drop(fit);
    return NULL;
}

struct learned *learn(struct facts *x, const struct slope_table *slopes, const struct variances *v, struct club_fit *estimated,
                      struct fault *f)
{
    struct learned *l = mem_zero(1, sizeof *l);
    if (!l) {
        fit_drop(estimated);
        club_out_of_memory(f);
        return NULL;
    }
    l->fitted_as_of = v->fitted_as_of;
    l->fit = open_full(x, slopes, estimated, f);
    bool ok = l->fit && tables_build(&l->tables, l->fit, x, v, f);
    if (ok) {
        club_fit_keep_weights(l->fit, x);
        l->tail = tail_new(l->fit, &l->tables, x);
        ok = l->tail || club_out_of_memory(f);
    }
    if (ok)
        return l;
    learned_free(l);
    return NULL;
}

struct learned *estimate_and_learn(struct facts *x, const struct slope_table *slopes, struct variances *v, int64_t as_of,
                                   const atomic_bool *stop, struct fault *f)
{
    struct club_fit *fit = mem_zero(1, sizeof *fit);
    if (!fit) {
        club_out_of_memory(f);
        return NULL;
    }
    if (!club_estimate(x, slopes, v, fit, stop, f)) {
        fit_drop(fit);
        return NULL;
    }
    v->fitted_as_of = as_of;
    return learn(x, slopes, v, fit, f);
}

bool learn_slopes(struct model *m, struct fault *f)
{
    if (m->slopes && !slope_learner_changed(m->learner))
        return true;
    struct slope_table *t = slope_learner_solve(m->learner);
    if (!t)
        return club_out_of_memory(f);
    slope_table_drop(m->slopes);
    m->slopes = t;
    return true;
}

/* ---- after a restart ---- */

bool take_warm(struct model *m)
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

/* ---- the steps of a solve ---- */

bool solve_anew(struct model *m, struct fault *f)
{
    if (!take_warm(m))
        return club_out_of_memory(f);
    struct learned *l = learn(&m->facts, m->slopes, &m->variances, NULL, f);
    if (!l)
        return false;
    take_learned(m, l);
    return true;
}

void take_learned(struct model *m, struct learned *l)
{
    l->reached = changes_now(m);
    l->variances_taken = m->variances_taken;
    learned_free(m->learned);
    learned_free(m->next);
    m->learned = l;
    m->next = NULL;
}

enum tail_result learned_catch_up(struct model *m, struct learned *l, int most)
{
    struct equation_options o = options_of(m->slopes, 0);
    enum tail_result result = TAIL_DONE;
    for (; result == TAIL_DONE && most > 0 && l->reached.count < m->changes.count; most--, l->reached.count++)
        result = tail_change(l->tail, &m->facts, m->changes.fact[l->reached.count % CHANGES_KEPT], &o);
    if (result == TAIL_DONE && l->reached.count == m->changes.count)
        result = tail_settle(l->tail, &m->facts);
    if (result != TAIL_DONE)
        l->reached.whole = BEGIN_ANEW; /* the tables are half changed */
    return result;
}

/* Few enough to be worked in one by one. */
static bool worth_it(const struct model *m, const struct learned *l)
{
    int n = changes_since(m, l->reached);
    return n != BEGIN_ANEW && n <= WAITING_MOST && n * 2 <= tail_room(l->tail);
}

static void drop_next(struct model *m)
{
    learned_free(m->next);
    m->next = NULL;
}

static void serve_next(struct model *m)
{
    learned_free(m->learned);
    m->learned = m->next;
    m->next = NULL;
}

bool model_solve(struct model *m, struct fault *f)
{
    enum tail_result result = TAIL_FULL_SOLVE;
    if (!learn_slopes(m, f))
        return false;
    if (m->learned && worth_it(m, m->learned))
        result = learned_catch_up(m, m->learned, CHANGES_KEPT);
    if (result == TAIL_FULL_SOLVE && m->next && worth_it(m, m->next)) {
        result = learned_catch_up(m, m->next, CHANGES_KEPT);
        if (result == TAIL_DONE)
            serve_next(m);
        else
            drop_next(m);
    }
    if (result == TAIL_MEMORY)
        return club_out_of_memory(f);
    return result == TAIL_DONE || solve_anew(m, f);
}

bool model_catch_up(struct model *m)
{
    if (!m->next)
        return false;
    int n = changes_since(m, m->next->reached);
    if (n == BEGIN_ANEW || n > tail_room(m->next->tail) || learned_catch_up(m, m->next, 1) != TAIL_DONE) {
        drop_next(m);
        return false;
    }
    if (m->next->reached.count < m->changes.count)
        return false;
    serve_next(m);
    return true;
}

bool model_catching_up(const struct model *m)
{
    return m->next != NULL;
}

bool model_settled(const struct model *m)
{
    return !m->next && m->learned && m->learned->variances_taken == m->variances_taken;
}
