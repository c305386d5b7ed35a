/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One weighted line a dial; once a fit, for the few decks whose dials have to be learned.
 */
#include "worths.h"

#include "../ground/memory.h"
#include "flat_rows.h"

#include <math.h>
#include <string.h>

#define HUBER  2.0
#define ROUNDS 4

struct point {
    double need, units, weight; /* what the stock wants, dB; how far the dial was turned for it, its units; robust weight */
    int tape_class;
};

/* Class, recordings, place, maker's figure, family and stock: what a row owes to its tape's stock. */
static double need_of(const struct club_fit *fit, enum response r, int i)
{
    const struct equation *q = &fit->q;
    double sum = 0;
    for (int k = q->design.start[i]; k < q->design.start[i + 1]; k++) {
        int j = q->design.column[k];
        if (j < q->first[BATCH])
            sum += q->design.value[k] * fit->e[r].effect[j];
    }
    return sum;
}

/* Slope through the points, classes having an intercept each; *error its standard error. NaN when the needs hardly differ. */
static double slope_of(struct point *p, int n, double *error)
{
    double slope = NAN;
    for (int round = 0; round < ROUNDS; round++) {
        double weight[CLASS_COUNT] = {0}, need[CLASS_COUNT] = {0}, units[CLASS_COUNT] = {0}, xx = 0, xy = 0, rr = 0, all = 0;
        int classes = 0;
        for (int i = 0; i < n; i++) {
            weight[p[i].tape_class] += p[i].weight;
            need[p[i].tape_class] += p[i].weight * p[i].need;
            units[p[i].tape_class] += p[i].weight * p[i].units;
        }
        for (int i = 0; i < n; i++) {
            int c = p[i].tape_class;
            double x = p[i].need - need[c] / weight[c], y = p[i].units - units[c] / weight[c];
            xx += p[i].weight * x * x;
            xy += p[i].weight * x * y;
            all += p[i].weight;
        }
        for (int c = 0; c < CLASS_COUNT; c++)
            classes += weight[c] > 0;
        if (xx < WORTH_SPREAD || n <= classes + 1)
            return NAN;
        slope = xy / xx;
        for (int i = 0; i < n; i++) {
            int c = p[i].tape_class;
            double off = p[i].units - units[c] / weight[c] - slope * (p[i].need - need[c] / weight[c]);
            rr += p[i].weight * off * off;
        }
        double scatter = sqrt(rr / fmax(all - classes - 1, 1)) + 1e-12;
        *error = scatter / sqrt(xx);
        for (int i = 0; i < n; i++) {
            int c = p[i].tape_class;
            double off = p[i].units - units[c] / weight[c] - slope * (p[i].need - need[c] / weight[c]);
            p[i].weight = fmin(1, HUBER * scatter / (fabs(off) + 1e-12));
        }
    }
    return slope;
}

static int points_of(const struct club_fit *fit, const struct equation_options *o, const struct facts *x, int deck, enum response r,
                     const int *of_stock, int *on_deck, struct point *p)
{
    const struct equation *q = &fit->q;
    struct flat_memo memo;
    int n = 0;
    flat_memo_init(&memo);
    memset(on_deck, 0, (size_t)x->stock_count * sizeof *on_deck);
    for (int i = 0; i < q->rows; i++)
        if (x->rows[q->fact[i]].deck == deck)
            on_deck[x->rows[q->fact[i]].stock]++;
    for (int i = 0; i < q->rows; i++) {
        const struct fact_row *row = &x->rows[q->fact[i]];
        const struct fact_stock *s = x->stocks[row->stock];
        int c = (int)s->tape_class;
        struct row_response response;
        if (row->deck != deck || q->kind[r][i] >= KINDS || q->stop[r][i] || row->method != METHOD_FLAT || c < 0 || c >= CLASS_COUNT ||
            of_stock[row->stock] - on_deck[row->stock] < WORTH_ELSEWHERE)
            continue;
        row_respond(x, row, o, &memo, &response);
        double figure = given(s->sheet[r]) ? SHEET_MEAN * s->sheet[r] : 0; /* taken out of the response, as of what is fitted */
        p[n++] = (struct point){.need = need_of(fit, r, i) + figure,
                                .units = (response.y[r] + figure) / memo.at.worth[r].db_per_unit,
                                .weight = 1,
                                .tape_class = c};
    }
    return n;
}

static bool learns(const struct deck *d, enum response r)
{
    const struct dial *dial = r == BIAS ? &d->bias_dial : &d->level_dial;
    return dial->present && dial->scale == SCALE_LEARN;
}

bool worths_find(const struct club_fit *fit, const struct equation_options *o, struct facts *x, int *found)
{
    const struct equation *q = &fit->q;
    int *of_stock = mem_zero((size_t)x->stock_count + 1, sizeof *of_stock),
        *on_deck = mem_zero((size_t)x->stock_count + 1, sizeof *on_deck);
    struct point *p = mem_zero((size_t)q->rows + 1, sizeof *p);
    bool ok = of_stock && on_deck && p;
    *found = 0;
    for (int i = 0; ok && i < q->rows; i++)
        of_stock[x->rows[q->fact[i]].stock]++;
    for (int d = 0; ok && d < x->deck_count; d++)
        for (int r = 0; r < RESPONSES; r++) {
            const struct deck *deck = &x->decks[d]->deck;
            if (!learns(deck, (enum response)r))
                continue;
            int n = points_of(fit, o, x, d, (enum response)r, of_stock, on_deck, p);
            double error = 0, slope = n >= WORTH_ROWS ? slope_of(p, n, &error) : NAN;
            double believed = dial_worth_prior(r == BIAS ? &deck->bias_dial : &deck->level_dial).db_per_unit;
            if (!(slope > WORTH_CERTAIN * error) || !(error > 0) || !(fabs(log(slope * believed)) < log(WORTH_ODD)))
                continue;
            x->decks[d]->shared[r] = (struct dial_worth){.db_per_unit = 1 / slope, .se = error / (slope * slope)};
            ++*found;
        }
    mem_free(of_stock);
    mem_free(on_deck);
    mem_free(p);
    return ok;
}
