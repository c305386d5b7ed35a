/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Results worked in one at a time against a full solve of the same rows with the same weights: means, errors, counts, for pairs seen and never seen; corrections and
 * voids as well as new rows, tapes, stocks and decks.
 */
#include "../../server/ground/memory.h"
#include "../../server/model/tail.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const struct equation_options options = {.before_us = CLOCK_NONE};

static int put(struct facts *x, const struct calibration *c, bool is_void)
{
    struct stamp stamp = {.revision = 1, .is_void = is_void};
    int row;
    assert_true(facts_put_row(x, c, &stamp, &row));
    assert_true(row >= 0);
    return row;
}

static void full(struct facts *x, const struct variances *v, struct club_fit *fit, struct tables *t)
{
    struct fault f = {0};
    assert_true(club_fit_open(fit, x, &options, &f));
    club_fit_take_weights(fit, x);
    fit->rounds = 0; /* the weights as they are */
    assert_true(tables_build(t, fit, x, v, &f));
}

static void compare(const struct invented *v, const struct model_view *a, const struct model_view *b, double tolerance)
{
    for (int d = 0; d < v->decks; d++)
        for (int s = 0; s < v->stocks; s++)
            for (int with = 0; with < 2; with++) {
                struct model_question q = invented_question(v, d, s);
                struct model_answer x, y;
                if (with) {
                    q.tape = "t1";
                    q.recordings = 3;
                    q.part = 0.8;
                }
                model_ask(a, &q, &x);
                model_ask(b, &q, &y);
                for (int r = 0; r < 2; r++) {
                    assert_true(fabs(x.mean[r] - y.mean[r]) < tolerance);
                    /* a tape and pair whose only row was taken out are still known together here, and no longer after a full solve */
                    assert_true(fabs(x.se[r] - y.se[r]) < 1e-3);
                }
                assert_int_equal(x.basis, y.basis);
                assert_int_equal(x.pair, y.pair);
                assert_int_equal(x.club, y.club);
                assert_int_equal(x.on_deck, y.on_deck);
            }
}

static void test_like_a_full_solve(void **state)
{
    (void)state;
    enum { LATE = 40 };
    struct invented v = {.decks = 12, .stocks = 24, .rows = 500, .tapes_each = 4, .readings = 0.8, .misentries = 0.03};
    invent(&v, 11);
    for (int i = 0; i < v.rows; i++) /* one instant: else the trend's middle lies elsewhere */
        v.row[i].made_at_us = v.row[0].made_at_us;
    struct facts x;
    facts_init(&x);
    for (int i = 0; i < v.decks - 1; i++)
        assert_true(facts_put_deck(&x, &v.deck[i], NULL));
    for (int i = 0; i < v.stocks - 3; i++)
        assert_true(facts_put_stock(&x, &v.stock[i], NULL));
    /* the last deck and stocks come late */
    bool *early = calloc((size_t)v.rows, sizeof *early);
    for (int i = 0; i < v.rows - LATE; i++)
        if (strcmp(v.row[i].deck, v.deck[v.decks - 1].id) != 0 && facts_stock(&x, v.row[i].stock) >= 0) {
            put(&x, &v.row[i], false);
            early[i] = true;
        }
    struct variances var;
    variances_prior(&var);
    struct club_fit fit, again;
    struct tables t, whole;
    struct fault f = {0};
    full(&x, &var, &fit, &t);
    struct tail *w = tail_new(&fit, &t, &x);
    assert_non_null(w);
    for (int i = v.decks - 1; i < v.decks; i++)
        assert_true(facts_put_deck(&x, &v.deck[i], NULL));
    for (int i = v.stocks - 3; i < v.stocks; i++)
        assert_true(facts_put_stock(&x, &v.stock[i], NULL));
    int late = 0;
    for (int i = v.rows - 1; i >= 0 && late < LATE; i--)
        if (!early[i]) {
            assert_int_equal(tail_change(w, &x, put(&x, &v.row[i], false), &options), TAIL_DONE);
            late++;
        }
    for (int i = 0; i < 12; i++) { /* an old one corrected, the next voided */
        struct calibration c = v.row[i * 7];
        if (!early[i * 7])
            continue;
        c.bias += i % 2 ? 0 : 1;
        assert_int_equal(tail_change(w, &x, put(&x, &c, i % 2), &options), TAIL_DONE);
    }
    struct calibration c = v.row[v.rows - 1]; /* a late one corrected, then voided */
    c.bias -= 1;
    assert_int_equal(tail_change(w, &x, put(&x, &c, false), &options), TAIL_DONE);
    assert_int_equal(tail_change(w, &x, put(&x, &c, true), &options), TAIL_DONE);

    full(&x, &var, &again, &whole);
    struct model_view *a = tables_publish(&t, NULL, 1, &f), *b = tables_publish(&whole, NULL, 1, &f);
    assert_non_null(a);
    assert_non_null(b);
    compare(&v, a, b, 2e-4);
    model_view_free(a);
    model_view_free(b);
    tail_free(w);
    tables_free(&t);
    tables_free(&whole);
    club_fit_free(&fit);
    club_fit_free(&again);
    facts_free(&x);
    free(early);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

/* ---- families, models and makers' figures that come late ---- */

/* The first decks and stocks are known to the full solve, and `rows` of theirs; all else comes one by one, deck by deck. `all_named`: the others' names are known too. */
static void kin_come_late(uint64_t seed, int rows, bool all_named)
{
    enum { DECKS = 3, STOCKS = 5 };
    struct invented v = {.decks = 6, .stocks = 10, .rows = 60, .tapes_each = 3, .readings = 1};
    struct facts x;
    struct variances var;
    struct club_fit fit, again;
    struct tables t, whole;
    struct fault f = {0};
    int known[60], early = 0;
    bool logged[10] = {false};
    invent(&v, seed);
    facts_init(&x);
    variances_prior(&var);
    for (int i = 0; i < v.decks; i++) {
        snprintf(v.deck[i].model, sizeof v.deck[i].model, "model %d", i / 3);
        if (all_named || i < DECKS)
            assert_true(facts_put_deck(&x, &v.deck[i], NULL));
    }
    for (int i = 0; i < v.stocks; i++) {
        snprintf(v.stock[i].family, sizeof v.stock[i].family, "family %d", i / 3);
        if (all_named || i < STOCKS)
            assert_true(facts_put_stock(&x, &v.stock[i], NULL));
    }
    for (int i = 0; i < v.rows; i++) {
        int d = facts_deck(&x, v.row[i].deck), s = facts_stock(&x, v.row[i].stock);
        v.row[i].made_at_us = v.row[0].made_at_us; /* one instant: else the trend's middle lies elsewhere */
        known[i] = early < rows && d >= 0 && d < DECKS && s >= 0 && s < STOCKS;
        early += known[i];
        if (known[i])
            put(&x, &v.row[i], false);
    }
    full(&x, &var, &fit, &t);
    struct tail *w = tail_new(&fit, &t, &x);
    assert_non_null(w);
    for (int i = 0; i < v.decks; i++)
        assert_true(facts_put_deck(&x, &v.deck[i], NULL));
    for (int i = 0; i < v.stocks; i++)
        assert_true(facts_put_stock(&x, &v.stock[i], NULL));
    for (int d = 0; d < v.decks; d++)
        for (int i = 0; i < v.rows; i++)
            if (!known[i] && strcmp(v.row[i].deck, v.deck[d].id) == 0)
                assert_int_equal(tail_change(w, &x, put(&x, &v.row[i], false), &options), TAIL_DONE);
    for (int i = 0; i < x.row_count; i++)
        logged[x.rows[i].stock] = true;
    full(&x, &var, &again, &whole);
    struct model_view *a = tables_publish(&t, NULL, 1, &f), *b = tables_publish(&whole, NULL, 1, &f);
    assert_non_null(a);
    assert_non_null(b);
    for (int d = 0; d < v.decks; d++)
        for (int s = 0; s < v.stocks; s++) {
            if (!all_named && !logged[s])
                continue; /* of another class than its family so far: known from a full solve on */
            struct model_question q = invented_question(&v, d, s);
            struct model_answer p, o;
            model_ask(a, &q, &p);
            model_ask(b, &q, &o);
            for (int r = 0; r < RESPONSES; r++) {
                assert_true(fabs(p.mean[r] - o.mean[r]) < 2e-4);
                assert_true(fabs(p.se[r] - o.se[r]) < 1e-3);
            }
            q.tape = "t1";
            model_ask(a, &q, &p);
            model_ask(b, &q, &o);
            for (int r = 0; r < RESPONSES; r++)
                assert_true(fabs(p.se[r] - o.se[r]) < 0.02); /* a full solve itself leaves out some of what a tape shares */
        }
    model_view_free(a);
    model_view_free(b);
    tail_free(w);
    tables_free(&t);
    tables_free(&whole);
    club_fit_free(&fit);
    club_fit_free(&again);
    facts_free(&x);
    invented_free(&v);
}

static void test_kin_that_come_late(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++)
        for (int rows = 0; rows <= 15; rows += 15) {
            kin_come_late(seed, rows, true);
            kin_come_late(seed, rows, false);
        }
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_like_a_full_solve), cmocka_unit_test(test_kin_that_come_late)};
    return cmocka_run_group_tests_name("tail", tests, NULL, NULL);
}
