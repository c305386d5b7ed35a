/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a calibration to its responses: what moves add to the result as left, and when they take from it.
 */
#include "../../server/model/flat_rows.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

static const double sum = 1.75; /* a + b before any move was learned from */

static struct calibration left_at(double bias, double level, double low, double high)
{
    struct calibration c;
    calibration_init(&c);
    c.id.bytes[0] = 1;
    snprintf(c.deck, sizeof c.deck, "deck");
    snprintf(c.stock, sizeof c.stock, "stock");
    snprintf(c.tape, sizeof c.tape, "1");
    c.made_at_us = 1760000000000000LL;
    c.bias = bias;
    c.level = level;
    c.low_db = low;
    c.high_db = high;
    return c;
}

static struct row_response respond(const struct calibration *c)
{
    struct facts x;
    struct deck d;
    struct stock s;
    struct stamp stamp = {.seq = 1, .revision = 1};
    struct row_response out;
    struct flat_memo memo;
    struct equation_options o = {.before_us = CLOCK_NONE};
    int row;
    deck_init(&d);
    stock_init(&s);
    snprintf(d.id, sizeof d.id, "deck");
    snprintf(s.id, sizeof s.id, "stock");
    d.medium = MEDIUM_CASSETTE;
    d.meter_step_db = 0.1;
    d.bias_dial = d.level_dial = (struct dial){.present = true, .low = -6, .high = 6, .step = 0.0001, .scale = SCALE_DB, .db_per_unit = 1};
    s.tape_class = CLASS_TYPE_1;
    facts_init(&x);
    assert_true(facts_put_deck(&x, &d, NULL) && facts_put_stock(&x, &s, NULL));
    assert_true(facts_put_row(&x, c, &stamp, &row));
    flat_memo_init(&memo);
    row_respond(&x, &x.rows[row], &o, &memo, &out);
    facts_free(&x);
    return out;
}

/* The wander of two readings, 0.1 and 0.2 dB, and the rounding of both to a meter's tenth. */
static double one_reading(void)
{
    return (0.1 * 0.1 + 0.2 * 0.2 + 2 * 0.1 * 0.1 / 12) / (sum * sum);
}

static void test_one_look(void **state)
{
    (void)state;
    struct calibration c = left_at(1, 0.5, 0.1, 0.1);
    struct row_response r = respond(&c);
    assert_true(fabs(r.y[BIAS] - 1) < 1e-12 && fabs(r.y[LEVEL] - 0.4) < 1e-12);
    assert_true(fabs(r.s2[BIAS] - one_reading()) < 1e-8);
    c.tape[0] = 0; /* whichever tape it was */
    struct row_response unnamed = respond(&c);
    for (int k = 0; k < RESPONSES; k++)
        assert_true(fabs(unnamed.s2[k] - r.s2[k] - UNNAMED_SD * UNNAMED_SD) < 1e-12);
}

static void test_the_result_written_twice(void **state)
{
    (void)state;
    struct calibration c = left_at(1, 0.5, 0.1, -0.2);
    struct row_response once = respond(&c);
    c.moves[c.move_count++] = (struct move){1, 0.5, 0.1, -0.2};
    struct row_response twice = respond(&c);
    for (int k = 0; k < RESPONSES; k++)
        assert_true(once.y[k] == twice.y[k] && once.s2[k] == twice.s2[k]);
}

/* A look from 0.1 dB beside says the flat setting again, with an error of its own: the mean of two, of half the variance. */
static void test_a_second_look(void **state)
{
    (void)state;
    struct calibration c = left_at(1, 0.5, 0, 0);
    struct row_response once = respond(&c);
    c.moves[c.move_count++] = (struct move){0.9, 0.5, -0.015, 0.16 + 0.35};
    struct row_response both = respond(&c);
    double other = 0.9 + (0.16 + 0.35 + 0.015) / sum;
    double slopes = pow((0.16 + 0.35 + 0.015) / (sum * sum), 2) * (0.15 * 0.15 + 0.5 * 0.5) + pow(0.096 * 0.3 * 0.3 / sum, 2);
    double share = one_reading() / (2 * one_reading() + slopes); /* of the second */
    assert_true(fabs(both.y[BIAS] - (1 + share * (other - 1))) < 1e-6);
    assert_true(fabs(both.s2[BIAS] - (once.s2[BIAS] - share * one_reading())) < 1e-6);
    assert_true(share > 0.35 && share < 0.5);
    /* one from far away says less: the slopes are known to a third only */
    struct calibration far = left_at(1, 0.5, 0, 0);
    far.moves[far.move_count++] = (struct move){-1, 0.5, -0.3, 3.2 + 0.35};
    struct row_response little = respond(&far);
    assert_true(little.y[BIAS] > 1.001 && little.y[BIAS] < 1.04);
    assert_true(little.s2[BIAS] < once.s2[BIAS] && little.s2[BIAS] > once.s2[BIAS] - 0.2 * one_reading());
}

/* The last move and the result as left read alike, but their settings are 2.6 dB apart: one of them is a slip of the pen. */
static void test_a_result_against_its_moves(void **state)
{
    (void)state;
    struct calibration c = left_at(-1.3, 0.5, 0, 0.1);
    struct row_response alone = respond(&c);
    c.moves[c.move_count++] = (struct move){1.3, 0.5, 0, 0.1};
    struct row_response against = respond(&c);
    double beyond = 2.6 - MOVES_AGREE;
    assert_true(against.y[BIAS] == alone.y[BIAS]); /* what was typed stands; it counts for little */
    assert_true(fabs(against.s2[BIAS] - alone.s2[BIAS] - beyond * beyond) < 1e-9);
    assert_true(fabs(against.s2[LEVEL] - alone.s2[LEVEL]) < 1e-9); /* nothing contradicts the level */
}

/* Moves of results that were set otherwise, and without readings, tell nothing here. */
static void test_other_methods(void **state)
{
    (void)state;
    struct calibration c = left_at(1, 0.5, 0, 0);
    c.bias_method = METHOD_OVERBIAS;
    struct row_response alone = respond(&c);
    c.moves[c.move_count++] = (struct move){0.8, 0.5, 0, 0.9};
    struct row_response with = respond(&c);
    assert_true(alone.y[BIAS] == with.y[BIAS] && alone.s2[BIAS] == with.s2[BIAS]);
    struct calibration blind = left_at(1, 0.5, ABSENT, ABSENT);
    alone = respond(&blind);
    blind.moves[blind.move_count++] = (struct move){0.8, 0.5, 0, 0.9};
    with = respond(&blind);
    assert_true(with.kind[BIAS] == KIND_BLIND && alone.y[BIAS] == with.y[BIAS] && alone.s2[BIAS] == with.s2[BIAS]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_one_look), cmocka_unit_test(test_the_result_written_twice),
                                       cmocka_unit_test(test_a_second_look), cmocka_unit_test(test_a_result_against_its_moves),
                                       cmocka_unit_test(test_other_methods)};
    return cmocka_run_group_tests_name("flat rows", tests, NULL, NULL);
}
