/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * "Try next" against the exact answer: in a small crossed design (deck + stock + pair, known variances) the posterior covariance of all predictions is had
 * by inverting the whole, and the fall in summed variance by one more result is Σ cov²/(V + N) to the last digit (Gaussian conditioning). The
 * approximation sees only variances; it has to choose nearly as well.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "actions/coverage.h"
#include "actions/slugs.h"
#include "ground/memory.h"

#define DECKS  5
#define STOCKS 8
#define PAIRS  (DECKS * STOCKS)
#define N      (DECKS + STOCKS + PAIRS)

static const double DECK = 0.49, STOCK = 0.64, PAIR = 0.04, NOISE = 0.16; /* dB², the club's prior scales */

static double matrix[N][2 * N]; /* precision, then beside it its inverse */

static void invert(void)
{
    for (int i = 0; i < N; i++) { /* positive definite: no pivoting needed */
        double d = matrix[i][i];
        assert_true(d > 0);
        for (int j = 0; j < 2 * N; j++)
            matrix[i][j] /= d;
        for (int k = 0; k < N; k++) {
            double f = k == i ? 0 : matrix[k][i];
            for (int j = 0; f != 0 && j < 2 * N; j++)
                matrix[k][j] -= f * matrix[i][j];
        }
    }
}

static double covariance(int a, int b)
{
    return matrix[a][N + b];
}

/* Of the predictions of two pairs. */
static double between(int p, int q)
{
    const int a[3] = {p / STOCKS, DECKS + p % STOCKS, DECKS + STOCKS + p}, b[3] = {q / STOCKS, DECKS + q % STOCKS, DECKS + STOCKS + q};
    double sum = 0;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            sum += covariance(a[i], b[k]);
    return sum;
}

static unsigned seed;
static unsigned random_below(unsigned n)
{
    seed = seed * 1664525u + 1013904223u;
    return (seed >> 16) % n;
}

static void a_club(unsigned number)
{
    seed = number * 2654435761u + 1;
    memset(matrix, 0, sizeof matrix);
    for (int i = 0; i < N; i++) {
        matrix[i][i] = 1 / (i < DECKS ? DECK : i < DECKS + STOCKS ? STOCK : PAIR);
        matrix[i][N + i] = 1;
    }
    for (int p = 0; p < PAIRS; p++) {
        int deck = p / STOCKS, stock = p % STOCKS;
        unsigned results = random_below(3) == 0 || deck == 4 || stock == 7 ? 0 : random_below(5); /* one deck and one stock nobody used */
        const int at[3] = {deck, DECKS + stock, DECKS + STOCKS + p};
        for (int i = 0; i < 3; i++)
            for (int k = 0; k < 3; k++)
                matrix[at[i]][at[k]] += results / NOISE;
    }
    invert();
}

static double exact_fall(int p)
{
    double sum = 0;
    for (int q = 0; q < PAIRS; q++)
        sum += between(p, q) * between(p, q);
    return sum / (between(p, p) + NOISE);
}

static double approximate_fall(int p)
{
    int deck = p / STOCKS, stock = p % STOCKS;
    struct coverage_pair c = {.whole = between(p, p),
                              .deck = covariance(deck, deck),
                              .deck_other = covariance(deck, deck),
                              .stock = covariance(DECKS + stock, DECKS + stock),
                              .pair = covariance(DECKS + STOCKS + p, DECKS + STOCKS + p),
                              .noise = NOISE,
                              .same_class = STOCKS - 1,
                              .decks = DECKS - 1};
    return coverage_fall(&c);
}

static void chooses_nearly_as_well_as_the_whole_covariance(void **state)
{
    (void)state;
    for (unsigned club = 0; club < 30; club++) {
        a_club(club);
        double best = 0, chosen = 0, estimate = -1, mean = 0;
        int choice = 0;
        for (int p = 0; p < PAIRS; p++) {
            double exact = exact_fall(p), about = approximate_fall(p);
            mean += exact / PAIRS;
            if (exact > best)
                best = exact;
            if (about > estimate)
                estimate = about, chosen = exact, choice = p;
        }
        if (chosen < 0.9 * best)
            fail_msg("club %u: pair %d takes off %g, the best %g", club, choice, chosen, best);
        assert_true(chosen > 1.5 * mean); /* and it is a choice */
        /* what nobody used is known least: the choice is there */
        assert_true(choice / STOCKS == 4 || choice % STOCKS == 7);
    }
}

static void odd_variances(void **state)
{
    (void)state;
    struct coverage_pair nothing = {.whole = 0};
    assert_true(coverage_fall(&nothing) == 0);
    struct coverage_pair inconsistent = {.whole = 0.01, .deck = 1, .stock = 1, .pair = 0.5, .noise = 0.1, .same_class = 3, .decks = 3};
    double fall = coverage_fall(&inconsistent); /* approximations of a model may not add up: never negative, never not a number */
    assert_true(isfinite(fall) && fall >= 0);
}

static void sets_of_ids(void **state)
{
    (void)state;
    struct slugs s = {NULL, 0, 0};
    char id[16] = "a-0000";
    assert_false(slugs_have(&s, "a"));
    for (int i = 0; i < 5000; i++) {
        id[2] = (char)('0' + i / 1000), id[3] = (char)('0' + i / 100 % 10), id[4] = (char)('0' + i / 10 % 10), id[5] = (char)('0' + i % 10);
        assert_false(slugs_have(&s, id));
        assert_true(slugs_add(&s, id));
        assert_true(slugs_add(&s, id)); /* again changes nothing */
        assert_int_equal(s.count, i + 1);
    }
    assert_true(slugs_have(&s, "a-0000") && slugs_have(&s, "a-4999"));
    assert_false(slugs_have(&s, "a-5000"));
    slugs_free(&s);
    mem_fail_at(1, 0);
    assert_false(slugs_add(&s, "x"));
    assert_false(slugs_have(&s, "x"));
    slugs_free(&s);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(chooses_nearly_as_well_as_the_whole_covariance), cmocka_unit_test(odd_variances),
                                       cmocka_unit_test(sets_of_ids)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
