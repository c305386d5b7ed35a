/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * For each deck: residuals with everything but time taken out, in units of a row's own spread and cut at ±2.5; for each place between two results the sum of
 * squares that a step there explains beside a constant and a slope. The best place begins an era if it explains enough; then both halves are looked at again.
 */
#include "breaks.h"

#include "../ground/memory.h"

#include <stdlib.h>
#include <string.h>

#define CUT 2.5

struct point {
    int64_t at_us;
    struct uuid id;
    int deck, era;
    double years;
    double r[RESPONSES]; /* NaN: tells nothing */
};

static int by_deck_and_time(const void *a, const void *b)
{
    const struct point *x = a, *y = b;
    if (x->deck != y->deck)
        return x->deck < y->deck ? -1 : 1;
    if (x->at_us != y->at_us)
        return x->at_us < y->at_us ? -1 : 1;
    return memcmp(x->id.bytes, y->id.bytes, sizeof x->id.bytes);
}

/* y less all effects but those of time and of its own tape and pair (which would hide a jump), over what one result then scatters. */
static double residual(const struct club_fit *fit, enum response r, int i)
{
    const struct equation *q = &fit->q;
    const struct estimate *e = &fit->e[r];
    if (q->kind[r][i] >= KINDS || q->stop[r][i])
        return NAN;
    double sum = q->y[r][i] - e->fit[i], variance = estimate_scale2(e, i);
    for (int k = q->design.start[i]; k < q->design.start[i + 1]; k++) {
        int j = q->design.column[k];
        bool time = j >= q->first[ERA] && j < q->first[TREND] + q->count[TREND];
        if (time || (j >= q->first[TAPE] && j < q->first[TAPE] + q->count[TAPE]) || j >= q->first[PAIR])
            sum += q->design.value[k] * e->effect[j];
    }
    if (q->level[i][TAPE] >= 0)
        variance += exp(2 * e->log_sd[TAPE]);
    variance += exp(2 * e->log_sd[PAIR]);
    return fmax(-CUT, fmin(CUT, sum / sqrt(variance)));
}

static struct point *points_of(const struct club_fit *fit, const struct facts *x)
{
    const struct equation *q = &fit->q;
    struct point *all = mem_zero((size_t)q->rows + 1, sizeof *all);
    for (int i = 0; all && i < q->rows; i++) {
        const struct fact_row *row = &x->rows[q->fact[i]];
        all[i] = (struct point){.at_us = row->made_at_us,
                                .id = row->id,
                                .deck = row->deck,
                                .era = facts_era(x->decks[row->deck], row->made_at_us),
                                .years = clock_years_between(0, row->made_at_us)};
        for (int r = 0; r < RESPONSES; r++)
            all[i].r[r] = residual(fit, (enum response)r, i);
    }
    if (all)
        qsort(all, (size_t)q->rows, sizeof *all, by_deck_and_time);
    return all;
}

/* Sums over a stretch, for least squares of r on 1, t and a step. */
struct sums {
    double n, t, tt, r, rt;
};

static void add(struct sums *s, const struct point *p, enum response r, double origin)
{
    if (isnan(p->r[r]))
        return;
    double t = p->years - origin;
    s->n++;
    s->t += t;
    s->tt += t * t;
    s->r += p->r[r];
    s->rt += t * p->r[r];
}

/* What a step from the second stretch on explains beside constant and slope: (z'Mr)²/(z'Mz), M taking out 1 and t. */
static double explained(const struct sums *all, const struct sums *late)
{
    double mean_t = all->t / all->n, mean_r = all->r / all->n, mean_z = late->n / all->n;
    double stt = all->tt - all->t * mean_t, str = all->rt - all->t * mean_r;
    double szz = late->n - late->n * mean_z, szt = late->t - all->t * mean_z, szr = late->r - late->n * mean_r;
    /* a slope is worth its prior only: half a dB a year at most */
    double slope_weight = 1 / (stt + 4), z_rest = szz - szt * szt * slope_weight, r_rest = szr - szt * str * slope_weight;
    return z_rest > 1e-9 ? r_rest * r_rest / z_rest : 0;
}

/* Best place to break [from, to); 0 when there is none. The break lies before the point returned. */
static int best_break(const struct point *p, int from, int to)
{
    struct sums all[RESPONSES] = {{0}}, late[RESPONSES] = {{0}};
    int best = 0;
    double most = BREAK_EVIDENCE;
    for (int r = 0; r < RESPONSES; r++)
        for (int i = from; i < to; i++)
            add(&all[r], &p[i], (enum response)r, p[from].years);
    for (int i = to - 1; i >= from + BREAK_ROWS; i--) {
        double sum = 0;
        for (int r = 0; r < RESPONSES; r++) {
            add(&late[r], &p[i], (enum response)r, p[from].years);
            if (late[r].n >= BREAK_ROWS && all[r].n - late[r].n >= BREAK_ROWS)
                sum += explained(&all[r], &late[r]);
        }
        if (sum > most && p[i].at_us > p[i - 1].at_us) {
            most = sum;
            best = i;
        }
    }
    return best;
}

static bool look(const struct point *p, int from, int to, int depth, struct facts *x, int *left, int *found)
{
    int at = to - from >= 2 * BREAK_ROWS && *left > 0 && depth < 3 ? best_break(p, from, to) : 0;
    if (!at)
        return true;
    (*left)--;
    (*found)++;
    int64_t when = p[at - 1].at_us + (p[at].at_us - p[at - 1].at_us) / 2 + 1;
    return facts_put_break(x, p[at].deck, when) && look(p, from, at, depth + 1, x, left, found) &&
           look(p, at, to, depth + 1, x, left, found);
}

bool breaks_find(const struct club_fit *fit, struct facts *x, int *found)
{
    struct point *p = points_of(fit, x);
    bool ok = p != NULL;
    *found = 0;
    for (int from = 0, to; ok && from < fit->q.rows; from = to) {
        int left = BREAKS_A_DECK;
        for (to = from + 1; to < fit->q.rows && p[to].deck == p[from].deck && p[to].era == p[from].era;)
            to++;
        ok = look(p, from, to, 0, x, &left, found);
    }
    mem_free(p);
    return ok;
}
