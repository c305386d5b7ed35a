/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a view answers against the dense inverse of the same equations: means and their errors for pairs that met, pairs
 * that never did and lie outside the factor's pattern, later than the last result, with a tape, with times recorded over, with a place.
 */
#include "../../server/model/club_fit.h"
#include "../../server/model/facts.h"

#include "../../server/ground/memory.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

struct dense_club {
    struct invented v;
    struct facts facts;
    struct club_fit fit;
    struct variances variances;
    struct model_view *view;
    double *inverse[RESPONSES];
};

static void club_make(struct dense_club *c, uint64_t seed)
{
    struct equation_options o = {.before_us = CLOCK_NONE};
    struct fault f = {0};
    memset(c, 0, sizeof *c);
    c->v = (struct invented){.decks = 9, .stocks = 16, .rows = 140, .tapes_each = 2, .readings = 0.8, .misentries = 0.02};
    invent(&c->v, seed);
    facts_init(&c->facts);
    for (int i = 0; i < c->v.decks; i++)
        assert_true(facts_put_deck(&c->facts, &c->v.deck[i], NULL));
    for (int i = 0; i < c->v.stocks; i++)
        assert_true(facts_put_stock(&c->facts, &c->v.stock[i], NULL));
    for (int i = 0; i < c->v.rows; i++) {
        struct stamp stamp = {.seq = i + 1, .revision = 1};
        assert_true(facts_put_row(&c->facts, &c->v.row[i], &stamp, &(int){0}));
    }
    variances_prior(&c->variances);
    assert_true(club_fit_open(&c->fit, &c->facts, &o, &f));
    assert_true(club_fit_variances(&c->fit, &c->variances, FIT_TOLERANCE, NULL, &f));
    c->view = view_build(&c->fit, &c->facts, &o, &c->variances, c->v.rows, &f);
    assert_non_null(c->view);
    for (int r = 0; r < RESPONSES; r++) {
        c->inverse[r] = dense_equations(&c->fit.q.design, c->fit.e[r].w, c->fit.e[r].scale, c->fit.e[r].add);
        dense_invert(c->inverse[r], c->fit.q.columns);
    }
}

static void club_drop(struct dense_club *c)
{
    model_view_free(c->view);
    club_fit_free(&c->fit);
    facts_free(&c->facts);
    invented_free(&c->v);
    free(c->inverse[BIAS]), free(c->inverse[LEVEL]);
}

/* The row that a question stands for, over the columns; what no column stands for adds its own variance. */
struct asked {
    int count, column[40];
    double value[40], own[RESPONSES];
};

static void add(struct asked *a, int column, double value)
{
    a->column[a->count] = column;
    a->value[a->count++] = value;
}

static void add_level(const struct dense_club *c, struct asked *a, enum block b, struct level_key key, double value)
{
    int level = equation_level(&c->fit.q, b, &key);
    if (key.a < 0)
        return;
    if (level >= 0)
        add(a, c->fit.q.first[b] + level, value);
    else
        for (int r = 0; r < RESPONSES; r++)
            a->own[r] += value * value * exp(2 * c->variances.log_sd[r][b]);
}

static void ask_of(const struct dense_club *c, const struct model_question *q, struct asked *a)
{
    const struct facts *x = &c->facts;
    const struct equation *e = &c->fit.q;
    int deck = facts_deck(x, q->deck->id), stock = facts_stock(x, q->stock->id), tape_class = (int)q->stock->tape_class;
    memset(a, 0, sizeof *a);
    add(a, CLASS_AT + tape_class, 1);
    if (q->recordings != 0)
        add(a, RECORDINGS_AT + tape_class, q->recordings < 0 ? UNCOUNTED : log2(1 + q->recordings));
    if (given(q->part))
        add(a, PLACE_AT, q->part - 0.5);
    const double sheet[RESPONSES] = {q->stock->sheet_bias_db, q->stock->sheet_level_db};
    for (int r = 0; r < RESPONSES; r++)
        if (given(sheet[r]))
            add(a, SHEET_AT + r, sheet[r]);
    struct fact_row row = {.deck = deck,
                           .stock = stock,
                           .setup = WORD_NONE,
                           .batch = WORD_NONE,
                           .tape = WORD_NONE,
                           .recordings = -1,
                           .method = METHOD_FLAT,
                           .made_at_us = q->at_us,
                           .low_db = 0,
                           .high_db = 0};
    if (q->tape)
        row.tape = words_find(&x->words, q->tape);
    struct level_key key[BLOCKS];
    level_keys_of(x, &row, key);
    for (int b = 0; b < BLOCKS; b++) {
        double value = 1;
        if (b == TREND) {
            int level = equation_level(e, TREND, &key[b]);
            assert_true(level >= 0);
            double latest = clock_years_between(e->era_middle_us[level], e->era_last_us[level]) + 1,
                   at = clock_years_between(e->era_middle_us[level], q->at_us);
            value = fmin(at, latest);
        }
        add_level(c, a, (enum block)b, key[b], value);
    }
}

static void check(const struct dense_club *c, const struct model_question *q, double *worst_mean, double *worst_se)
{
    struct asked a;
    struct model_answer got;
    ask_of(c, q, &a);
    model_ask(c->view, q, &got);
    size_t n = (size_t)c->fit.q.columns;
    for (int r = 0; r < RESPONSES; r++) {
        const struct estimate *e = &c->fit.e[r];
        const double sheet = r == BIAS ? q->stock->sheet_bias_db : q->stock->sheet_level_db;
        double mean = given(sheet) ? SHEET_MEAN * sheet : 0, variance = a.own[r];
        for (int i = 0; i < a.count; i++) {
            mean += a.value[i] * e->effect[a.column[i]];
            for (int j = 0; j < a.count; j++)
                variance += a.value[i] * a.value[j] * e->scale[a.column[i]] * e->scale[a.column[j]] *
                            c->inverse[r][(size_t)a.column[i] * n + (size_t)a.column[j]];
        }
        *worst_mean = fmax(*worst_mean, fabs(got.mean[r] - mean));
        *worst_se = fmax(*worst_se, fabs(got.se[r] / sqrt(variance) - 1));
    }
}

enum { PLAIN, LATER, RECORDED, UNKNOWN, PLACED, TAPE_NAMED, UNLOGGED, WAYS };

/* Asked at the deck's last result, also of a tape recorded over, every covariance that counts was solved for. What else a question can name has its covariance with its
 * own stock's side, or its own deck's, but not with both: how far that may lead in a club of 140 results. */
static const struct {
    const char *what;
    double tolerance;
} way[WAYS] = {{"plain", 1e-5},
               {"a season later", 0.05},
               {"three times recorded over", 1e-5},
               {"recorded over nobody knows how often", 1e-5},
               {"near the end of the side, the same", 1e-5},
               {"a tape named", 0.15},
               {"a stock nobody has logged", 0.01}};

static void test_against_the_dense_inverse(void **state)
{
    (void)state;
    for (uint64_t seed = 51; seed < 54; seed++) {
        struct dense_club c;
        club_make(&c, seed);
        double mean = 0, se[WAYS] = {0};
        int outside = 0;
        for (int d = 0; d < c.v.decks; d++)
            for (int s = 0; s < c.v.stocks; s++)
                for (int w = 0; w < UNLOGGED; w++) {
                    struct model_question q = invented_question(&c.v, d, s);
                    struct model_answer a;
                    q.at_us = c.fit.q.deck_last_us[facts_deck(&c.facts, q.deck->id)] + (w == LATER ? 90LL * 86400000000LL : 0);
                    q.recordings = w == RECORDED ? 3 : w == UNKNOWN || w == PLACED ? -1 : 0;
                    q.part = w == PLACED ? 0.9 : ABSENT;
                    q.tape = w == TAPE_NAMED ? "t1" : NULL;
                    model_ask(c.view, &q, &a);
                    assert_true(a.on_deck > 0);
                    outside += w == PLAIN && a.pair == 0;
                    check(&c, &q, &mean, &se[a.of_stock ? w : UNLOGGED]);
                }
        assert_true(outside > 50);               /* pairs that never met */
        assert_true(mean < 14 * 0.00005 + 1e-9); /* parts are rounded to 0.0001 dB */
        for (int w = 0; w < WAYS; w++) {
            print_message("%s: errors within %.6f of themselves\n", way[w].what, se[w]);
            assert_true(se[w] < way[w].tolerance);
        }
        club_drop(&c);
    }
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_the_dense_inverse)};
    return cmocka_run_group_tests_name("questions", tests, NULL, NULL);
}
