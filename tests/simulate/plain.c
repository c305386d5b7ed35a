/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Plain means to be better than. Each takes a result's setting as it was written, in nominal dB, as a club with a sheet of paper would.
 */
#include "judge.h"

#include "ground/memory.h"
#include "trade/dial.h"

#include <stdlib.h>
#include <string.h>

struct paper_row {
    int deck, stock, tape_class;
    double db[2];
    bool has[2];
};
struct paper {
    struct estimator e; /* first: released with it */
    const struct club *club;
    enum plain which;
    struct paper_row *rows;
    long count, room;
    double *of_deck[2], *of_stock[2], of_class[CLASS_COUNT][2], all[2];
    long *stock_rows;
};

static bool paper_learn(void *state, const struct diary_row *row, long seq)
{
    struct paper *p = state;
    (void)seq;
    if (p->count == p->room) {
        long room = p->room ? 2 * p->room : 256;
        struct paper_row *grown = mem_grow(p->rows, (size_t)room, sizeof *grown);
        if (!grown)
            return false;
        p->rows = grown;
        p->room = room;
    }
    struct paper_row r = {row->deck, row->stock, (int)p->club->stocks[row->stock].record.tape_class, {0, 0}, {false, false}};
    for (int d = 0; d < p->club->deck_count; d++)
        if (strcmp(p->club->decks[d].record.id, row->calibration.deck) == 0)
            r.deck = d;
    const struct bench_deck *deck = &p->club->decks[r.deck];
    for (int i = 0; i < 2; i++) {
        const struct dial *dial = i ? &deck->record.level_dial : &deck->record.bias_dial;
        double reading = i ? row->calibration.level : row->calibration.bias;
        r.has[i] = dial->present && given(reading);
        if (r.has[i])
            r.db[i] = dial_to_db(dial, deck->dial[i].learned, reading);
    }
    p->rows[p->count++] = r;
    return true;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static bool stock_medians(struct paper *p)
{
    double *of = mem_zero((size_t)p->count + 1, sizeof *of);
    if (!of)
        return false;
    for (int i = 0; i < 2; i++)
        for (int s = 0; s < p->club->stock_count; s++) {
            size_t n = 0;
            for (long r = 0; r < p->count; r++)
                if (p->rows[r].stock == s && p->rows[r].has[i])
                    of[n++] = p->rows[r].db[i];
            qsort(of, n, sizeof *of, rising);
            if (n > 0)
                p->of_stock[i][s] = n % 2 ? of[n / 2] : 0.5 * (of[n / 2 - 1] + of[n / 2]);
        }
    mem_free(of);
    return true;
}

static void means(struct paper *p, int i)
{
    long n = 0, in_class[CLASS_COUNT] = {0};
    double sum = 0, class_sum[CLASS_COUNT] = {0};
    memset(p->of_deck[i], 0, (size_t)p->club->deck_count * sizeof(double));
    memset(p->of_stock[i], 0, (size_t)p->club->stock_count * sizeof(double));
    memset(p->stock_rows, 0, (size_t)p->club->stock_count * sizeof(long));
    for (long r = 0; r < p->count; r++)
        if (p->rows[r].has[i]) {
            n++;
            sum += p->rows[r].db[i];
            in_class[p->rows[r].tape_class]++;
            class_sum[p->rows[r].tape_class] += p->rows[r].db[i];
            p->stock_rows[p->rows[r].stock]++;
            p->of_stock[i][p->rows[r].stock] += p->rows[r].db[i];
        }
    p->all[i] = n ? sum / (double)n : 0;
    for (int c = 0; c < CLASS_COUNT; c++)
        p->of_class[c][i] = in_class[c] ? class_sum[c] / (double)in_class[c] : p->all[i];
    for (int s = 0; s < p->club->stock_count; s++)
        p->of_stock[i][s] =
            p->stock_rows[s] ? p->of_stock[i][s] / (double)p->stock_rows[s] : p->of_class[p->club->stocks[s].record.tape_class][i];
}

/* Stock and deck means in turn until they agree: what a careful person could do by hand, without any weighing. */
static bool two_way(struct paper *p, int i)
{
    size_t longest = (size_t)(p->club->deck_count > p->club->stock_count ? p->club->deck_count : p->club->stock_count);
    double *sum = mem_zero(longest, sizeof *sum);
    long *n = mem_zero(longest, sizeof *n);
    for (int round = 0; sum && n && round < 60; round++) {
        double *to = round % 2 ? p->of_stock[i] : p->of_deck[i];
        int levels = round % 2 ? p->club->stock_count : p->club->deck_count;
        memset(sum, 0, longest * sizeof *sum);
        memset(n, 0, longest * sizeof *n);
        for (long r = 0; r < p->count; r++) {
            const struct paper_row *w = &p->rows[r];
            int k = round % 2 ? w->stock : w->deck;
            if (!w->has[i])
                continue;
            sum[k] += w->db[i] - (round % 2 ? p->of_deck[i][w->deck] : p->of_stock[i][w->stock]);
            n[k]++;
        }
        for (int k = 0; k < levels; k++)
            if (n[k])
                to[k] = sum[k] / (double)n[k];
    }
    bool ok = sum && n;
    mem_free(sum);
    mem_free(n);
    return ok;
}

static bool paper_settle(void *state, bool whole)
{
    struct paper *p = state;
    (void)whole;
    for (int i = 0; i < 2; i++) {
        means(p, i);
        if (p->which == PLAIN_TWO_WAY && !two_way(p, i))
            return false;
    }
    return p->which != PLAIN_MEDIAN || stock_medians(p);
}

static bool paper_ask(void *state, const struct judge_question *q, struct judge_answer *out)
{
    const struct paper *p = state;
    int c = p->club->stocks[q->stock].record.tape_class;
    double db[2];
    for (int i = 0; i < 2; i++)
        db[i] = p->which == PLAIN_CLASS ? p->of_class[c][i] : p->of_stock[i][q->stock] + p->of_deck[i][q->deck];
    *out = (struct judge_answer){db[0], db[1], 1, 0, 0, 0};
    return true;
}

static void paper_release(void *state)
{
    struct paper *p = state;
    if (!p)
        return;
    mem_free(p->rows);
    for (int i = 0; i < 2; i++) {
        mem_free(p->of_deck[i]);
        mem_free(p->of_stock[i]);
    }
    mem_free(p->stock_rows);
    mem_free(p);
}

struct estimator *plain_new(const struct club *c, enum plain which)
{
    static const char *const NAME[PLAIN_COUNT] = {"mean of the class", "mean of the stock", "median of the stock", "stock and deck means"};
    struct paper *p = mem_zero(1, sizeof *p);
    if (!p)
        return NULL;
    p->club = c;
    p->which = which;
    p->stock_rows = mem_zero((size_t)c->stock_count, sizeof *p->stock_rows);
    bool ok = p->stock_rows != NULL;
    for (int i = 0; i < 2; i++) {
        p->of_deck[i] = mem_zero((size_t)c->deck_count, sizeof(double));
        p->of_stock[i] = mem_zero((size_t)c->stock_count, sizeof(double));
        ok = ok && p->of_deck[i] && p->of_stock[i];
    }
    p->e = (struct estimator){NAME[which], p, paper_learn, paper_settle, paper_ask, paper_release};
    if (ok)
        return &p->e;
    paper_release(p);
    return NULL;
}
