/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Tape or deck: simulated causes in a small club, and what must stay "cannot tell yet". */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "random.h"
#include "trade/hints.h"

#include <stdio.h>
#include <string.h>

enum cause { WORN_HEAD, BAD_TAPE, BAD_BATCH, DIRTY_CHANNEL, NOTHING, CAUSES };

#define ROWS 400

struct club {
    struct hint_row rows[ROWS];
    int n;
    bool tape_on_one_deck; /* the tape asked about was used on this deck alone */
};

/* Five decks, twelve stocks of three classes, two batches of each, three tapes a batch; residuals after the model, with heavy tails. The case asked about is deck 0,
 * stock 0, batch 0, tape 0; recent = the last third of the time. */
static void club_at_random(struct dice *dice, enum cause cause, int results, bool one_deck, struct club *c)
{
    double size = (cause == DIRTY_CHANNEL ? 1.0 : 0.9) + 0.6 * dice_uniform(dice), sign = dice_uniform(dice) < 0.5 ? -1.0 : 1.0;
    c->n = 0;
    c->tape_on_one_deck = true;
    for (int i = 0; i < results; i++) {
        int deck = (int)(5.0 * dice_uniform(dice)), stock = (int)(12.0 * dice_uniform(dice)), batch = (int)(2.0 * dice_uniform(dice)),
            tape = (int)(3.0 * dice_uniform(dice));
        if (i % 8 == 0) { /* the case asked about comes up more often */
            stock = batch = tape = 0;
        }
        if (i % 11 == 0) {
            deck = 0;
        }
        bool this_tape = stock == 0 && batch == 0 && tape == 0;
        if (one_deck && this_tape) {
            deck = 0;
        }
        struct hint_row r = {.on_deck = deck == 0,
                             .of_class = stock % 3 == 0,
                             .of_stock = stock == 0,
                             .of_batch = stock == 0 && batch == 0,
                             .of_tape = this_tape,
                             .recent = 3 * i >= 2 * results,
                             .tag = i};
        c->tape_on_one_deck = c->tape_on_one_deck && !(this_tape && deck != 0);
        for (int s = 0; s < HINT_SIGNS; s++) {
            r.sd[s] = 0.4;
            r.value[s] = 0.4 * dice_normal(dice) * (dice_uniform(dice) < 0.03 ? 4.0 : 1.0);
        }
        if (dice_uniform(dice) < 0.5) {
            r.value[HINT_LOW_BALANCE] = r.value[HINT_HIGH_BALANCE] = r.value[HINT_UNSTEADY] = ABSENT;
        }
        if (cause == WORN_HEAD && r.on_deck && r.recent) {
            r.value[HINT_BIAS] -= size;
            r.value[HINT_LEVEL] += 0.3;
        }
        if ((cause == BAD_TAPE && r.of_tape) || (cause == BAD_BATCH && r.of_batch)) {
            r.value[HINT_BIAS] += sign * size;
        }
        if (cause == DIRTY_CHANNEL && r.on_deck && r.recent) {
            r.value[HINT_HIGH_BALANCE] += sign * size;
        }
        c->rows[c->n++] = r;
    }
}

static enum hint_verdict truth(enum cause c)
{
    return c == WORN_HEAD || c == DIRTY_CHANNEL ? VERDICT_DECK : c == NOTHING ? VERDICT_NOTHING : VERDICT_TAPE;
}

static void right_in_nine_of_ten_it_dares(void **state)
{
    (void)state;
    struct dice dice = {77};
    static struct club c;
    for (int results = 60; results <= 240; results *= 2) {
        int dared = 0, right = 0, asked = 0;
        for (int i = 0; i < 200; i++) {
            struct hint_finding f;
            enum cause cause = (enum cause)(i % CAUSES);
            club_at_random(&dice, cause, results, false, &c);
            hint_weigh(c.rows, c.n, &f);
            if (cause != NOTHING) {
                asked++;
            }
            if (f.verdict == VERDICT_TAPE || f.verdict == VERDICT_DECK) {
                dared++;
                right += f.verdict == truth(cause);
            }
        }
        print_message("    %d results: dared %d of %d, right %.3f\n", results, dared, asked, (double)right / dared);
        assert_true(right >= 0.9 * dared);
        assert_true(results < 120 || dared >= 0.6 * asked); /* not by silence */
    }
}

/* Wherever the tape was used on one deck only, "tape" cannot be said; that the deck has changed still can. */
static void a_tape_on_one_deck_cannot_be_told(void **state)
{
    (void)state;
    struct dice dice = {88};
    static struct club c;
    int untold = 0, deck = 0;
    for (int i = 0; i < 100; i++) {
        struct hint_finding f;
        club_at_random(&dice, BAD_TAPE, 120, true, &c);
        for (int k = 0; k < c.n; k++) { /* and is the only one of its batch and stock */
            c.rows[k].of_stock = c.rows[k].of_batch = c.rows[k].of_tape;
        }
        assert_true(c.tape_on_one_deck);
        for (int k = 0; k < c.n; k++) {
            c.rows[k].recent = c.rows[k].recent || c.rows[k].of_tape;
        }
        hint_weigh(c.rows, c.n, &f);
        assert_int_not_equal(f.verdict, VERDICT_TAPE);
        untold += f.verdict == VERDICT_CANNOT_TELL;
        if (f.verdict == VERDICT_CANNOT_TELL) {
            assert_non_null(strstr(f.would_tell, "another deck"));
        }
        club_at_random(&dice, WORN_HEAD, 240, true, &c);
        hint_weigh(c.rows, c.n, &f);
        deck += f.verdict == VERDICT_DECK;
    }
    assert_true(untold >= 90 && deck >= 80);
}

/* A deck that knows this tape alone: nothing can separate them. */
static void same_results_same_odds(void **state)
{
    (void)state;
    struct hint_row rows[6];
    struct hint_finding f;
    for (int i = 0; i < 6; i++) {
        rows[i] = (struct hint_row){
            .on_deck = true, .of_class = true, .of_stock = true, .of_batch = true, .of_tape = true, .recent = true, .tag = i};
        for (int s = 0; s < HINT_SIGNS; s++) {
            rows[i].value[s] = s == HINT_BIAS ? 1.5 : ABSENT;
            rows[i].sd[s] = 0.4;
        }
    }
    hint_weigh(rows, 6, &f);
    assert_int_equal(f.verdict, VERDICT_CANNOT_TELL);
    assert_true(f.chance[HINT_NOTHING] < 1e-6);
    assert_true(f.deck < 0.6 && f.tape < 0.6);
    double sum = 0.0;
    for (int s = 0; s < HINT_SCOPES; s++) {
        sum += f.chance[s];
    }
    assert_true(fabs(sum - 1.0) < 1e-12);
    assert_non_null(strstr(f.would_tell, "another stock on this deck"));
}

/* By hand: three results 1.0 on the deck alone, sd 0.5, offset spread 1.2: precision 12, posterior variance 1/(1/1.44 + 12), mean 12·that. */
static void size_is_the_shrunk_mean(void **state)
{
    (void)state;
    struct hint_row rows[40];
    struct hint_finding f;
    for (int i = 0; i < 40; i++) {
        rows[i] = (struct hint_row){.on_deck = i < 3, .recent = true, .tag = i};
        for (int s = 0; s < HINT_SIGNS; s++) {
            rows[i].value[s] = s != HINT_BIAS ? ABSENT : i < 3 ? 1.0 : 0.0;
            rows[i].sd[s] = 0.5;
        }
    }
    hint_weigh(rows, 40, &f);
    assert_int_equal(f.scope, HINT_DECK);
    double var = 1.0 / (1.0 / 1.44 + 12.0);
    assert_true(fabs(f.size[HINT_BIAS] - 12.0 * var) < 1e-12 && fabs(f.size_se[HINT_BIAS] - sqrt(var)) < 1e-12);
    assert_false(given(f.size[HINT_LEVEL]));
    assert_int_equal(f.rows, 3);
}

static void no_results_are_nothing_unusual(void **state)
{
    (void)state;
    struct hint_finding f;
    struct hint_hit hit;
    hint_weigh(NULL, 0, &f);
    assert_int_equal(f.verdict, VERDICT_CANNOT_TELL); /* nobody has looked yet: nothing holds less than half */
    assert_int_equal(hints_find(NULL, 0, &hit, 1), 0);
}

/* A misentry of 30 dB on one tape is no worn deck. */
static void one_wild_result_decides_nothing(void **state)
{
    (void)state;
    struct dice dice = {5};
    static struct club c;
    for (int i = 0; i < 30; i++) {
        struct hint_finding f;
        club_at_random(&dice, NOTHING, 120, false, &c);
        for (int k = c.n - 1; k >= 0; k--) {
            if (c.rows[k].on_deck && c.rows[k].recent) {
                c.rows[k].value[HINT_BIAS] = 30.0;
                break;
            }
        }
        hint_weigh(c.rows, c.n, &f);
        assert_true(f.deck < HINT_SURE);
    }
}

static void record_or_playback(void **state)
{
    (void)state;
    double chance;
    assert_int_equal(hint_half_of(-2.0, 0.3, ABSENT, 0.3, &chance), HALF_CANNOT_TELL);
    assert_true(chance == 0.5);
    assert_int_equal(hint_half_of(-2.0, 0.3, -1.9, 0.3, &chance), HALF_PLAYBACK);
    assert_int_equal(hint_half_of(-2.0, 0.3, 0.1, 0.3, &chance), HALF_RECORD);
    assert_int_equal(hint_half_of(-0.5, 0.4, -0.2, 0.4, &chance), HALF_CANNOT_TELL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(right_in_nine_of_ten_it_dares),
        cmocka_unit_test(a_tape_on_one_deck_cannot_be_told),
        cmocka_unit_test(same_results_same_odds),
        cmocka_unit_test(size_is_the_shrunk_mean),
        cmocka_unit_test(no_results_are_nothing_unusual),
        cmocka_unit_test(one_wild_result_decides_nothing),
        cmocka_unit_test(record_or_playback),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
