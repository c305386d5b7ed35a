/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A full solve or an estimate worked out aside while results go on coming: what is served then is what a model says that was told everything at once; also when a
 * result is corrected or voided meanwhile, variances change under it, a jump is found or memory is short.
 */
#include "../../server/ground/memory.h"
#include "../../server/model/club.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define LATE 30

static struct invented club(uint64_t seed)
{
    struct invented v = {.decks = 8, .stocks = 14, .rows = 260, .tapes_each = 3, .readings = 0.8};
    invent(&v, seed);
    return v;
}

static struct model *told(const struct invented *v, int rows)
{
    struct model *m = invented_model(v);
    for (int i = 0; i < rows; i++)
        assert_true(model_put_calibration(m, &v->row[i], NULL));
    return m;
}

/* The largest difference of two models' answers. */
static double apart(const struct invented *v, struct model *a, struct model *b)
{
    struct fault f = {0};
    struct model_view *x = model_publish(a, &f), *y = model_publish(b, &f);
    double most = 0;
    for (int d = 0; d < v->decks; d++)
        for (int s = 0; s < v->stocks; s++) {
            struct model_question q = invented_question(v, d, s);
            struct model_answer p, r;
            model_ask(x, &q, &p);
            model_ask(y, &q, &r);
            assert_int_equal(p.club, r.club);
            assert_int_equal(p.pair, r.pair);
            for (int k = 0; k < RESPONSES; k++)
                most = fmax(most, fmax(fabs(p.mean[k] - r.mean[k]), fabs(p.se[k] - r.se[k])));
        }
    model_view_free(x);
    model_view_free(y);
    return most;
}

/* Late results one by one, each solved at once; every third is corrected right after, every seventh voided. */
static void go_on(struct model *m, const struct invented *v, int first, int last)
{
    struct fault f = {0};
    for (int i = first; i < last; i++) {
        struct calibration c = v->row[i];
        struct stamp gone = {.revision = 1, .is_void = true};
        assert_true(model_put_calibration(m, &c, NULL));
        assert_true(model_solve(m, &f));
        if (i % 3 == 0) {
            c.bias += 0.5;
            assert_true(model_put_calibration(m, &c, NULL));
        }
        if (i % 7 == 0)
            assert_true(model_put_calibration(m, &c, &gone));
        assert_true(model_solve(m, &f));
    }
}

static int caught_up_after(struct model *m)
{
    int calls = 1;
    while (!model_catch_up(m)) {
        assert_true(model_catching_up(m));
        assert_true(++calls < 10 * LATE);
    }
    assert_false(model_catching_up(m));
    return calls;
}

static void test_a_renewal_while_results_come(void **state)
{
    (void)state;
    struct fault f = {0};
    struct invented v = club(5);
    struct model *m = told(&v, v.rows - LATE), *whole;
    assert_true(model_refit(m, &f));
    struct model_job *job = model_renewal_begin(m, &f);
    assert_non_null(job);
    go_on(m, &v, v.rows - LATE, v.rows - 5);
    assert_true(model_job_run(job, NULL, &f));
    assert_true(model_job_take(m, job, &f));
    assert_true(model_catching_up(m) && !model_settled(m));
    go_on(m, &v, v.rows - 5, v.rows); /* what is served goes on meanwhile */
    assert_true(caught_up_after(m) > LATE / 2);
    assert_true(model_settled(m));
    /* one that is told everything and solves once, with the same variances */
    whole = told(&v, v.rows - LATE);
    assert_true(model_refit(whole, &f));
    go_on(whole, &v, v.rows - LATE, v.rows);
    assert_true(apart(&v, m, whole) < 0.02); /* robust weights stand a little differently */
    model_free(m);
    model_free(whole);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

static void test_variances_overtake_a_renewal(void **state)
{
    (void)state;
    struct fault f = {0};
    struct invented v = club(6);
    struct model *m = told(&v, v.rows - LATE), *whole = told(&v, v.rows);
    assert_true(model_solve(m, &f));
    struct model_job *renewal = model_renewal_begin(m, &f), *fit = model_fit_begin(m, &f);
    assert_true(model_job_run(renewal, NULL, &f) && model_job_run(fit, NULL, &f));
    assert_true(model_job_take(m, fit, &f));
    assert_false(model_settled(m));
    assert_true(model_job_take(m, renewal, &f)); /* of the variances before: passed over */
    while (model_catching_up(m))
        model_catch_up(m);
    assert_true(model_settled(m));
    for (int i = v.rows - LATE; i < v.rows; i++)
        assert_true(model_put_calibration(m, &v.row[i], NULL));
    fit = model_fit_begin(m, &f);
    assert_true(model_job_run(fit, NULL, &f) && model_fit_adopt(m, fit, &f));
    assert_true(model_settled(m) && model_refit(whole, &f));
    assert_true(apart(&v, m, whole) < 1e-6);
    model_free(m);
    model_free(whole);
    invented_free(&v);
}

/* A change of the equation itself makes what was begun before it worthless; the next solve begins anew. */
static void test_a_service_meanwhile(void **state)
{
    (void)state;
    struct fault f = {0};
    struct invented v = club(7);
    struct model *m = told(&v, v.rows), *whole = told(&v, v.rows);
    struct service s = {.made_at_us = v.row[v.rows / 2].made_at_us, .resets = true, .bias_shift_db = ABSENT, .level_shift_db = ABSENT};
    snprintf(s.deck, sizeof s.deck, "%s", v.deck[0].id);
    s.id.bytes[0] = 1;
    assert_true(model_solve(m, &f));
    struct model_job *job = model_renewal_begin(m, &f);
    assert_true(model_job_run(job, NULL, &f));
    assert_true(model_put_service(m, &s, NULL) && model_put_service(whole, &s, NULL));
    assert_true(model_job_take(m, job, &f));
    assert_false(model_catch_up(m));
    assert_false(model_catching_up(m));
    assert_true(model_solve(m, &f) && model_solve(whole, &f));
    assert_true(apart(&v, m, whole) < 0.02);
    model_free(m);
    model_free(whole);
    invented_free(&v);
}

static void test_when_a_renewal_is_due(void **state)
{
    (void)state;
    struct fault f = {0};
    struct invented v = club(8);
    struct model *m = told(&v, 40);
    int due = 0;
    assert_false(model_renewal_due(m)); /* nothing is served */
    assert_true(model_solve(m, &f));
    for (int i = 40; i < v.rows && !due; i++) {
        assert_true(model_put_calibration(m, &v.row[i], NULL));
        assert_true(model_solve(m, &f));
        due = model_renewal_due(m) ? i : 0;
    }
    assert_true(due > 60); /* not for a few */
    struct model_job *job = model_renewal_begin(m, &f);
    assert_true(model_job_run(job, NULL, &f) && model_job_take(m, job, &f));
    assert_true(model_catch_up(m)); /* nothing came meanwhile */
    assert_false(model_renewal_due(m));
    model_free(m);
    invented_free(&v);
}

/* Each allocation failing in turn: a fault that says so, and a model that still answers rightly. */
static void test_short_of_memory(void **state)
{
    (void)state;
    struct invented v = club(9);
    bool through = false;
    struct fault f = {0};
    struct model *m = told(&v, 60), *whole = told(&v, 64);
    assert_true(model_solve(m, &f));
    for (int i = 60; i < 64; i++)
        assert_true(model_put_calibration(m, &v.row[i], NULL));
    assert_true(model_solve(whole, &f));
    for (long n = 1; !through && n < 4000; n += 1 + n / 20) {
        long alive = mem_alive();
        struct fault none = {0};
        mem_fail_at(n, 0);
        struct model_job *job = model_renewal_begin(m, &none);
        bool ok = job && model_job_run(job, NULL, &none);
        if (ok)
            through = model_job_take(m, job, &none) && model_catch_up(m);
        else
            model_job_free(job);
        mem_fail_at(0, 0);
        if (!ok) {
            assert_int_equal(none.kind, FAULT_MEMORY);
            assert_true(mem_alive() <= alive + 2); /* slopes that were learned meanwhile stay */
        }
    }
    assert_true(through);
    assert_true(model_solve(m, &f));
    assert_true(apart(&v, m, whole) < 0.02);
    model_free(m);
    model_free(whole);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

/* A deck whose dial is another one is told again after memory ran out on the way: the results on it are read by the new dial then. */
static void test_a_deck_told_again(void **state)
{
    (void)state;
    struct invented v = club(10);
    struct fault f = {0};
    bool through = false;
    int failed = 0;
    for (long n = 1; !through; n++) {
        struct model *m = told(&v, 60), *whole = told(&v, 60);
        struct deck d = v.deck[0];
        d.bias_dial.zero = 1.5;
        assert_true(model_solve(m, &f));
        mem_fail_at(n, 0);
        through = model_put_deck(m, &d);
        mem_fail_at(0, 0);
        failed += !through;
        assert_true(model_put_deck(m, &d) && model_put_deck(whole, &d));
        assert_true(model_solve(m, &f) && model_solve(whole, &f));
        assert_true(apart(&v, m, whole) < 0.02);
        model_free(m);
        model_free(whole);
    }
    assert_true(failed > 0);
    invented_free(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_renewal_while_results_come),
        cmocka_unit_test(test_variances_overtake_a_renewal),
        cmocka_unit_test(test_a_service_meanwhile),
        cmocka_unit_test(test_when_a_renewal_is_due),
        cmocka_unit_test(test_short_of_memory),
        cmocka_unit_test(test_a_deck_told_again),
    };
    return cmocka_run_group_tests_name("club jobs", tests, NULL, NULL);
}
