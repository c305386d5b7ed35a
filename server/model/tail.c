/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The arithmetic of one more result; tail_levels.c knows what levels it names. Once a commit: a solve and some passes over the tables.
 */
#include "tail_inside.h"

#include "../ground/memory.h"
#include "normal_hazard.h"

#include <string.h>

#define REWEIGH 4

static int columns(const struct tail *w)
{
    return KNOWN_COLUMNS + w->t->head->effects;
}

/* ---- k = C·x ---- */

/* x·k of one of the updates. */
double tail_share(const struct tail_update *u, enum response r, const struct tail_row *x)
{
    double sum = 0;
    for (int i = 0; u->k[r] && i < x->count; i++)
        if (x->column[i] < u->columns)
            sum += x->value[i] * u->k[r][x->column[i]];
    return sum;
}

void tail_less(const struct tail *w, enum response r, const struct tail_row *x, double *k)
{
    for (int u = 0; u < w->count; u++) {
        const struct tail_update *before = &w->update[u];
        double share = tail_share(before, r, x);
        if (share == 0)
            continue;
        share /= before->s[r];
        for (int j = 0; j < before->columns; j++)
            k[j] -= share * before->k[r][j];
    }
}

double *tail_covariance_before(struct tail *w, enum response r, const struct tail_row *x)
{
    const struct estimate *e = &w->fit->e[r];
    int old = w->fit->q.columns, all = columns(w);
    double *k = mem_zero((size_t)all + 1, sizeof *k);
    if (!k)
        return NULL;
    for (int i = 0; i < x->count; i++)
        if (x->column[i] < old)
            k[x->column[i]] = x->value[i] * e->scale[x->column[i]];
    if (!normal_solve(w->fit->normal[r], k, 1)) {
        mem_free(k);
        return NULL;
    }
    for (int j = 0; j < old; j++)
        k[j] *= e->scale[j];
    for (int i = 0; i < x->count; i++)
        if (x->column[i] >= old)
            k[x->column[i]] = x->value[i] * w->prior[x->column[i] - old][r];
    return k;
}

double *tail_covariance(struct tail *w, enum response r, const struct tail_row *x)
{
    double *k = tail_covariance_before(w, r, x);
    if (k)
        tail_less(w, r, x, k);
    return k;
}

static double mean_of(const struct tail *w, enum response r, int column)
{
    return column < KNOWN_COLUMNS ? w->t->head->known[column].mean[r] : w->t->effects[column - KNOWN_COLUMNS].mean[r];
}

double tail_predicted(const struct tail *w, enum response r, const struct tail_row *x)
{
    double sum = 0;
    for (int i = 0; i < x->count; i++)
        sum += x->value[i] * mean_of(w, r, x->column[i]);
    return sum;
}

/* ---- tables ---- */

static double dot(const struct mixture *m, const double *k)
{
    double sum = 0;
    for (int i = 0; i < m->count; i++)
        sum += m->value[i] * k[m->column[i]];
    return sum;
}

static void project(struct tail *w, enum response r, const double *k)
{
    struct mixture m;
    for (int b = 0; b < w->t->head->bases; b++) {
        base_mixture(w->t, b, true, &m);
        w->phi_base[b] = dot(&m, k);
        base_mixture(w->t, b, false, &m);
        w->phi_timeless[b] = dot(&m, k);
    }
    for (int s = 0; s < w->t->head->stocks; s++) {
        stock_mixture(&w->t->stocks[s], r, &m);
        w->phi_stock[s] = dot(&m, k);
    }
}

static float less(float variance, double by)
{
    double v = (double)variance - by;
    return (float)(v > 0 ? v : 0);
}

static void update_effects(struct tail *w, enum response r, const double *k, double gain, double s)
{
    struct tables *t = w->t;
    for (int j = 0; j < KNOWN_COLUMNS; j++) {
        t->head->known[j].mean[r] += k[j] * gain;
        t->head->known[j].variance[r] = fmax(t->head->known[j].variance[r] - k[j] * k[j] / s, 0);
    }
    for (int c = 0; c < CLASS_COUNT; c++)
        t->head->place_with_recordings[r][c] -= k[PLACE_AT] * k[RECORDINGS_AT + c] / s;
    for (int e = 0; e < t->head->effects; e++) {
        struct view_effect *v = &t->effects[e];
        double own = k[column_of_effect(e)];
        v->mean[r] += own * gain;
        v->variance[r] = less(v->variance[r], own * own / s);
        if (t->effect_base[e] >= 0)
            v->with_base[r] -= (float)(own * w->phi_base[t->effect_base[e]] / s);
        if (t->effect_stock[e] >= 0) {
            int c = t->stocks[t->effect_stock[e]].tape_class;
            v->with_stock[r] -= (float)(own * w->phi_stock[t->effect_stock[e]] / s);
            v->with_place[r] -= (float)(own * k[PLACE_AT] / s);
            if (c >= 0 && c < CLASS_COUNT)
                v->with_recordings[r] -= (float)(own * k[RECORDINGS_AT + c] / s);
        }
    }
    for (int i = 0; i < t->head->combos; i++) {
        const struct combo *c = &t->combo[i];
        int base = t->effect_base[c->pair];
        t->combos[i][r] -=
            (float)(k[column_of_effect(c->other)] * ((base >= 0 ? w->phi_base[base] : 0) + k[column_of_effect(c->pair)]) / s);
    }
}

static void update_sides(struct tail *w, enum response r, const double *k, double s)
{
    struct tables *t = w->t;
    for (int i = 0; i < t->head->eras; i++)
        if (t->eras[i].era_effect >= 0 && t->eras[i].trend_effect >= 0)
            t->eras[i].trend_with_era[r] -=
                (float)(k[column_of_effect(t->eras[i].era_effect)] * k[column_of_effect(t->eras[i].trend_effect)] / s);
    for (int i = 0; i < t->head->stocks; i++) {
        struct view_stock *v = &t->stocks[i];
        double phi = w->phi_stock[i];
        v->variance[r] = less(v->variance[r], phi * phi / s);
        if (v->tape_class >= 0 && v->tape_class < CLASS_COUNT)
            v->with_recordings[r] -= (float)(phi * k[RECORDINGS_AT + v->tape_class] / s);
        v->with_place[r] -= (float)(phi * k[PLACE_AT] / s);
    }
    for (int b = 0; b < t->head->bases; b++) {
        double phi = w->phi_base[b] / s;
        t->bases[b].variance[r] = less(t->bases[b].variance[r], w->phi_base[b] * phi);
        t->bases[b].timeless[r] = less(t->bases[b].timeless[r], w->phi_timeless[b] * w->phi_timeless[b] / s);
        for (int j = 0; phi != 0 && j < KNOWN_COLUMNS; j++)
            t->bases[b].with_known[r][j] -= (float)(phi * k[j]);
        float *row = t->covariance[r] + (size_t)b * (size_t)t->head->stock_room;
        for (int i = 0; phi != 0 && i < t->head->stocks; i++)
            row[i] -= (float)(phi * w->phi_stock[i]);
    }
}

void tail_update_with(struct tail *w, enum response r, const struct tail_row *x, double *k, double y, double variance)
{
    struct tail_update *u = &w->update[w->count];
    double own = 0;
    for (int i = 0; i < x->count; i++)
        own += x->value[i] * k[x->column[i]];
    u->k[r] = k;
    u->columns = columns(w);
    u->s[r] = own + variance;
    project(w, r, k);
    update_effects(w, r, k, (y - tail_predicted(w, r, x)) / u->s[r], u->s[r]);
    update_sides(w, r, k, u->s[r]);
}

/* ---- rows ---- */

/* τ at its fixed point: the residual that is left once the row is in. */
static double settle_weight(double off, double own, double scale2)
{
    struct robust k = robust_usual();
    double tau = robust_weight_foretold(&k, off * off / scale2, own / scale2); /* as a fit does, misfits.h */
    for (int i = 0; i < REWEIGH; i++) {
        double variance = scale2 / tau, left = variance / (own + variance);
        tau = robust_weight(&k, (off * off * left * left + own * left) / scale2);
    }
    return tau;
}

static bool put_in(struct tail *w, struct fact_row *row, struct tail_row *x, const struct row_response *response)
{
    for (int r = 0; r < RESPONSES; r++) {
        w->update[w->count].k[r] = NULL;
        x->precision[r] = x->tau[r] = 0;
        if (response->kind[r] >= KINDS)
            continue;
        double *k = tail_covariance(w, (enum response)r, x);
        if (!k) {
            w->count++; /* the other response's k is freed with the rest */
            return false;
        }
        double sigma = exp(w->fit->e[r].log_sigma[response->kind[r]]), scale2 = sigma * sigma * response->v + response->s2[r];
        double own = 0, at = tail_predicted(w, (enum response)r, x);
        for (int i = 0; i < x->count; i++)
            own += x->value[i] * k[x->column[i]];
        if (response->stop[r]) {
            double s = sqrt(scale2), alpha = response->stop[r] * (response->y[r] - at) / s, lambda = normal_hazard(alpha);
            double curvature = lambda * (lambda - alpha);
            if (curvature < 1e-10) {
                mem_free(k);
                continue;
            }
            x->y[r] = at + response->stop[r] * s * lambda / curvature;
            x->precision[r] = curvature / scale2;
        } else {
            double tau = settle_weight(response->y[r] - at, own, scale2);
            row->tau[r] = (float)tau;
            x->tau[r] = tau;
            x->y[r] = response->y[r];
            x->precision[r] = tau / scale2;
        }
        tail_update_with(w, (enum response)r, x, k, x->y[r], 1 / x->precision[r]);
    }
    w->count++;
    return true;
}

static bool take_out(struct tail *w, const struct tail_row *x)
{
    for (int r = 0; r < RESPONSES; r++) {
        w->update[w->count].k[r] = NULL;
        if (!(x->precision[r] > 0))
            continue;
        double *k = tail_covariance(w, (enum response)r, x);
        if (!k) {
            w->count++; /* the other response's k is freed with the rest */
            return false;
        }
        tail_update_with(w, (enum response)r, x, k, x->y[r], -1 / x->precision[r]);
    }
    w->count++;
    return true;
}

enum tail_result tail_change(struct tail *w, struct facts *x, int fact, const struct equation_options *o)
{
    struct tail_row old, new = {.fact = fact, .gone = true};
    struct fact_row *row = &x->rows[fact];
    if (tail_room(w) < 2)
        return TAIL_FULL_SOLVE;
    if (tail_present(w, fact, &old)) {
        if (!take_out(w, &old))
            return TAIL_MEMORY;
        tail_count(w, &old, NULL, -1);
    }
    if (row->state == ROW_USED) {
        struct flat_memo memo;
        struct row_response response;
        flat_memo_init(&memo);
        row_respond(x, row, o, &memo, &response);
        new.gone = false;
        if (!tail_levels(w, x, row, &new))
            return TAIL_FULL_SOLVE;
        if (!put_in(w, row, &new, &response))
            return TAIL_MEMORY;
        tail_count(w, &new, row, 1);
    }
    if (!tail_remember(w, &new))
        return TAIL_FULL_SOLVE;
    w->t->head->rows = x->row_count;
    enum tail_result result = TAIL_DONE;
    for (int r = 0; r < RESPONSES && result == TAIL_DONE; r++)
        if (tail_doubted(&new, (enum response)r))
            result = tail_reweigh(w, x, fact, (enum response)r);
    return result;
}
