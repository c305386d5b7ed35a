/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/coverage: decks × stocks as a grid of how many results there are and how sure the book is, and which pairs one calibration would teach the club
 * most about. From the view's tables alone, but up to LIMIT_COVERAGE_PAIRS questions: on a worker.
 */
#include "coverage.h"

#include "actions.h"
#include "answer.h"

#include "../model/outlook.h"
#include "../wire/wire.h"
#include "results.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TRY_NEXT 12

static double positive(double x)
{
    return x > 0 ? x : 0;
}

double coverage_fall(const struct coverage_pair *p)
{
    double both = (p->whole - p->deck - p->stock - p->pair) / 2;
    double with_deck = positive(p->deck + both), with_other = positive(p->deck_other + both), with_stock = positive(p->stock + both);
    double sum = p->whole * p->whole + p->same_class * with_deck * with_deck + p->other_class * with_other * with_other +
                 p->decks * with_stock * with_stock;
    double divisor = p->whole + p->noise;
    return divisor > 0 ? sum / divisor : 0;
}

/* ---- the grid ---- */

struct edge { /* one deck, or one stock */
    const struct deck *deck;
    const struct stock *stock;
    long rows;
    int named; /* in try_next */
    enum medium medium;
    double variance[RESPONSES]; /* of a deck: what it shares over all classes */
    struct outlook_stock outlook;
};

struct cell {
    long rows;
    float se[RESPONSES];
    double fall;
    bool fits; /* the media agree */
};

struct grid {
    const struct view *view;
    struct edge *decks, *stocks;
    int deck_count, stock_count, decks_left_out, stocks_left_out;
    int per_class[2][CLASS_COUNT], per_medium_stocks[2], per_medium_decks[2];
    struct cell *cells; /* by deck, then stock */
    double whole;       /* sum of all variances */
    int64_t at_us;
};

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
}

static int by_rows(const void *a, const void *b)
{
    const struct edge *x = a, *y = b;
    if (x->rows != y->rows)
        return x->rows < y->rows ? 1 : -1;
    return strcmp(x->deck ? x->deck->id : x->stock->id, y->deck ? y->deck->id : y->stock->id);
}

static enum medium medium_of(const struct stock *s)
{
    return s->tape_class >= CLASS_REEL_STANDARD ? MEDIUM_REEL : MEDIUM_CASSETTE;
}

static bool make_lines(struct grid *g, struct arena *a, struct fault *f)
{
    const struct deck **decks = catalog_decks(g->view, a, MEDIUM_NONE, &g->deck_count);
    const struct stock **stocks = catalog_stocks(g->view, a, MEDIUM_NONE, &g->stock_count);
    g->decks = mem_zero((size_t)g->deck_count + 1, sizeof *g->decks);
    g->stocks = mem_zero((size_t)g->stock_count + 1, sizeof *g->stocks);
    if (!decks || !stocks || !g->decks || !g->stocks)
        return out_of_memory(f);
    for (int i = 0; i < g->deck_count; i++) {
        struct edge *l = &g->decks[i];
        struct outlook_deck o;
        l->deck = decks[i];
        l->medium = decks[i]->medium == MEDIUM_REEL ? MEDIUM_REEL : MEDIUM_CASSETTE;
        if (model_deck(g->view->model, decks[i], CLASS_NONE, &o))
            l->rows = o.rows;
        for (int r = 0; r < RESPONSES; r++)
            l->variance[r] = o.se[r] * o.se[r];
    }
    for (int i = 0; i < g->stock_count; i++) {
        struct edge *l = &g->stocks[i];
        l->stock = stocks[i];
        l->medium = medium_of(stocks[i]);
        model_stock(g->view->model, stocks[i], &l->outlook);
        l->rows = l->outlook.rows;
    }
    if (g->deck_count)
        qsort(g->decks, (size_t)g->deck_count, sizeof *g->decks, by_rows);
    if (g->stock_count)
        qsort(g->stocks, (size_t)g->stock_count, sizeof *g->stocks, by_rows);
    return true;
}

/* A grid nobody could look at is cut to the decks and stocks that are used most, in proportion. */
static void cut(struct grid *g)
{
    int decks = g->deck_count, stocks = g->stock_count;
    while ((int64_t)g->deck_count * g->stock_count > LIMIT_COVERAGE_PAIRS) {
        g->deck_count -= (g->deck_count + 9) / 10;
        g->stock_count -= (g->stock_count + 9) / 10;
    }
    g->decks_left_out = decks - g->deck_count;
    g->stocks_left_out = stocks - g->stock_count;
    for (int i = 0; i < g->stock_count; i++) {
        g->per_class[g->stocks[i].medium][g->stocks[i].stock->tape_class]++;
        g->per_medium_stocks[g->stocks[i].medium]++;
    }
    for (int i = 0; i < g->deck_count; i++)
        g->per_medium_decks[g->decks[i].medium]++;
}

static void fill_cell(struct grid *g, const struct edge *d, const struct edge *s, const struct outlook_deck *with_class, struct cell *c)
{
    struct model_question q = model_question_plain(d->deck, s->stock, g->at_us);
    const bool dial[RESPONSES] = {d->deck->bias_dial.present, d->deck->level_dial.present};
    const struct outlook_stock *o = &s->outlook;
    struct model_answer a;
    model_ask(g->view->model, &q, &a);
    c->fits = true;
    c->rows = a.pair;
    int same = g->per_class[s->medium][s->stock->tape_class] - 1;
    for (int r = 0; r < RESPONSES; r++) {
        double pair = o->pair_sd[r] * o->pair_sd[r] / (double)(1 + a.pair);
        struct coverage_pair p = {.whole = a.se[r] * a.se[r],
                                  .deck = with_class->se[r] * with_class->se[r],
                                  .deck_other = d->variance[r],
                                  .stock = o->se[r] * o->se[r],
                                  .pair = pair,
                                  .noise = o->sigma[r] * o->sigma[r] + o->tape_sd[r] * o->tape_sd[r] + o->batch_sd[r] * o->batch_sd[r],
                                  .same_class = same,
                                  .other_class = g->per_medium_stocks[s->medium] - 1 - same,
                                  .decks = g->per_medium_decks[d->medium] - 1};
        c->se[r] = (float)a.se[r];
        if (dial[r]) { /* what cannot be set need not be learned */
            c->fall += coverage_fall(&p);
            g->whole += p.whole;
        }
    }
}

static bool fill(struct grid *g, struct fault *f)
{
    g->cells = mem_zero((size_t)g->deck_count * (size_t)g->stock_count + 1, sizeof *g->cells);
    if (!g->cells)
        return out_of_memory(f);
    for (int i = 0; i < g->deck_count; i++) {
        struct outlook_deck with_class[CLASS_COUNT];
        for (int c = 0; c < CLASS_COUNT; c++)
            model_deck(g->view->model, g->decks[i].deck, (enum tape_class)c, &with_class[c]);
        for (int k = 0; k < g->stock_count; k++)
            if (g->decks[i].medium == g->stocks[k].medium)
                fill_cell(g, &g->decks[i], &g->stocks[k], &with_class[g->stocks[k].stock->tape_class],
                          &g->cells[(size_t)i * (size_t)g->stock_count + (size_t)k]);
    }
    return true;
}

/* ---- the answer ---- */

static void write_lines(struct buffer *b, const char *name, const struct edge *lines, int count)
{
    json_name(b, name);
    buffer_char(b, '[');
    for (int i = 0; i < count; i++) {
        const struct deck *d = lines[i].deck;
        const struct stock *s = lines[i].stock;
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "id", d ? d->id : s->id);
        json_member_text(b, "name", d ? d->name : s->name);
        json_member_whole(b, "results", lines[i].rows);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

/* One number a stock, or null where the tape does not fit the deck. */
static void write_row(struct buffer *b, const char *name, const struct grid *g, int deck, int response /* −1: results */)
{
    json_name(b, name);
    buffer_char(b, '[');
    for (int k = 0; k < g->stock_count; k++) {
        const struct cell *c = &g->cells[(size_t)deck * (size_t)g->stock_count + (size_t)k];
        if (k)
            buffer_char(b, ',');
        if (!c->fits)
            buffer_text(b, "null");
        else if (response < 0)
            buffer_int(b, c->rows);
        else
            buffer_fixed(b, (double)c->se[response], 2);
    }
    buffer_char(b, ']');
}

/* The best pairs, one a deck and at most two a stock: after one of them the next best on the same deck teaches less. */
static const struct cell *best_cell(const struct grid *g, struct edge **deck, struct edge **stock)
{
    const struct cell *best = NULL, *c = g->cells;
    for (int i = 0; i < g->deck_count; i++)
        for (int k = 0; k < g->stock_count; k++, c++) {
            if (!c->fits || g->decks[i].named || g->stocks[k].named >= 2 || !(c->fall > (best ? best->fall : 0)))
                continue;
            best = c;
            *deck = &g->decks[i];
            *stock = &g->stocks[k];
        }
    return best;
}

static void write_try_next(struct buffer *b, const struct grid *g)
{
    json_name(b, "try_next");
    buffer_char(b, '[');
    for (int n = 0; n < TRY_NEXT; n++) {
        struct edge *deck, *stock;
        const struct cell *best = best_cell(g, &deck, &stock);
        if (!best)
            break;
        deck->named++;
        stock->named++;
        buffer_text(b, n ? ",\n{" : "\n{");
        json_member_text(b, "deck", deck->deck->id);
        json_member_text(b, "stock", stock->stock->id);
        json_member_whole(b, "results", best->rows);
        json_member_fixed(b, "bias_se_db", (double)best->se[BIAS], 2);
        json_member_fixed(b, "level_se_db", (double)best->se[LEVEL], 2);
        json_member_fixed(b, "fall_percent", g->whole > 0 ? 100 * best->fall / g->whole : 0, 2);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_grid(struct buffer *b, const struct grid *g)
{
    buffer_format(b, "{\"as_of\":%lld", (long long)g->view->as_of);
    write_lines(b, "decks", g->decks, g->deck_count);
    write_lines(b, "stocks", g->stocks, g->stock_count);
    json_member_whole(b, "decks_left_out", g->decks_left_out);
    json_member_whole(b, "stocks_left_out", g->stocks_left_out);
    json_name(b, "rows");
    buffer_char(b, '[');
    for (int i = 0; i < g->deck_count; i++) {
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "deck", g->decks[i].deck->id);
        write_row(b, "results", g, i, -1);
        write_row(b, "bias_se_db", g, i, BIAS);
        write_row(b, "level_se_db", g, i, LEVEL);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
    write_try_next(b, g);
    buffer_text(b, "}\n");
}

enum action_result action_coverage(struct house *house, struct exchange *x)
{
    static const char *const none[] = {NULL};
    struct fault f = {0};
    struct grid g = {.at_us = x->request.now_us};
    if (!parameters_allowed(&x->request, none, &f))
        return answer_fault(x, &f);
    struct view *v = live_take(house->live);
    g.view = v;
    bool ok = make_lines(&g, x->arena, &f);
    if (ok) {
        cut(&g);
        ok = fill(&g, &f);
    }
    if (ok)
        write_grid(json_body(x), &g);
    mem_free(g.cells);
    mem_free(g.decks);
    mem_free(g.stocks);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
