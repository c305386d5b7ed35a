/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Weights after a late result. The result has its own (tail.c), but what it says may show another of its pair or its tape as the one that slipped. Those few
 * are weighed together: what all others say of them is a normal distribution, got from the present one by taking their own weights out,
 *
 *   K₀ = K·(I − W·K)⁻¹,  m₀ = m + K₀·W·(m − y)
 *
 * and from there the usual steps, τ from the expected squared residuals and back, begin with all of them believed, as a full solve's do.
 * Whose weight came out another has the difference worked in.
 */
#include "tail_inside.h"

#include "../ground/memory.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define TOGETHER 8    /* results weighed together at most: the latest; more leave one result no say over the others */
#define OTHER    0.02 /* weights that differ by less are the same */
#define MOVED    0.1  /* scales: what others say of it is then something else */
#define DOUBTED  0.9  /* a result of less weight is doubted */
#define SETTLED  3    /* results weighed anew after those that came together, at most */
#define STILL    1e-4
#define ROUNDS   200

struct group {
    int count;
    struct tail_row row[TOGETHER];
};
struct weighing {
    int n;
    int member[TOGETHER]; /* of the group: ordinary rows of the response */
    double *k[TOGETHER];
    double y[TOGETHER], scale2[TOGETHER];
    double tau[TOGETHER], now[TOGETHER];             /* before and after */
    double mean[TOGETHER], cov[TOGETHER * TOGETHER]; /* without them */
};

/* ---- who ---- */

static void add_member(const struct tail *w, struct group *g, int fact)
{
    for (int i = 0; i < g->count; i++)
        if (g->row[i].fact == fact)
            return;
    if (g->count < TOGETHER && tail_present(w, fact, &g->row[g->count]))
        g->count++;
}

static bool together(const struct fact_row *a, const struct fact_row *b)
{
    return a->stock == b->stock && (a->deck == b->deck || (a->tape == b->tape && a->tape != WORD_NONE));
}

static void gather(const struct tail *w, const struct facts *x, int fact, struct group *g)
{
    const struct fact_row *row = &x->rows[fact];
    g->count = 0;
    add_member(w, g, fact);
    for (int i = w->row_count - 1; i >= 0; i--)
        if (together(row, &x->rows[w->row[i].fact]))
            add_member(w, g, w->row[i].fact);
    for (int other = row->stock < w->stocks_known ? w->stock_first[row->stock] : -1; other >= 0; other = w->stock_next[other])
        if (together(row, &x->rows[other]))
            add_member(w, g, other);
}

/* ---- the few against all others ---- */

/* rhs (n×n, row-major) becomes rhs·(I + sign·P·A)⁻¹, A symmetric: solved as (I + sign·A·P)·Z = rhs', rhs symmetric. */
static bool divide(int n, double sign, const double *a, const double *p, double *rhs)
{
    double system[TOGETHER * TOGETHER];
    lapack_int pivot[TOGETHER];
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
            system[i * n + j] = (i == j) + sign * a[i * n + j] * p[j];
    return LAPACKE_dgesv(LAPACK_ROW_MAJOR, n, n, system, n, pivot, rhs, n) == 0;
}

static bool take_members(struct tail *w, enum response r, const struct group *g, struct weighing *q)
{
    memset(q, 0, sizeof *q);
    for (int i = 0; i < g->count; i++) {
        const struct tail_row *x = &g->row[i];
        if (!(x->tau[r] > 0 && x->precision[r] > 0))
            continue;
        int at = q->n++;
        q->member[at] = i;
        q->y[at] = x->y[r];
        q->tau[at] = x->tau[r];
        q->now[at] = 1;
        q->scale2[at] = x->tau[r] / x->precision[r];
        q->mean[at] = tail_predicted(w, r, x);
        if (!(q->k[at] = tail_covariance_before(w, r, x)))
            return false;
    }
    return true;
}

/* How their predictions vary together now. */
static void covariances(const struct tail *w, enum response r, const struct group *g, const struct weighing *q, double *out)
{
    int n = q->n;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) {
            const struct tail_row *x = &g->row[q->member[i]];
            out[i * n + j] = 0;
            for (int e = 0; e < x->count; e++)
                out[i * n + j] += x->value[e] * q->k[j][x->column[e]];
        }
    for (int u = 0; u < w->count; u++) {
        double share[TOGETHER];
        for (int i = 0; i < n; i++)
            share[i] = tail_share(&w->update[u], r, &g->row[q->member[i]]);
        for (int i = 0; i < n; i++)
            for (int j = 0; share[i] != 0 && j < n; j++)
                out[i * n + j] -= share[i] * share[j] / w->update[u].s[r];
    }
}

/* The normal distribution that all others make of them; without one (they alone hold what they tell) there is nothing to weigh. */
static void without_them(const struct tail *w, enum response r, const struct group *g, struct weighing *q)
{
    double present[TOGETHER * TOGETHER], weight[TOGETHER], pull[TOGETHER];
    int n = q->n;
    covariances(w, r, g, q, present);
    for (int i = 0; i < n; i++) {
        weight[i] = q->tau[i] / q->scale2[i];
        pull[i] = weight[i] * (q->mean[i] - q->y[i]);
    }
    memcpy(q->cov, present, sizeof present);
    if (!divide(n, -1, present, weight, q->cov))
        q->n = 0;
    for (int i = 0; i < q->n; i++)
        for (int j = 0; j < n; j++)
            q->mean[i] += q->cov[i * n + j] * pull[j];
}

/* One round: τ of each from what all of them say with `tau`; the largest change. */
static double round_of(const struct weighing *q, double *tau)
{
    struct robust robust = robust_usual();
    int n = q->n;
    double p[TOGETHER], cov[TOGETHER * TOGETHER], most = 0;
    for (int i = 0; i < n; i++)
        p[i] = tau[i] / q->scale2[i];
    memcpy(cov, q->cov, sizeof cov);
    if (!divide(n, 1, q->cov, p, cov))
        return 0;
    for (int i = 0; i < n; i++) {
        double off = q->y[i] - q->mean[i];
        for (int j = 0; j < n; j++)
            off -= cov[i * n + j] * p[j] * (q->y[j] - q->mean[j]);
        double new = robust_weight(&robust, (off * off + cov[i * n + i]) / q->scale2[i]);
        most = fmax(most, fabs(new - tau[i]));
        tau[i] = new;
    }
    return most;
}

/* ---- worked in ---- */

/* Works the difference in. Takes the member's k over. */
static enum tail_result give_weight(struct tail *w, struct facts *x, enum response r, struct tail_row *row, struct weighing *q, int member)
{
    double more = q->now[member] / q->scale2[member] - row->precision[r], *k = q->k[member];
    if (tail_room(w) < 1)
        return TAIL_FULL_SOLVE;
    tail_less(w, r, row, k);
    for (int other = 0; other < RESPONSES; other++)
        w->update[w->count].k[other] = NULL;
    q->k[member] = NULL;
    tail_update_with(w, r, row, k, row->y[r], 1 / more);
    w->count++;
    row->tau[r] = q->now[member];
    row->precision[r] = q->now[member] / q->scale2[member];
    x->rows[row->fact].tau[r] = (float)row->tau[r];
    return tail_remember(w, row) ? TAIL_DONE : TAIL_FULL_SOLVE;
}

static enum tail_result weigh(struct tail *w, struct facts *x, enum response r, struct group *g)
{
    struct weighing q;
    enum tail_result result = take_members(w, r, g, &q) ? TAIL_DONE : TAIL_MEMORY;
    if (result == TAIL_DONE)
        without_them(w, r, g, &q);
    for (int k = 0; result == TAIL_DONE && k < ROUNDS && round_of(&q, q.now) > STILL; k++)
        ;
    for (int i = 0; result == TAIL_DONE && i < q.n; i++)
        if (fabs(q.now[i] - q.tau[i]) > OTHER)
            result = give_weight(w, x, r, &g->row[q.member[i]], &q, i);
    for (int i = 0; i < TOGETHER; i++)
        mem_free(q.k[i]);
    return result;
}

/* ---- those that were doubted ---- */

bool tail_doubted(const struct tail_row *row, enum response r)
{
    return row->tau[r] > 0 && row->tau[r] < DOUBTED;
}

bool tail_doubts(struct tail *w)
{
    for (int pass = 0; pass < 2; pass++) {
        w->doubt_count = 0;
        for (int r = 0; r < RESPONSES; r++)
            for (int i = 0; i < w->fit->q.rows; i++) {
                double tau = w->fit->e[r].w[i] > 0 && !w->fit->q.stop[r][i] ? w->fit->e[r].tau[i] : 1;
                if (tau >= DOUBTED)
                    continue;
                if (pass)
                    w->doubt[w->doubt_count] = (struct tail_doubt){w->fit->q.fact[i], (enum response)r, w->fit->e[r].fit[i]};
                w->doubt_count++;
            }
        if (pass)
            return true;
        w->doubt_room = w->doubt_count + TAIL_ROWS;
        w->doubt = mem_zero((size_t)w->doubt_room, sizeof *w->doubt);
        if (!w->doubt)
            return false;
    }
    return true;
}

/* Those just weighed, as they stand now. */
static void note_doubts(struct tail *w, enum response r, const struct group *g)
{
    for (int i = 0; i < g->count; i++) {
        const struct tail_row *row = &g->row[i];
        int at = 0;
        while (at < w->doubt_count && (w->doubt[at].fact != row->fact || w->doubt[at].response != r))
            at++;
        if (at == w->doubt_count && (!tail_doubted(row, r) || at == w->doubt_room))
            continue;
        w->doubt[at] = (struct tail_doubt){row->fact, r, tail_predicted(w, r, row)};
        w->doubt_count += at == w->doubt_count;
    }
}

/* ---- the doors ---- */

enum tail_result tail_reweigh(struct tail *w, struct facts *x, int fact, enum response r)
{
    struct group g;
    gather(w, x, fact, &g);
    enum tail_result result = g.count > 1 ? weigh(w, x, r, &g) : TAIL_DONE;
    note_doubts(w, r, &g);
    return result;
}

/* How far what others say of it has moved since it was weighed, in its scales. */
static double moved(const struct tail *w, const struct tail_doubt *d)
{
    struct tail_row row;
    enum response r = d->response;
    if (!tail_present(w, d->fact, &row) || !(row.tau[r] > 0))
        return 0;
    return fabs(tail_predicted(w, r, &row) - d->predicted) / sqrt(row.tau[r] / row.precision[r]);
}

/* The few that moved most: someone waits for the answer, and the next result finds the others. */
enum tail_result tail_settle(struct tail *w, struct facts *x)
{
    int few[SETTLED];
    double by[SETTLED] = {0};
    int count = 0;
    for (int i = 0; i < w->doubt_count; i++) {
        double far = moved(w, &w->doubt[i]);
        int at;
        if (!(far > MOVED) || (count == SETTLED && far <= by[SETTLED - 1]))
            continue;
        count += count < SETTLED;
        for (at = count - 1; at > 0 && by[at - 1] < far; at--) {
            by[at] = by[at - 1];
            few[at] = few[at - 1];
        }
        by[at] = far;
        few[at] = i;
    }
    enum tail_result result = TAIL_DONE;
    for (int k = 0; k < count && result == TAIL_DONE; k++)
        if (moved(w, &w->doubt[few[k]]) > MOVED) /* still: it may have been of the group just weighed */
            result = tail_reweigh(w, x, w->doubt[few[k]].fact, w->doubt[few[k]].response);
    return result;
}
