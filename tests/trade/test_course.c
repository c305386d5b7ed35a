/* SPDX-License-Identifier: GPL-3.0-or-later
 * The course of a deck: the mode is the mode (no step improves it), a jump does not hide in the stocks used after it, resets begin stretches. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/course.h"

#include <math.h>
#include <string.h>

#define ROWS    120
#define STOCKS  12
#define TAPES   40
#define TAPE_SD 0.2
#define SIGMA   0.3

struct scene {
    struct course_row rows[ROWS];
    struct course_effect stocks[STOCKS], tapes[TAPES], levels[ROWS];
    double truth[ROWS], stock[STOCKS];
    int level_count;
};

/* Stocks 6 … 11 come only after the jump. */
static void make(struct scene *s, uint64_t seed, double jump, double misentries)
{
    struct dice dice = {seed};
    double tape[TAPES];
    memset(s, 0, sizeof *s);
    for (int k = 0; k < STOCKS; k++) {
        s->stock[k] = 0.3 * dice_normal(&dice);
        s->stocks[k].sd = 0.3;
    }
    for (int k = 0; k < TAPES; k++)
        tape[k] = TAPE_SD * dice_normal(&dice);
    for (int i = 0; i < ROWS; i++) {
        bool after = i >= ROWS / 2;
        int stock = (int)(6 * dice_uniform(&dice)) + (after && dice_uniform(&dice) < 0.6 ? 6 : 0),
            named = dice_uniform(&dice) < 0.7 ? (int)(TAPES * dice_uniform(&dice)) : -1;
        s->truth[i] = after ? jump : 0;
        s->rows[i] = (struct course_row){.y = s->truth[i] + s->stock[stock] + (named >= 0 ? tape[named] : TAPE_SD * dice_normal(&dice)) +
                                              SIGMA * dice_normal(&dice),
                                         .variance = SIGMA * SIGMA,
                                         .stock = stock,
                                         .tape = named};
        if (dice_uniform(&dice) < misentries)
            s->rows[i].y += 4 * dice_normal(&dice);
    }
}

static void fit(struct scene *s)
{
    s->level_count = course_fit(s->rows, ROWS, s->stocks, STOCKS, s->tapes, TAPES, TAPE_SD, s->levels);
}

/* −2 log posterior with t residuals, up to a constant. */
static double objective(const struct scene *s)
{
    double sum = 0;
    for (int i = 0; i < ROWS; i++) {
        const struct course_row *r = &s->rows[i];
        double v = r->variance + (r->tape < 0 ? TAPE_SD * TAPE_SD : 0);
        double e = r->y - s->levels[r->level].mean - s->stocks[r->stock].mean - (r->tape >= 0 ? s->tapes[r->tape].mean : 0);
        sum += 5 * log1p(e * e / (4 * v));
    }
    for (int k = 0; k < STOCKS; k++)
        sum += pow(s->stocks[k].mean / s->stocks[k].sd, 2);
    for (int k = 0; k < TAPES; k++)
        sum += pow(s->tapes[k].mean / TAPE_SD, 2);
    return sum;
}

static void no_step_improves(void **state)
{
    (void)state;
    struct scene s;
    make(&s, 3, 0.9, 0.03);
    fit(&s);
    double best = objective(&s);
    struct course_effect *lists[3] = {s.stocks, s.tapes, s.levels};
    const int counts[3] = {STOCKS, TAPES, s.level_count};
    for (int l = 0; l < 3; l++)
        for (int k = 0; k < counts[l]; k++)
            for (int sign = -1; sign <= 1; sign += 2) {
                lists[l][k].mean += sign * 0.02;
                assert_true(objective(&s) > best - 1e-3);
                lists[l][k].mean -= sign * 0.02;
            }
}

static double mean_of(const struct scene *s, int from, int to)
{
    double sum = 0;
    for (int i = from; i < to; i++)
        sum += s->rows[i].residual / (to - from);
    return sum;
}

static void a_jump_stays_with_the_deck(void **state)
{
    (void)state;
    double sum = 0, squares = 0, scaled = 0;
    int n = 60;
    for (int seed = 1; seed <= n; seed++) {
        struct scene s;
        make(&s, (uint64_t)seed * 77, 0.9, 0);
        fit(&s);
        double found = mean_of(&s, ROWS / 2, ROWS) - mean_of(&s, 0, ROWS / 2);
        sum += found / n;
        squares += pow(found - 0.9, 2) / n;
        for (int i = 0; i < ROWS; i++) /* what is left scatters by what it says */
            scaled += pow((s.rows[i].residual - s.truth[i] - (mean_of(&s, 0, ROWS / 2))) / s.rows[i].sd, 2) / (n * ROWS);
    }
    assert_true(fabs(sum - 0.9) < 0.05); /* stocks first met after it do not take it along */
    assert_true(sqrt(squares) < 0.2);
    assert_true(scaled > 0.7 && scaled < 1.3);
}

static void stretches(void **state)
{
    (void)state;
    struct scene s;
    make(&s, 9, 0, 0);
    s.rows[30].reset = s.rows[33].reset = true;
    fit(&s);
    assert_int_equal(s.rows[0].level, 0);
    assert_int_equal(s.rows[30].level, s.rows[29].level + 1);
    assert_int_equal(s.rows[33].level, s.rows[32].level + 1); /* three results between two resets are their own */
    assert_int_equal(s.rows[32].level, s.rows[30].level);
    int length = 1;
    for (int i = 1; i < ROWS; i++) {
        assert_true(s.rows[i].level == s.rows[i - 1].level || s.rows[i].level == s.rows[i - 1].level + 1);
        length = s.rows[i].level == s.rows[i - 1].level ? length + 1 : 1;
        assert_true(length <= COURSE_STRETCH + COURSE_STRETCH / 2);
    }
    assert_int_equal(s.level_count, s.rows[ROWS - 1].level + 1);
}

static void shifting_all_shifts_the_residuals(void **state)
{
    (void)state;
    struct scene a, b;
    make(&a, 4, 0.5, 0.02);
    b = a;
    for (int i = 0; i < ROWS; i++)
        b.rows[i].y += 7;
    fit(&a);
    fit(&b);
    for (int i = 0; i < ROWS; i++)
        assert_true(fabs(b.rows[i].residual - a.rows[i].residual - 7) < 0.01);
}

static void one_row(void **state)
{
    (void)state;
    struct course_row row = {.y = 0.4, .variance = 0.1, .stock = 0, .tape = -1};
    struct course_effect stock = {.sd = 0.3}, tape, level;
    assert_int_equal(course_fit(&row, 1, &stock, 1, &tape, 0, 0.2, &level), 1);
    assert_true(fabs(row.residual - 0.4) < 0.01 && row.sd > 0.3); /* the free level takes it; the stock says nothing */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(no_step_improves), cmocka_unit_test(a_jump_stays_with_the_deck),
                                       cmocka_unit_test(stretches), cmocka_unit_test(shifting_all_shifts_the_residuals),
                                       cmocka_unit_test(one_row)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
