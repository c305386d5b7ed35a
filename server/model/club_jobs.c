/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What takes long is worked out aside, on a copy of the facts, by any thread: an estimate of the variances with the full solve that goes with it, or a full solve
 * alone, because the tail of the one that is served grows long. What came meanwhile is worked into it before it is served.
 */
#include "club_inside.h"

#include "../ground/memory.h"
#include "replay_inside.h"

#include <string.h>

#define COLD_ROWS 20000 /* up to so many rows each estimate of variances is independent of the one before */

static struct model_job *job_begin(struct model *m, struct fault *f)
{
    struct model_job *j = learn_slopes(m, f) && (take_warm(m) || club_out_of_memory(f)) ? mem_zero(1, sizeof *j) : NULL;
    if (j && facts_copy(&j->facts, &m->facts)) {
        j->slopes = slope_table_hold(m->slopes);
        j->variances = m->variances;
        j->variances_taken = m->variances_taken;
        j->begun = changes_now(m);
        j->as_of = m->as_of;
        return j;
    }
    mem_free(j);
    if (!fault_set(f))
        club_out_of_memory(f);
    return NULL;
}

/* The criterion has more than one low, and which one a search ends in depends on where it sets out. So an estimate sets out from the priors, as a rebuild does, and what
 * is served is what the rows say whatever happened on the way; only in a large club, whose many rows leave little choice, from what was found last. */
struct model_job *model_fit_begin(struct model *m, struct fault *f)
{
    struct model_job *j = job_begin(m, f);
    if (j && m->facts.used <= COLD_ROWS)
        variances_prior(&j->variances);
    return j;
}

struct model_job *model_renewal_begin(struct model *m, struct fault *f)
{
    struct model_job *j = job_begin(m, f);
    if (j)
        j->renewal = true;
    return j;
}

bool model_renewal_due(const struct model *m)
{
    return m->learned && !m->next && (tail_worn(m->learned->tail) || m->learned->variances_taken != m->variances_taken);
}

bool model_job_run(struct model_job *j, const atomic_bool *stop, struct fault *f)
{
    j->learned = j->renewal ? learn(&j->facts, j->slopes, &j->variances, NULL, f)
                            : estimate_and_learn(&j->facts, j->slopes, &j->variances, j->as_of, stop, f);
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

/* ---- back to the model ---- */

/* Weights of rows that have not changed since the copy was made. Those that have are worked in again anyhow. */
static void take_weights(struct facts *to, const struct facts *from)
{
    for (int i = 0; i < from->row_count && i < to->row_count; i++)
        memcpy(to->rows[i].tau, from->rows[i].tau, sizeof to->rows[i].tau);
}

/* Whether the same jumps were found: rows of what is served name its eras. */
static bool same_breaks(const struct facts *a, const struct facts *b)
{
    for (int d = 0; d < a->deck_count && d < b->deck_count; d++) {
        const struct fact_deck *x = a->decks[d], *y = b->decks[d];
        int i = 0, k = 0;
        for (;;) {
            while (i < x->service_count && !x->services[i].found)
                i++;
            while (k < y->service_count && !y->services[k].found)
                k++;
            if (i == x->service_count || k == y->service_count)
                break;
            if (x->services[i++].made_at_us != y->services[k++].made_at_us)
                return false;
        }
        if (i < x->service_count || k < y->service_count)
            return false;
    }
    return true;
}

static bool take_variances(struct model *m, struct model_job *j, struct fault *f)
{
    m->variances = j->variances;
    m->variances_taken++;
    if (m->learned && !same_breaks(&m->facts, &j->facts))
        m->learned->reached.whole = BEGIN_ANEW;
    return facts_copy_found(&m->facts, &j->facts) || club_out_of_memory(f);
}

bool model_job_take(struct model *m, struct model_job *j, struct fault *f)
{
    bool ok = j->renewal || take_variances(m, j, f);
    if (ok && j->learned && (!j->renewal || j->variances_taken == m->variances_taken)) {
        take_weights(&m->facts, &j->facts);
        j->learned->reached = j->begun;
        j->learned->variances_taken = m->variances_taken;
        learned_free(m->next);
        m->next = j->learned;
        j->learned = NULL;
    }
    model_job_free(j);
    return ok;
}

bool model_fit_adopt(struct model *m, struct model_job *j, struct fault *f)
{
    if (!model_job_take(m, j, f))
        return false;
    if (m->learned)
        m->learned->reached.whole = BEGIN_ANEW; /* of the variances before */
    return model_solve(m, f);
}

bool model_refit(struct model *m, struct fault *f)
{
    struct variances v;
    variances_prior(&v);
    struct learned *l = learn_slopes(m, f) ? estimate_and_learn(&m->facts, m->slopes, &v, m->as_of, NULL, f) : NULL;
    if (!l)
        return false;
    m->variances = v;
    m->variances_taken++;
    model_view_free(m->warm);
    m->warm = NULL;
    take_learned(m, l);
    return true;
}
