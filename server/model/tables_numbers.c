/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The numbers in a view's tables, one response at a time: effects and their variances from the inverse on the factor's pattern, and the covariance of every
 * deck's base with every stock's side by one solve a base.
 */
#include "tables.h"

#include "../ground/memory.h"

#include <string.h>

#define SOLVE_TOGETHER 32

void mixture_add(struct mixture *m, int column, double value)
{
    if (column >= 0 && value != 0) {
        m->column[m->count] = column;
        m->value[m->count++] = value;
    }
}

void stock_mixture(const struct view_stock *s, enum response r, struct mixture *out)
{
    out->count = 0;
    if (s->tape_class >= 0 && s->tape_class < CLASS_COUNT)
        mixture_add(out, CLASS_AT + s->tape_class, 1);
    mixture_add(out, column_of_effect(s->family_effect), 1);
    mixture_add(out, column_of_effect(s->stock_effect), 1);
    if (given(s->sheet[r]))
        mixture_add(out, SHEET_AT + (int)r, s->sheet[r]);
}

void base_mixture(const struct tables *t, int base, bool timed, struct mixture *out)
{
    out->count = 0;
    mixture_add(out, column_of_effect(t->base_model[base]), 1);
    if (t->base_deck[base] < 0)
        return;
    const struct view_deck *d = &t->decks[t->base_deck[base]];
    mixture_add(out, column_of_effect(d->deck_effect), 1);
    if (t->base_class[base] >= 0)
        mixture_add(out, column_of_effect(d->class_effect[t->base_class[base]]), 1);
    if (timed && d->base_era >= 0) {
        mixture_add(out, column_of_effect(t->eras[d->base_era].era_effect), 1);
        mixture_add(out, column_of_effect(t->eras[d->base_era].trend_effect), t->bases[base].base_years);
    }
}

/* Covariance of two effects' columns; 0 where the factor's pattern does not hold it. */
static double covariance(const struct tables *t, enum response r, int i, int j)
{
    const struct estimate *e = &t->fit->e[r];
    double z = normal_element(t->fit->normal[r], i, j);
    return isnan(z) ? 0 : z * e->scale[i] * e->scale[j];
}

static double mixture_with(const struct tables *t, enum response r, const struct mixture *m, int column)
{
    double sum = 0;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * covariance(t, r, m->column[i], column);
    return sum;
}

static double mixture_times(const struct mixture *m, const double *with)
{
    double sum = 0;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * with[m->column[i]];
    return sum;
}

static double mixture_variance(const struct tables *t, enum response r, const struct mixture *m)
{
    double sum = 0;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * mixture_with(t, r, m, m->column[i]);
    return sum > 0 ? sum : 0;
}

/* Covariance of a solved base with every effect; in a large club that of the deck's base without a class, and `own` the effect deck×class that is added as far as
 * the factor's pattern holds it (−1 = none). */
struct solved {
    const double *with;
    int own;
};

static double solved_at(const struct tables *t, enum response r, const struct solved *s, int column)
{
    return s->with[column] + (s->own < 0 ? 0 : covariance(t, r, s->own, column));
}

static double solved_with(const struct tables *t, enum response r, const struct solved *s, const struct mixture *m)
{
    double sum = 0;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * solved_at(t, r, s, m->column[i]);
    return sum;
}

/* ---- effects and stock sides ---- */

static void fill_effects(struct tables *t, enum response r)
{
    const struct estimate *e = &t->fit->e[r];
    for (int j = 0; j < KNOWN_COLUMNS; j++) {
        t->head->known[j].mean[r] = e->effect[j];
        t->head->known[j].variance[r] = e->variance[j] * e->scale[j] * e->scale[j];
    }
    for (int j = KNOWN_COLUMNS; j < t->fit->q.columns; j++) {
        t->effects[j - KNOWN_COLUMNS].mean[r] = e->effect[j];
        t->effects[j - KNOWN_COLUMNS].variance[r] = (float)(e->variance[j] * e->scale[j] * e->scale[j]);
    }
    for (int k = 0; k < KINDS; k++)
        t->head->sigma[r][k] = exp(e->log_sigma[k]);
    for (int k = 0; k < BLOCKS; k++)
        t->head->sd[r][k] = exp(e->log_sd[k]);
}

static void fill_stock_sides(struct tables *t, enum response r)
{
    struct mixture m;
    for (int i = 0; i < t->head->stocks; i++) {
        struct view_stock *k = &t->stocks[i];
        stock_mixture(k, r, &m);
        k->variance[r] = (float)mixture_variance(t, r, &m);
    }
    for (int e = 0; e < t->head->effects; e++)
        if (t->effect_stock[e] >= 0) {
            const struct view_stock *k = &t->stocks[t->effect_stock[e]];
            stock_mixture(k, r, &m);
            t->effects[e].with_stock[r] = (float)mixture_with(t, r, &m, column_of_effect(e));
        }
    for (int i = 0; i < t->head->eras; i++)
        if (t->eras[i].era_effect >= 0 && t->eras[i].trend_effect >= 0)
            t->eras[i].trend_with_era[r] =
                (float)covariance(t, r, column_of_effect(t->eras[i].era_effect), column_of_effect(t->eras[i].trend_effect));
}

/* ---- bases ---- */

/* What a solved base tells of its own deck's extras. */
static void fill_extras(struct tables *t, enum response r, int base, const struct solved *s, const int *effect, int count)
{
    int d = t->base_deck[base];
    for (int i = 0; i < count; i++)
        if (t->effect_base[effect[i]] == base)
            t->effects[effect[i]].with_base[r] = (float)solved_at(t, r, s, column_of_effect(effect[i]));
    for (int i = t->combo_start[d]; i < t->combo_start[d + 1]; i++)
        if (t->effect_base[t->combo[i].pair] == base) {
            int other = column_of_effect(t->combo[i].other);
            t->combos[i][r] = (float)(solved_at(t, r, s, other) + covariance(t, r, other, column_of_effect(t->combo[i].pair)));
        }
}

static void fill_base(struct tables *t, enum response r, int base, const struct solved *s)
{
    struct mixture m;
    base_mixture(t, base, true, &m);
    t->bases[base].variance[r] = (float)solved_with(t, r, s, &m);
    base_mixture(t, base, false, &m);
    t->bases[base].timeless[r] = (float)mixture_variance(t, r, &m);
    for (int j = 0; j < KNOWN_COLUMNS; j++)
        t->bases[base].with_known[r][j] = (float)solved_at(t, r, s, j);
    float *row = t->covariance[r] + (size_t)base * (size_t)t->head->stock_room;
    for (int i = 0; i < t->head->stocks; i++) {
        stock_mixture(&t->stocks[i], r, &m);
        row[i] = (float)solved_with(t, r, s, &m);
    }
}

/* Columns asked for, each once: of all bases, then of one after the other. */
struct column_list {
    unsigned char *listed; /* columns */
    int *column, count, common;
};

static void want(struct column_list *l, int column)
{
    if (column >= 0 && !l->listed[column]) {
        l->listed[column] = 1;
        l->column[l->count++] = column;
    }
}

static void forget(struct column_list *l, int from)
{
    for (int i = from; i < l->count; i++)
        l->listed[l->column[i]] = 0;
}

/* All columns that fill_base and fill_extras read of every base's answer: what is known, families, stocks; and of one base's alone. */
static void want_common(const struct tables *t, struct column_list *l)
{
    for (int j = 0; j < t->fit->q.first[BATCH]; j++)
        want(l, j);
    l->common = l->count;
}

static void want_own(const struct tables *t, int base, const struct deck_effects *g, struct column_list *l)
{
    struct mixture m;
    int d = t->base_deck[base];
    base_mixture(t, base, true, &m);
    for (int i = 0; i < m.count; i++)
        want(l, m.column[i]);
    if (d < 0)
        return;
    for (int c = 0; c < CLASS_COUNT; c++)
        want(l, column_of_effect(t->decks[d].class_effect[c]));
    for (int i = g->start[d]; i < g->start[d + 1]; i++)
        want(l, column_of_effect(g->effect[i]));
    for (int i = t->combo_start[d]; i < t->combo_start[d + 1]; i++) {
        want(l, column_of_effect(t->combo[i].other));
        want(l, column_of_effect(t->combo[i].pair));
    }
}

/* Covariances of these bases with the columns asked for, to x. `l` holds what is common and is used for the rest. */
static void solve_bases(struct tables *t, enum response r, const int *list, int count, const struct deck_effects *g, struct column_list *l,
                        double *x)
{
    const struct estimate *e = &t->fit->e[r];
    size_t columns = (size_t)t->fit->q.columns;
    struct mixture m[SOLVE_TOGETHER];
    struct normal_few b[SOLVE_TOGETHER] = {{0}};
    for (int k = 0; k < count; k++) {
        int first = l->count;
        base_mixture(t, list[k], true, &m[k]);
        for (int i = 0; i < m[k].count; i++)
            m[k].value[i] *= e->scale[m[k].column[i]];
        want_own(t, list[k], g, l);
        b[k] = (struct normal_few){m[k].count, m[k].column, m[k].value, l->column + first, l->count - first};
        forget(l, first);
    }
    normal_solve_few(t->fit->normal[r], b, count, l->column, l->common, x);
    for (int k = 0; k < count; k++) {
        double *own = x + (size_t)k * columns;
        for (int i = 0; i < l->common; i++)
            own[l->column[i]] *= e->scale[l->column[i]];
        for (int i = 0; i < b[k].wanteds; i++)
            own[b[k].wanted[i]] *= e->scale[b[k].wanted[i]];
    }
    l->count = l->common;
}

static bool fill_bases(struct tables *t, enum response r, const struct deck_effects *g)
{
    size_t columns = (size_t)t->fit->q.columns;
    bool many = t->fit->q.columns > MANY_COLUMNS;
    double *x = mem_zero(columns + 1, SOLVE_TOGETHER * sizeof *x);
    struct column_list l = {.listed = mem_zero(columns + 1, 1), .column = mem_zero(columns + 1, SOLVE_TOGETHER * sizeof *l.column)};
    bool ok = x && l.listed && l.column;
    if (ok)
        want_common(t, &l);
    for (int next = 0; ok && next < t->head->bases;) {
        int list[SOLVE_TOGETHER], count = 0;
        for (; next < t->head->bases && count < SOLVE_TOGETHER; next++)
            if (!many || t->base_class[next] < 0)
                list[count++] = next;
        solve_bases(t, r, list, count, g, &l, x);
        for (int k = 0; k < count; k++) {
            int base = list[k], d = t->base_deck[base];
            struct solved solved = {x + (size_t)k * columns, -1};
            fill_base(t, r, base, &solved);
            if (d < 0)
                continue;
            const int *effect = g->effect + g->start[d];
            int effects = g->start[d + 1] - g->start[d];
            fill_extras(t, r, base, &solved, effect, effects);
            for (int b = base + 1; many && b < t->head->bases && t->base_deck[b] == d; b++) { /* its classes follow it */
                solved.own = column_of_effect(t->decks[d].class_effect[t->base_class[b]]);
                fill_base(t, r, b, &solved);
                fill_extras(t, r, b, &solved, effect, effects);
            }
        }
    }
    mem_free(x);
    mem_free(l.listed);
    mem_free(l.column);
    return ok;
}

/* A side that no row has whole (a family met in other classes only, a maker's figure of a tape nobody has logged): its parts' covariances are not in the pattern. */
static bool in_pattern(const struct tables *t, enum response r, const struct mixture *m)
{
    for (int i = 0; i < m->count; i++)
        for (int k = 0; k < i; k++)
            if (isnan(normal_element(t->fit->normal[r], m->column[i], m->column[k])))
                return false;
    return true;
}

/* The variance of such a side by a solve; `x` has room for a vector. */
static bool fill_side(struct tables *t, enum response r, struct view_stock *k, const struct mixture *m, double *x)
{
    const struct estimate *e = &t->fit->e[r];
    double sum = 0;
    memset(x, 0, (size_t)t->fit->q.columns * sizeof *x);
    for (int i = 0; i < m->count; i++)
        x[m->column[i]] += m->value[i] * e->scale[m->column[i]];
    if (!normal_solve(t->fit->normal[r], x, 1))
        return false;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * e->scale[m->column[i]] * x[m->column[i]];
    k->variance[r] = (float)(sum > 0 ? sum : 0);
    return true;
}

/* What a class's times recorded over, and the place, have in common with each stock's side, and with each pair, batch and tape, by a solve each: the factor's
 * pattern does not hold those that no row has together. */
static bool fill_known(struct tables *t, enum response r)
{
    const struct estimate *e = &t->fit->e[r];
    size_t columns = (size_t)t->fit->q.columns, place = CLASS_COUNT;
    double *x = mem_zero(columns + 1, (CLASS_COUNT + 1) * sizeof *x);
    for (size_t c = 0; x && c < CLASS_COUNT; c++)
        x[c * columns + RECORDINGS_AT + c] = e->scale[RECORDINGS_AT + c];
    if (x)
        x[place * columns + PLACE_AT] = e->scale[PLACE_AT];
    bool ok = x && normal_solve(t->fit->normal[r], x, CLASS_COUNT + 1);
    for (size_t c = 0; ok && c <= CLASS_COUNT; c++)
        for (size_t j = 0; j < columns; j++)
            x[c * columns + j] *= e->scale[j];
    for (int c = 0; ok && c < CLASS_COUNT; c++)
        t->head->place_with_recordings[r][c] = x[place * columns + RECORDINGS_AT + (size_t)c];
    for (int i = 0; ok && i < t->head->effects; i++) {
        int c = t->effect_stock[i] < 0 ? -1 : t->stocks[t->effect_stock[i]].tape_class, j = column_of_effect(i);
        if (c >= 0 && c < CLASS_COUNT)
            t->effects[i].with_recordings[r] = (float)x[(size_t)c * columns + (size_t)j];
        t->effects[i].with_place[r] = (float)x[place * columns + (size_t)j];
    }
    for (int i = 0; ok && i < t->head->stocks; i++) {
        struct view_stock *k = &t->stocks[i];
        struct mixture m;
        stock_mixture(k, r, &m);
        if (k->tape_class >= 0 && k->tape_class < CLASS_COUNT)
            k->with_recordings[r] = (float)mixture_times(&m, x + (size_t)k->tape_class * columns);
        k->with_place[r] = (float)mixture_times(&m, x + place * columns);
    }
    for (int i = 0; ok && i < t->head->stocks; i++) {
        struct mixture m;
        stock_mixture(&t->stocks[i], r, &m);
        ok = in_pattern(t, r, &m) || fill_side(t, r, &t->stocks[i], &m, x);
    }
    mem_free(x);
    return ok;
}

bool tables_numbers(struct tables *t, enum response r, const struct deck_effects *g, struct fault *f)
{
    fill_effects(t, r);
    fill_stock_sides(t, r);
    return (fill_known(t, r) && fill_bases(t, r, g)) || fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while drawing the tables");
}
