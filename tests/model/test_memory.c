/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Memory runs out at every allocation in turn, once and for ever after: the estimator answers with a fault of memory or with the right numbers, loses no
 * block, and goes on rightly when there is memory again. Libraries allocate through the same door (SuiteSparse's hooks).
 */
#include "../../server/ground/memory.h"
#include "../../server/model/fit.h"
#include "../../server/model/replay.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { ROWS = 60, LATE = 6, SPARSE_ROWS = 420 };

static double answer_of(const struct model_view *v, const struct invented *c, int deck, int stock)
{
    struct model_question q = invented_question(c, deck, stock);
    struct model_answer a;
    model_ask(v, &q, &a);
    return a.mean[BIAS] + 10 * a.se[LEVEL];
}

static bool count_row(void *user, const struct replay_row *row)
{
    (void)row;
    ++*(long *)user;
    return true;
}

/* A club's life: rows, a refit, late rows, a job adopted, a view saved and loaded, a replay. False at the first thing that could not be had. */
static bool live_through(const struct invented *c, struct fault *f, double *answer)
{
    bool ok = false;
    void *bytes = NULL;
    size_t n = 0;
    struct model_view *view = NULL, *again = NULL;
    struct model_job *job = NULL;
    struct model *m = model_new();
    long replayed = 0;
    if (!m)
        return fault_add(f, FAULT_MEMORY, "", "memory", "no model");
    for (int i = 0; i < c->decks; i++)
        if (!model_put_deck(m, &c->deck[i]))
            goto no_memory;
    for (int i = 0; i < c->stocks; i++)
        if (!model_put_stock(m, &c->stock[i]))
            goto no_memory;
    for (int i = 0; i < c->rows - LATE; i++)
        if (!model_put_calibration(m, &c->row[i], NULL))
            goto no_memory;
    if (!model_refit(m, f))
        goto done;
    for (int i = c->rows - LATE; i < c->rows; i++)
        if (!model_put_calibration(m, &c->row[i], NULL))
            goto no_memory;
    if (!model_solve(m, f) || !(job = model_fit_begin(m, f)) || !model_job_run(job, NULL, f) ||
        !model_job_replay(job, 3, NULL, count_row, &replayed, f))
        goto done;
    struct model_job *ended = job;
    job = NULL;
    if (!model_fit_adopt(m, ended, f) || !(view = model_publish(m, f)) || !model_view_save(view, &bytes, &n, f) ||
        !(again = model_view_load(bytes, n, f)))
        goto done;
    *answer = 0;
    for (int d = 0; d < c->decks; d++)
        for (int s = 0; s < c->stocks; s++)
            *answer += answer_of(again, c, d, s) * (1 + d);
    ok = replayed > 0;
    goto done;
no_memory:
    fault_add(f, FAULT_MEMORY, "", "memory", "rows");
done:
    model_job_free(job);
    model_view_free(view);
    model_view_free(again);
    mem_free(bytes);
    model_free(m);
    return ok;
}

typedef bool (*life)(const struct invented *, struct fault *, double *);

/* One run with the nth allocation failing; true when it came through, then with the right answer. */
static bool starved(life l, const struct invented *c, long n, int ever, double right)
{
    struct fault f = {0};
    double answer = 0;
    long alive = mem_alive();
    mem_fail_at(n, ever);
    bool ok = l(c, &f, &answer);
    mem_fail_at(0, 0);
    assert_int_equal(mem_alive(), alive);
    if (ok)
        assert_true(fabs(answer - right) < 1e-6 * (1 + fabs(right)));
    else
        assert_int_equal(f.kind, FAULT_MEMORY);
    return ok;
}

static void starve(life l, const struct invented *c, long step)
{
    struct fault f = {0};
    double right = 0, answer = 0;
    long last = 1, refused = 0;
    assert_true(l(c, &f, &right));
    while (!starved(l, c, last, 1, right)) /* from there on nothing is asked for */
        last += last < 200 ? 1 : step;
    for (long n = 1; n < last; n += n < 200 ? 1 : step) /* a single one may be done without */
        refused += !starved(l, c, n, 0, right);
    assert_true(last > 100 && refused > 50);
    assert_true(l(c, &f, &answer));
    assert_true(fabs(answer - right) < 1e-9 * (1 + fabs(right)));
}

static void test_a_clubs_life(void **state)
{
    (void)state;
    struct invented v = {.decks = 4, .stocks = 6, .rows = ROWS, .tapes_each = 2, .readings = 0.8, .misentries = 0.02};
    invent(&v, 23);
    starve(live_through, &v, 29);
    invented_free(&v);
}

/* A table whose factor is sparse, with predictions by solves. */
static bool fit_sparse(const struct invented *c, struct fault *f, double *answer)
{
    (void)c;
    static double y[SPARSE_ROWS];
    static int outer[SPARSE_ROWS], inner[SPARSE_ROWS], cell[SPARSE_ROWS];
    struct lot l = {.state = 9};
    for (int i = 0; i < SPARSE_ROWS; i++) {
        outer[i] = i / 2 % 200;
        inner[i] = lot_below(&l, 190);
        cell[i] = i % 209;
        y[i] = lot_normal(&l) + outer[i] % 7 + 0.3 * (inner[i] % 5);
    }
    struct fit_table t = {
        .rows = SPARSE_ROWS, .y = y, .intercept = true, .group_count = 3, .level = {outer, inner, cell}, .levels = {200, 190, 209}};
    const char *group[3] = {"outer", "inner", "cell"};
    struct fit_names names = {.group = group};
    struct fit *k = fit_new(&t, &names, true, f);
    double mean[4], se[4];
    if (!k)
        return false;
    t.rows = 4;
    bool ok = fit_predict(k, &t, mean, se, f);
    struct fit_result r;
    fit_result(k, &r);
    *answer = ok ? r.criterion + mean[1] + se[2] : 0;
    fit_free(k);
    return ok;
}

static void test_a_fit(void **state)
{
    (void)state;
    starve(fit_sparse, NULL, 17);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_a_clubs_life), cmocka_unit_test(test_a_fit)};
    return cmocka_run_group_tests_name("memory", tests, NULL, NULL);
}
