/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator's door: facts in, views out. club_solve.c keeps what was learned up with the facts; club_jobs.c is for what is worked out aside.
 */
#include "club_inside.h"

#include "../ground/clock.h"
#include "../ground/memory.h"

#include <string.h>

bool club_out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory in the estimator");
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
    learned_free(m->next);
    model_view_free(m->warm);
    slope_table_drop(m->slopes);
    slope_learner_free(m->learner);
    facts_free(&m->facts);
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
    if (!facts_put_deck(&m->facts, d, NULL))
        return false;
    if (matters)
        changed_all(m); /* at once: when the next line fails, the deck is no longer another one the second time */
    return slope_learner_put_deck(m->learner, d);
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
    if (m->variances.fitted_as_of == m->as_of && changes_since(m, m->learned ? m->learned->reached : (struct reached){0, 0}) == 0)
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

/* ---- views ---- */

struct model_view *model_publish(struct model *m, struct fault *f)
{
    if (!m->learned && !model_solve(m, f))
        return NULL;
    struct model_view *v = tables_publish(&m->learned->tables, m->slopes, m->as_of, f);
    if (v)
        v->head->fitted_as_of = m->learned->variances_taken == m->variances_taken ? m->variances.fitted_as_of : m->learned->fitted_as_of;
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
