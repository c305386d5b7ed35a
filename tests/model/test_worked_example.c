/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The six rows that docs/model.md works out by hand, through the product's own equation, factor and tables with the same fixed sds.
 */
#include "../../server/model/club_fit.h"
#include "../../server/model/facts.h"

#include "../../server/ground/memory.h"
#include "../../server/trade/slopes.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define BY_HAND(got, want) by_hand((got), (want), #got)

static void by_hand(double got, double want, const char *what)
{
    if (!(fabs(got - want) < 0.0006)) /* the page has three decimals, parts are rounded to four */
        fail_msg("%s is %.6f, on the page %.3f", what, got, want);
}

static struct deck bench_deck(void)
{
    struct deck d;
    deck_init(&d);
    snprintf(d.id, sizeof d.id, "bench");
    snprintf(d.name, sizeof d.name, "Bench deck");
    d.medium = MEDIUM_CASSETTE;
    d.meter_step_db = 0;
    /* a mark is 1 dB; steps too fine to matter */
    d.bias_dial = d.level_dial = (struct dial){.present = true, .low = -6, .high = 6, .step = 0.0001, .scale = SCALE_DB, .db_per_unit = 1};
    return d;
}

static struct stock tape(const char *id)
{
    struct stock s;
    stock_init(&s);
    snprintf(s.id, sizeof s.id, "%s", id);
    snprintf(s.name, sizeof s.name, "Tape %s", id);
    s.tape_class = CLASS_TYPE_1;
    return s;
}

static const struct {
    const char *stock;
    double bias, low_db, high_db;
} rows[6] = {{"p", 0.9, 0, 0}, {"p", 1.1, 0, 0}, {"p", 0.7, 0, 0}, {"p", 1.5, 0.2, -0.5}, {"q", 0.2, 0, 0}, {"q", 0.4, 0, 0}};

static const int64_t evening_us = 1760000000000000LL;

static void test_six_rows(void **state)
{
    (void)state;
    struct facts x;
    struct deck d = bench_deck();
    struct stock p = tape("p"), q = tape("q"), fresh = tape("fresh");
    facts_init(&x);
    assert_true(facts_put_deck(&x, &d, NULL) && facts_put_stock(&x, &p, NULL) && facts_put_stock(&x, &q, NULL));
    for (int i = 0; i < 6; i++) {
        struct calibration c;
        struct stamp stamp = {.seq = i + 1, .revision = 1};
        calibration_init(&c);
        c.id.bytes[0] = (uint8_t)(i + 1);
        snprintf(c.deck, sizeof c.deck, "bench");
        snprintf(c.stock, sizeof c.stock, "%s", rows[i].stock);
        c.made_at_us = evening_us;
        c.bias = rows[i].bias;
        c.level = 0;
        c.recordings = 0;
        snprintf(c.tape, sizeof c.tape, "1");
        c.low_db = rows[i].low_db;
        c.high_db = rows[i].high_db;
        assert_true(facts_put_row(&x, &c, &stamp, &(int){0}));
    }

    struct slopes slopes = slopes_prior((struct slope_kind){CLASS_TYPE_1, ABSENT, ABSENT, ABSENT});
    BY_HAND(slopes.a, 0.15);
    BY_HAND(slopes.b, 1.6);
    BY_HAND(slopes.a_se, 0.15);
    BY_HAND(slopes.b_se, 0.5);
    BY_HAND(slopes.bend, 0.096);

    struct equation_options o = {.before_us = CLOCK_NONE};
    struct club_fit fit;
    struct variances v;
    struct fault f = {0};
    assert_true(club_fit_open(&fit, &x, &o, &f));
    BY_HAND(fit.q.y[BIAS][3], 1.1);    /* 1.5 + (−0.5 − 0.2)/1.75 */
    BY_HAND(fit.q.s2[BIAS][0], 0.016); /* (0.1² + 0.2²)/1.75²: the readings' wander */
    BY_HAND(fit.q.s2[BIAS][3], 0.031); /* and (0.7/1.75²)²·(0.15² + 0.5²), and (0.096·0.4²/1.75)² for the bend */

    variances_prior(&v);
    for (int b = 0; b < BLOCKS; b++)
        v.log_sd[BIAS][b] = log(b == STOCK ? 0.8 : 1e-5);
    v.log_sigma[BIAS][KIND_READ] = log(0.4);
    fit.rounds = 0; /* every row believed in full */
    struct model_view *view = view_build(&fit, &x, &o, &v, 6, &f);
    assert_non_null(view);
    BY_HAND(fit.e[BIAS].w[0], 5.671);
    BY_HAND(fit.e[BIAS].w[3], 5.246);
    BY_HAND(fit.e[BIAS].effect[CLASS_AT + CLASS_TYPE_1], 0.320);
    BY_HAND(sqrt(fit.e[BIAS].variance[CLASS_AT + CLASS_TYPE_1]) * class_prior_sd(CLASS_TYPE_1), 0.422);

    const struct stock *asked[] = {&p, &q, &fresh};
    const double mean[] = {0.906, 0.302, 0.320}, se[] = {0.207, 0.283, 0.905};
    for (int i = 0; i < 3; i++) {
        struct model_question ask = {.deck = &d,
                                     .stock = asked[i],
                                     .tape_class = CLASS_NONE,
                                     .recordings = 0,
                                     .position_s = ABSENT,
                                     .part = ABSENT,
                                     .low_hz = ABSENT,
                                     .high_hz = ABSENT,
                                     .at_us = evening_us};
        struct model_answer a;
        model_ask(view, &ask, &a);
        BY_HAND(a.mean[BIAS], mean[i]);
        BY_HAND(a.se[BIAS], se[i]);
    }
    model_view_free(view);
    club_fit_free(&fit);
    facts_free(&x);
    assert_int_equal(mem_alive(), 0);
}

/* The page's table of weights. */
static void test_weights(void **state)
{
    (void)state;
    static const struct {
        double scales, weight;
    } table[] = {{0, 0.989}, {1, 0.982}, {2, 0.931}, {3, 0.568}, {4, 0.092}, {6, 0.047}, {10, 0.021}, {20, 0.004}};
    struct robust k = robust_usual();
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        by_hand(robust_weight(&k, table[i].scales * table[i].scales), table[i].weight, "a weight");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_six_rows), cmocka_unit_test(test_weights)};
    return cmocka_run_group_tests_name("worked example", tests, NULL, NULL);
}
