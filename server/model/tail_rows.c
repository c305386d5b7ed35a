/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A tail's memory: which rows the full solve had, and what each that came or changed since has put in.
 */
#include "tail_inside.h"

#include "../ground/memory.h"

#define MOST_UPDATES 256
#define MOST_NUMBERS 4000000 /* of all k together, a response */

static void index_rows(struct tail *w, const struct facts *x)
{
    const struct equation *q = &w->fit->q;
    for (int i = 0; i < x->row_count; i++)
        w->equation_row[i] = -1;
    for (int s = 0; s < x->stock_count; s++)
        w->stock_first[s] = -1;
    for (int i = 0; i < q->rows; i++) { /* ids grow with time: the latest of a stock comes to stand first */
        int fact = q->fact[i], stock = x->rows[fact].stock;
        w->equation_row[fact] = i;
        w->stock_next[fact] = w->stock_first[stock];
        w->stock_first[stock] = fact;
    }
}

struct tail *tail_new(struct club_fit *fit, struct tables *t, const struct facts *x)
{
    struct tail *w = mem_zero(1, sizeof *w);
    if (!w)
        return NULL;
    w->fit = fit;
    w->t = t;
    w->most = MOST_NUMBERS / (fit->q.columns + 1);
    w->most = w->most > MOST_UPDATES ? MOST_UPDATES : w->most < 16 ? 16 : w->most;
    w->update = mem_zero((size_t)w->most, sizeof *w->update);
    w->facts_known = x->row_count;
    w->equation_row = mem_zero((size_t)x->row_count + 1, sizeof *w->equation_row);
    w->stocks_known = x->stock_count;
    w->stock_first = mem_zero((size_t)x->stock_count + 1, sizeof *w->stock_first);
    w->stock_next = mem_zero((size_t)x->row_count + 1, sizeof *w->stock_next);
    w->changed = mem_zero((size_t)x->row_count + 1, sizeof *w->changed);
    w->phi_base = mem_zero((size_t)t->head->base_room, sizeof *w->phi_base);
    w->phi_timeless = mem_zero((size_t)t->head->base_room, sizeof *w->phi_timeless);
    w->phi_stock = mem_zero((size_t)t->head->stock_room, sizeof *w->phi_stock);
    if (!w->update || !w->equation_row || !w->changed || !w->stock_first || !w->stock_next || !w->phi_base || !w->phi_timeless ||
        !w->phi_stock) {
        tail_free(w);
        return NULL;
    }
    index_rows(w, x);
    if (!tail_doubts(w)) {
        tail_free(w);
        return NULL;
    }
    return w;
}

void tail_free(struct tail *w)
{
    if (!w)
        return;
    for (int u = 0; u < w->count; u++)
        for (int r = 0; r < RESPONSES; r++)
            mem_free(w->update[u].k[r]);
    mem_free(w->update);
    mem_free(w->equation_row);
    mem_free(w->changed);
    mem_free(w->doubt);
    mem_free(w->stock_first);
    mem_free(w->stock_next);
    mem_free(w->phi_base);
    mem_free(w->phi_timeless);
    mem_free(w->phi_stock);
    mem_free(w);
}

static int least(int a, int b)
{
    return a < b ? a : b;
}

/* A row may name a tape and a batch that its deck has not met, and a level of several kinds that nothing has. */
int tail_room(const struct tail *w)
{
    const struct view_head *h = w->t->head;
    int effects = least((int)h->effect_room - (int)h->effects, ROOM_EFFECTS - w->level_count);
    return least(least(w->most - w->count, TAIL_ROWS - w->row_count), least(((int)h->combo_room - (int)h->combos) / 2, effects / 4));
}

bool tail_worn(const struct tail *w)
{
    return tail_room(w) * 2 < least(w->most, TAIL_ROWS);
}

/* ---- rows ---- */

static int late_row(const struct tail *w, int fact)
{
    if (fact < w->facts_known)
        return w->changed[fact] - 1;
    for (int i = w->row_count - 1; i >= 0; i--)
        if (w->row[i].fact == fact)
            return i;
    return -1;
}

bool tail_present(const struct tail *w, int fact, struct tail_row *out)
{
    int late = late_row(w, fact);
    if (late >= 0) {
        *out = w->row[late];
        return !out->gone;
    }
    int i = fact < w->facts_known ? w->equation_row[fact] : -1;
    if (i < 0)
        return false;
    const struct equation *q = &w->fit->q;
    *out = (struct tail_row){.fact = fact};
    for (int e = q->design.start[i]; e < q->design.start[i + 1]; e++) {
        out->column[out->count] = q->design.column[e];
        out->value[out->count++] = q->design.value[e];
    }
    for (int r = 0; r < RESPONSES; r++) {
        out->precision[r] = w->fit->e[r].w[i];
        out->tau[r] = out->precision[r] > 0 && !q->stop[r][i] ? w->fit->e[r].tau[i] : 0;
        out->y[r] = w->fit->e[r].working_y[i];
    }
    return true;
}

bool tail_remember(struct tail *w, const struct tail_row *x)
{
    int late = late_row(w, x->fact);
    if (late < 0 && w->row_count == TAIL_ROWS)
        return false;
    if (late < 0) {
        late = w->row_count++;
        if (x->fact < w->facts_known)
            w->changed[x->fact] = late + 1;
    }
    w->row[late] = *x;
    return true;
}
