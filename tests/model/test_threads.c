/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Solver, estimator and worker compute at the same time, each on facts of its own: what one finds must not depend on what another does meanwhile.
 * A BLAS built without locks shares its work space between threads and fails here now and then (the serial OpenBLAS of Debian 12 does).
 */
#include "../../server/model/club.h"
#include "../../server/model/factor.h"

#include "../../server/ground/memory.h"
#include "invented.h"

#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define THREADS    3
#define ROUNDS     12
#define SIZE       40 /* of a small matrix, factored many times: calls meet most often there */
#define FACTORINGS 20000

struct work {
    const struct invented *v;
    double want, worst;
    int refused;
};

/* One number that every effect and variance goes into; NaN when there is no answer. */
static double answer_of(const struct invented *v)
{
    struct fault f = {0};
    struct model *m = model_new();
    double sum = 0;
    invented_put(v, m, NULL);
    struct model_view *view = model_refit(m, &f) ? model_publish(m, &f) : NULL;
    for (int d = 0; view && d < v->decks; d++)
        for (int s = 0; s < v->stocks; s++) {
            struct model_question q = invented_question(v, d, s);
            struct model_answer a;
            model_ask(view, &q, &a);
            sum += a.mean[BIAS] - 2 * a.mean[LEVEL] + a.se[BIAS] + a.high90[LEVEL];
        }
    if (!view)
        sum = NAN;
    model_view_free(view);
    model_free(m);
    return sum;
}

static void *repeat(void *user)
{
    struct work *w = user;
    for (int k = 0; k < ROUNDS; k++) {
        double off = fabs(answer_of(w->v) - w->want);
        w->refused += isnan(off);
        w->worst = fmax(w->worst, off); /* passes over NaN */
    }
    return NULL;
}

static void test_side_by_side(void **state)
{
    (void)state;
    struct invented v[THREADS];
    struct work w[THREADS] = {{0}};
    pthread_t thread[THREADS];
    for (int i = 0; i < THREADS; i++) {
        v[i] = (struct invented){.decks = 10, .stocks = 18, .rows = 100 + 20 * i, .tapes_each = 3, .readings = 0.7};
        invent(&v[i], 61 + (uint64_t)i);
        w[i] = (struct work){.v = &v[i], .want = answer_of(&v[i])};
        assert_true(isfinite(w[i].want));
        assert_true(answer_of(&v[i]) == w[i].want); /* alone it is the same each time, to the bit */
    }
    for (int i = 0; i < THREADS; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, repeat, &w[i]), 0);
    for (int i = 0; i < THREADS; i++)
        pthread_join(thread[i], NULL);
    for (int i = 0; i < THREADS; i++) {
        if (w[i].refused || w[i].worst > 0)
            print_message("club %d: %d of %d fits refused, others off by up to %g\n", i, w[i].refused, ROUNDS, w[i].worst);
        assert_int_equal(w[i].refused, 0);
        assert_true(w[i].worst == 0);
        invented_free(&v[i]);
    }
    assert_int_equal(mem_alive(), 0);
}

static void *factor_often(void *user)
{
    long *wrong = user;
    struct fault f = {0};
    struct pattern dense = {.n = SIZE};
    struct factor *k = factor_new(&dense, &f);
    double first[SIZE * SIZE];
    for (int round = 0; round < FACTORINGS; round++) {
        double *a = factor_clear(k);
        for (int i = 0; i < SIZE; i++)
            for (int j = 0; j < SIZE; j++)
                a[i * SIZE + j] = i == j ? SIZE : sin(1.0 + i * j);
        bool ok = factor_numeric(k) == FACTOR_DONE && factor_invert(k);
        if (!round)
            memcpy(first, factor_inverse(k), sizeof first);
        *wrong += !ok || memcmp(first, factor_inverse(k), sizeof first) != 0;
    }
    factor_free(k);
    return NULL;
}

static void test_factors_side_by_side(void **state)
{
    (void)state;
    long wrong[2] = {0};
    pthread_t thread[2];
    for (int i = 0; i < 2; i++)
        assert_int_equal(pthread_create(&thread[i], NULL, factor_often, &wrong[i]), 0);
    for (int i = 0; i < 2; i++)
        pthread_join(thread[i], NULL);
    if (wrong[0] + wrong[1])
        fail_msg("%ld of %d inverses are wrong when two threads compute: this BLAS has no locks", wrong[0] + wrong[1], 2 * FACTORINGS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_side_by_side), cmocka_unit_test(test_factors_side_by_side)};
    return cmocka_run_group_tests_name("threads", tests, NULL, NULL);
}
