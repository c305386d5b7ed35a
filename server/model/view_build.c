/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a fit to tables to a view: the order of the steps.
 */
#include "tables.h"

#include "../ground/memory.h"
#include "both.h"

#include <string.h>

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while drawing the tables");
}

static void base_years(struct tables *t)
{
    for (int b = 0; b < t->head->bases; b++) {
        const struct view_deck *d = t->base_deck[b] < 0 ? NULL : &t->decks[t->base_deck[b]];
        t->bases[b].base_years = d && d->base_era >= 0 ? clock_years_between(t->eras[d->base_era].middle_us, d->last_us) : 0;
    }
}

struct number_work {
    struct tables *t;
    const struct variances *v;
    const struct deck_effects *g;
};

static bool numbers_of(void *user, enum response r, struct fault *f)
{
    const struct number_work *w = user;
    struct view_head *h = w->t->head;
    struct estimate *e = &w->t->fit->e[r];
    memcpy(e->log_sd, w->v->log_sd[r], BLOCKS * sizeof *e->log_sd);
    memcpy(e->log_sigma, w->v->log_sigma[r], KINDS * sizeof *e->log_sigma);
    memcpy(h->multiplier[r], w->v->multiplier[r], sizeof h->multiplier[r]);
    h->record[r] = w->v->record[r];
    return estimate_effects(e, w->t->fit->rounds, f) && tables_numbers(w->t, r, w->g, f);
}

bool tables_build(struct tables *t, struct club_fit *fit, const struct facts *x, const struct variances *v, struct fault *f)
{
    struct deck_effects g = {0};
    memset(t, 0, sizeof *t);
    t->fit = fit;
    bool ok = (tables_lay_out(t, x) && tables_group_by_deck(t, x, &g)) || out_of_memory(f);
    if (ok) {
        base_years(t);
        t->head->fitted_us = v->fitted_us;
        t->head->rows = x->row_count;
        t->head->decks_known = x->deck_count;
        t->head->stocks_known = x->stock_count;
    }
    struct number_work w = {t, v, &g};
    ok = ok && both_responses(numbers_of, &w, fit->q.rows >= ASIDE_ROWS, f);
    mem_free(g.start);
    mem_free(g.effect);
    return ok;
}

void tables_free(struct tables *t)
{
    mem_free(t->head);
    mem_free(t->base_deck);
    mem_free(t->base_model);
    mem_free(t->base_class);
    mem_free(t->effect_base);
    mem_free(t->effect_stock);
    mem_free(t->combo);
    mem_free(t->combo_start);
    mem_free(t->member_seen);
    memset(t, 0, sizeof *t);
}

struct model_view *tables_publish(const struct tables *t, const struct slope_table *slopes, int64_t as_of, struct fault *f)
{
    struct model_view *v = mem_zero(1, sizeof *v);
    if (v)
        v->head = mem_alloc((size_t)t->head->bytes);
    if (!v || !v->head) {
        model_view_free(v);
        out_of_memory(f);
        return NULL;
    }
    memcpy(v->head, t->head, (size_t)t->head->bytes);
    v->head->as_of = as_of;
    view_attach(v);
    v->memo = slopes_memo_new(v->head->decks * (CLASS_COUNT + 1));
    /* counting an owner changes nothing of what the table says */
    v->slopes = slope_table_hold((struct slope_table *)slopes);
    return v;
}

struct model_view *view_build(struct club_fit *fit, const struct facts *x, const struct equation_options *o, const struct variances *v,
                              int64_t as_of, struct fault *f)
{
    struct tables t;
    struct model_view *view = tables_build(&t, fit, x, v, f) ? tables_publish(&t, o->slopes, as_of, f) : NULL;
    tables_free(&t);
    return view;
}
