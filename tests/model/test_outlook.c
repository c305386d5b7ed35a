/* SPDX-License-Identifier: GPL-3.0-or-later
 * What a view tells of a stock, a deck and of two stocks beside each other, held against the full inverse of the normal equations. */
#include "model/club_fit.h"
#include "model/facts.h"
#include "model/outlook.h"

#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define DECKS  8
#define STOCKS 24

struct club {
    struct facts facts;
    struct deck deck[DECKS];
    struct stock stock[STOCKS];
    struct club_fit fit;
    struct variances variances;
    struct model_view *view;
};

static struct dial marks(void)
{
    return (struct dial){true, "mark", -10, 10, 0.1, 0, PLUS_MORE, SCALE_DB, 1, 0, {{0}}};
}

static void name_things(struct club *c)
{
    for (int i = 0; i < DECKS; i++) {
        deck_init(&c->deck[i]);
        snprintf(c->deck[i].id, sizeof c->deck[i].id, "deck-%d", i);
        snprintf(c->deck[i].name, sizeof c->deck[i].name, "Deck %d", i);
        c->deck[i].medium = MEDIUM_CASSETTE;
        c->deck[i].bias_dial = c->deck[i].level_dial = marks();
        assert_true(facts_put_deck(&c->facts, &c->deck[i], NULL));
    }
    for (int i = 0; i < STOCKS; i++) {
        stock_init(&c->stock[i]);
        snprintf(c->stock[i].id, sizeof c->stock[i].id, "stock-%d", i);
        snprintf(c->stock[i].name, sizeof c->stock[i].name, "Stock %d", i);
        c->stock[i].tape_class = i % 3 == 2 ? CLASS_TYPE_2 : CLASS_TYPE_1;
        if (i % 4 == 0)
            snprintf(c->stock[i].family, sizeof c->stock[i].family, "family %d", i / 8);
        if (i % 5 == 0)
            c->stock[i].sheet_level_db = 0.5;
        assert_true(facts_put_stock(&c->facts, &c->stock[i], NULL));
    }
}

/* The last two stocks are never logged; each stock on a few decks of its own. */
static void log_results(struct club *c, int rows, uint64_t seed)
{
    struct lot lot = {seed};
    double deck[DECKS][2], stock[STOCKS][2];
    for (int r = 0; r < 2; r++) {
        for (int i = 0; i < DECKS; i++)
            deck[i][r] = 0.6 * lot_normal(&lot);
        for (int i = 0; i < STOCKS; i++)
            stock[i][r] = 0.7 * lot_normal(&lot);
    }
    for (int i = 0; i < rows; i++) {
        struct calibration k;
        struct stamp stamp = {.seq = i + 1, .revision = 1};
        int s = lot_below(&lot, STOCKS - 2), d = (s + lot_below(&lot, 4)) % DECKS;
        calibration_init(&k);
        for (int b = 0; b < 16; b++)
            k.id.bytes[b] = (uint8_t)(lot.state >> (b % 8 * 8));
        memcpy(k.id.bytes, &i, sizeof i);
        snprintf(k.deck, sizeof k.deck, "deck-%d", d);
        snprintf(k.stock, sizeof k.stock, "stock-%d", s);
        k.made_at_us = 1700000000000000LL + (int64_t)i * 3600000000LL;
        k.bias = deck[d][0] + stock[s][0] + 0.3 * lot_normal(&lot);
        k.level = deck[d][1] + stock[s][1] + 0.3 * lot_normal(&lot);
        k.low_db = k.high_db = 0;
        if (lot_below(&lot, 2))
            snprintf(k.tape, sizeof k.tape, "%d", lot_below(&lot, 3));
        assert_true(facts_put_row(&c->facts, &k, &stamp, &(int){0}));
    }
}

static struct club *club_make(int rows, uint64_t seed)
{
    struct club *c = calloc(1, sizeof *c);
    struct equation_options o = {.before_us = CLOCK_NONE};
    struct fault f = {0};
    assert_non_null(c);
    facts_init(&c->facts);
    name_things(c);
    log_results(c, rows, seed);
    variances_prior(&c->variances);
    assert_true(club_fit_open(&c->fit, &c->facts, &o, &f));
    c->view = view_build(&c->fit, &c->facts, &o, &c->variances, rows, &f);
    assert_non_null(c->view);
    return c;
}

static void club_drop(struct club *c)
{
    model_view_free(c->view);
    club_fit_free(&c->fit);
    facts_free(&c->facts);
    free(c);
}

/* ---- the full inverse, of the level: the equations hold the response that was solved last ---- */

static void add(double *x, int column, double value)
{
    if (column >= 0)
        x[column] += value;
}

static int column_of(const struct club *c, enum block k, int a, int b)
{
    int level = equation_level(&c->fit.q, k, &(struct level_key){a, b, 0});
    return level < 0 ? -1 : c->fit.q.first[k] + level;
}

static int column_of_key(const struct club *c, enum block k, struct level_key key)
{
    int level = equation_level(&c->fit.q, k, &key);
    return level < 0 ? -1 : c->fit.q.first[k] + level;
}

/* What a stock wants on a deck (−1: on an average one), as a vector over the columns; *own is the variance of what no column stands for. */
static double combine(const struct club *c, int deck, int stock, double sign, double *x)
{
    const struct stock *s = &c->stock[stock];
    const struct view_head *h = c->view->head;
    double own = 0;
    int family = column_of_key(c, FAMILY, family_key(&c->facts, stock)), of_stock = column_of(c, STOCK, stock, 0);
    add(x, CLASS_AT + (int)s->tape_class, sign);
    add(x, SHEET_AT + LEVEL, given(s->sheet_level_db) ? sign * s->sheet_level_db : 0);
    add(x, family, sign);
    add(x, of_stock, sign);
    if (of_stock < 0) /* no result of it: no column of its own, nor of its family unless another has one */
        own += pow(h->sd[LEVEL][STOCK], 2) + (family < 0 ? pow(h->sd[LEVEL][FAMILY], 2) : 0);
    if (deck < 0)
        return own;
    int pair = column_of(c, PAIR, deck, stock), deck_class = column_of(c, DECK_CLASS, deck, (int)s->tape_class);
    add(x, column_of(c, DECK, deck, 0), sign);
    add(x, column_of_key(c, MODEL, model_key(&c->facts, deck)), sign);
    add(x, deck_class, sign);
    add(x, pair, sign);
    own += pair < 0 ? pow(h->sd[LEVEL][PAIR], 2) : 0;
    (void)deck_class; /* a class not met on this deck: see class_own */
    return own;
}

/* What the deck owes to a class not met on it is the same for two stocks of that class and drops out of their difference. */
static double class_own(const struct club *c, int deck, int a, int b)
{
    double own = 0;
    const int stock[2] = {a, b};
    for (int k = 0; k < 2 && c->stock[a].tape_class != c->stock[b].tape_class; k++)
        if (column_of(c, DECK_CLASS, deck, (int)c->stock[stock[k]].tape_class) < 0)
            own += pow(c->view->head->sd[LEVEL][DECK_CLASS], 2);
    return own;
}

static double variance_of(const struct club *c, const double *x)
{
    const struct estimate *e = &c->fit.e[LEVEL];
    int n = c->fit.q.columns;
    double *y = calloc((size_t)n, sizeof *y), sum = 0;
    assert_non_null(y);
    for (int j = 0; j < n; j++)
        y[j] = x[j] * e->scale[j];
    assert_true(normal_solve(c->fit.normal[LEVEL], y, 1));
    for (int j = 0; j < n; j++)
        sum += x[j] * e->scale[j] * y[j];
    free(y);
    return sum;
}

static void a_stock(void **state)
{
    (void)state;
    struct club *c = club_make(300, 5);
    double *x = calloc((size_t)c->fit.q.columns, sizeof *x);
    for (int s = 0; s < STOCKS; s++) {
        struct outlook_stock o;
        memset(x, 0, (size_t)c->fit.q.columns * sizeof *x);
        double own = combine(c, -1, s, 1, x), mean = 0;
        for (int j = 0; j < c->fit.q.columns; j++)
            mean += x[j] * c->fit.e[LEVEL].effect[j];
        if (given(c->stock[s].sheet_level_db))
            mean += SHEET_MEAN * c->stock[s].sheet_level_db;
        model_stock(c->view, &c->stock[s], &o);
        assert_true(fabs(o.mean[LEVEL] - mean) < 1e-6);
        assert_true(fabs(o.se[LEVEL] - sqrt(variance_of(c, x) + own)) < 0.02 * o.se[LEVEL]);
        assert_true((o.rows > 0) == (s < STOCKS - 2));
        assert_true(o.spread[LEVEL] > 0 && o.sigma[LEVEL] > 0);
    }
    free(x);
    club_drop(c);
}

static void a_deck(void **state)
{
    (void)state;
    struct club *c = club_make(300, 6);
    double *x = calloc((size_t)c->fit.q.columns, sizeof *x);
    for (int d = 0; d < DECKS; d++)
        for (int k = -1; k < CLASS_TYPE_3; k++) {
            struct outlook_deck o;
            memset(x, 0, (size_t)c->fit.q.columns * sizeof *x);
            add(x, column_of(c, DECK, d, 0), 1);
            add(x, column_of_key(c, MODEL, model_key(&c->facts, d)), 1);
            if (k >= 0)
                add(x, column_of(c, DECK_CLASS, d, k), 1);
            int trend = equation_level(&c->fit.q, TREND, &(struct level_key){d, 0, 0});
            assert_true(trend >= 0);
            double years = clock_years_between(c->fit.q.era_middle_us[trend], c->fit.q.deck_last_us[d]);
            add(x, c->fit.q.first[TREND] + trend, years);
            double mean = 0;
            for (int j = 0; j < c->fit.q.columns; j++)
                mean += x[j] * c->fit.e[LEVEL].effect[j];
            assert_true(model_deck(c->view, &c->deck[d], (enum tape_class)k, &o));
            assert_true(fabs(o.offset[LEVEL] - mean) < 1e-6);
            assert_true(fabs(o.se[LEVEL] - sqrt(variance_of(c, x))) < 0.02 * o.se[LEVEL] + 1e-3);
        }
    struct deck other = c->deck[0];
    struct outlook_deck o;
    snprintf(other.id, sizeof other.id, "never-seen");
    assert_false(model_deck(c->view, &other, CLASS_TYPE_1, &o));
    assert_true(o.offset[BIAS] == 0 && o.se[BIAS] > 0.5 && o.rows == 0);
    free(x);
    club_drop(c);
}

/* The error of the difference of two stocks on one deck: with common decks and classes taken for what they are it comes near the exact one; as if the two were
 * independent it would be far too large. */
static void two_stocks(void **state)
{
    (void)state;
    for (int rows = 60; rows <= 600; rows *= 3) {
        struct club *c = club_make(rows, (uint64_t)rows);
        const struct deck *decks[DECKS];
        double *x = calloc((size_t)c->fit.q.columns, sizeof *x), ratio_sum = 0, blind_sum = 0;
        int n = 0, far = 0;
        for (int d = 0; d < DECKS; d++)
            decks[d] = &c->deck[d];
        for (int d = 0; d < DECKS; d += 3)
            for (int a = 0; a < STOCKS; a++)
                for (int b = 0; b < STOCKS; b++) {
                    struct outlook_apart o, back;
                    struct outlook_stock one, two;
                    if (a == b)
                        continue;
                    memset(x, 0, (size_t)c->fit.q.columns * sizeof *x);
                    double own = combine(c, d, b, 1, x) + combine(c, d, a, -1, x) + class_own(c, d, a, b);
                    double exact = sqrt(variance_of(c, x) + own);
                    model_apart(c->view, &c->deck[d], &c->stock[a], &c->stock[b], 1700000000000000LL + rows * 3600000000LL, decks, DECKS,
                                &o);
                    model_apart(c->view, &c->deck[d], &c->stock[b], &c->stock[a], 1700000000000000LL + rows * 3600000000LL, decks, DECKS,
                                &back);
                    assert_true(fabs(o.apart[LEVEL] + back.apart[LEVEL]) < 1e-9 && fabs(o.se[LEVEL] - back.se[LEVEL]) < 1e-6);
                    double ratio = o.se[LEVEL] / exact;
                    if (!(ratio > 0.75 && ratio < 1.35)) {
                        far++;
                        print_message("rows %d deck %d stocks %d %d: %.3f exact %.3f\n", rows, d, a, b, o.se[LEVEL], exact);
                    }
                    model_stock(c->view, &c->stock[a], &one);
                    model_stock(c->view, &c->stock[b], &two);
                    ratio_sum += ratio;
                    blind_sum += sqrt(pow(one.se[LEVEL], 2) + pow(two.se[LEVEL], 2)) / exact;
                    n++;
                }
        print_message("%d rows: error of a difference %.3f of the exact one; as if independent %.3f; %d of %d far off\n", rows,
                      ratio_sum / n, blind_sum / n, far, n);
        assert_true(ratio_sum / n > 0.93 && ratio_sum / n < 1.10);
        assert_true(far * 50 <= n);
        free(x);
        club_drop(c);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_stock), cmocka_unit_test(a_deck), cmocka_unit_test(two_stocks)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
