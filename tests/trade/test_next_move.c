/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The bench: how many readings until it sits and whether it truly does, on tapes whose curves the product does not know; and
 * each thing it must say. The thresholds in next_move.c were chosen on seed 1; here other seeds judge.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define JUDGE 4242

static int tapes(void) /* BIASBOOK_LONG=1: the long run */
{
    return getenv("BIASBOOK_LONG") ? 3000 : 200;
}

struct tally {
    int n, settled, right, within[9], surprised;
};

static struct tally many(const struct meter *m, double told_step, bool mislabelled, double treble, double bias_step, uint64_t seed)
{
    struct dice dice = {seed};
    struct tally t = {.n = tapes()};
    struct dial bias = bench_dial(-7, 7, bias_step), level = bench_dial(-7, 7, 0.2);
    for (int i = 0; i < t.n; i++) {
        struct move moves[LIMIT_MOVES];
        struct next_move_question q = bench_question(&bias, &level);
        struct tape tape = bench_tape(&dice, &q, mislabelled);
        struct bench_end end;
        q.meter_step_db = told_step;
        q.treble_db = treble;
        bench_run(&q, moves, &tape, m, &dice, 8, &end);
        assert_false(end.repeated);
        assert_false(end.outside);
        t.settled += end.settled;
        t.right += end.settled && end.right;
        for (int k = end.readings; k < 9; k++) {
            t.within[k] += end.settled;
        }
    }
    print_message("    %d tapes: settled %.3f, truly right %.3f; within one reading %.3f, two %.3f, three %.3f, five %.3f\n", t.n,
                  (double)t.settled / t.n, (double)t.right / t.settled, (double)t.within[1] / t.n, (double)t.within[2] / t.n,
                  (double)t.within[3] / t.n, (double)t.within[5] / t.n);
    return t;
}

/* Median at most two readings, 95 % within three, 93 % truly right. */
static void fine_meter(void **state)
{
    (void)state;
    const struct meter fine = {{0.07, 0.12}, 0.1};
    for (int mislabelled = 0; mislabelled < 2; mislabelled++) {
        struct tally t = many(&fine, 0.1, mislabelled, 0.0, 0.25, JUDGE + (uint64_t)mislabelled);
        assert_true(2 * t.within[2] >= t.n);
        assert_true(t.within[3] >= 0.95 * t.n);
        assert_true(t.right >= 0.93 * t.settled);
        assert_true(t.within[1] >= 0.41 * t.n); /* the aim: half sit at the first reading */
    }
}

/* 95 % within five, 80 % truly right. */
static void one_glance_at_an_ordinary_meter(void **state)
{
    (void)state;
    const struct meter glance = {{0.15, 0.4}, 0.0};
    for (int mislabelled = 0; mislabelled < 2; mislabelled++) {
        struct tally t = many(&glance, ABSENT, mislabelled, 0.0, 0.25, JUDGE + 10 + (uint64_t)mislabelled);
        assert_true(t.within[5] >= 0.95 * t.n);
        assert_true(t.right >= 0.80 * t.settled);
    }
}

static void segments_of_one_db(void **state)
{
    (void)state;
    const struct meter segments = {{0.05, 0.1}, 1.0}, glanced = {{0.15, 0.4}, 1.0};
    struct tally t = many(&segments, 1.0, true, 0.0, 0.25, JUDGE + 20);
    assert_true(t.within[5] >= 0.95 * t.n && t.right >= 0.80 * t.settled);
    t = many(&glanced, 1.0, true, 0.0, 0.25, JUDGE + 21);
    assert_true(t.within[5] >= 0.95 * t.n && t.right >= 0.80 * t.settled);
}

static void wanted_lift_and_coarse_dial(void **state)
{
    (void)state;
    const struct meter fine = {{0.07, 0.12}, 0.1};
    struct tally t = many(&fine, 0.1, true, 2.0, 0.25, JUDGE + 30);
    assert_true(t.within[3] >= 0.95 * t.n && t.right >= 0.93 * t.settled);
    t = many(&fine, 0.1, true, 0.0, 0.5, JUDGE + 31);
    assert_true(t.within[3] >= 0.95 * t.n && t.right >= 0.93 * t.settled);
}

/* ---- single answers ---- */

static struct dial bias_dial, level_dial;
static struct next_move_question fresh(void)
{
    bias_dial = bench_dial(-5, 5, 0.25);
    level_dial = bench_dial(-5, 5, 0.25);
    struct next_move_question q = bench_question(&bias_dial, &level_dial);
    q.meter_step_db = 0.1;
    return q;
}

static struct next_move ask(struct next_move_question *q, const struct move *moves, int n)
{
    struct next_move nm;
    q->moves = moves;
    q->move_count = n;
    next_move(q, &nm);
    assert_true(nm.text[0]);
    assert_true(nm.chance_right >= 0.0 && nm.chance_right <= 1.0);
    return nm;
}

static void start_is_the_suggestion_on_the_dial(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    q.need[0] = 0.62;
    q.need[1] = -0.31;
    struct next_move nm = ask(&q, NULL, 0);
    assert_int_equal(nm.reason, MOVE_START);
    assert_true(nm.set.dial[0] == 0.5 && nm.set.dial[1] == -0.25);
    assert_false(nm.settled);
    assert_true(fabs(nm.set.high_db - 1.6 * 0.12 - 0.06) < 0.02);
    q.treble_db = 1.75; /* one dB less bias at a + b = 1.75 */
    nm = ask(&q, NULL, 0);
    assert_true(nm.set.dial[0] == -0.5);
}

static void bright_means_more_bias_and_dull_less(void **state)
{
    (void)state;
    for (int sign = -1; sign <= 1; sign += 2) {
        struct next_move_question q = fresh();
        struct move m = {0, 0, 0.0, 1.6 * sign};
        struct next_move nm = ask(&q, &m, 1);
        assert_int_equal(nm.reason, MOVE_FOLLOW);
        assert_true(nm.set.db[0] * sign > 0.25);
        assert_non_null(strstr(nm.text, sign > 0 ? "bright" : "dull"));
        assert_non_null(strstr(nm.text, sign > 0 ? "more bias" : "less bias"));
    }
}

/* The same question on a dial where a larger reading is less bias: the same dB, the other way round the dial. */
static void either_sense_of_turning(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m = {0, 0, 0.0, 1.6}, m2 = m;
    struct next_move a = ask(&q, &m, 1);
    bias_dial.plus = PLUS_LESS;
    struct next_move b = ask(&q, &m2, 1);
    assert_true(fabs(a.set.dial[0] + b.set.dial[0]) < 1e-9);
    assert_true(fabs(a.set.db[0] - b.set.db[0]) < 1e-9);
}

static void within_tolerance_it_sits(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m = {0.25, 0, 0.1, -0.2};
    struct next_move nm = ask(&q, &m, 1);
    assert_true(nm.settled);
    assert_int_equal(nm.reason, MOVE_SETTLED);
    assert_true(nm.set.dial[0] == 0.25 && nm.set.dial[1] == 0.0);
    assert_true(nm.chance_right > 0.9);
}

/* 0.8 dB bright is inside ±1, outside ±0.5 for noise reduction. */
static void noise_reduction_is_stricter(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m = {0, 0, 0.0, 0.8};
    q.reading_sd[0] = q.reading_sd[1] = 0.05;
    assert_true(ask(&q, &m, 1).settled);
    q.for_noise_reduction = true;
    struct next_move nm = ask(&q, &m, 1);
    assert_false(nm.settled);
    assert_true(nm.tolerance[1] == TOLERANCE_HIGH_NR_DB);
}

/* Just inside the limit on a coarse meter is not yet sure; on a fine one it is. */
static void meter_step_counts(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m = {0, 0, 0.4, 0.6};
    q.meter_step_db = 0.02;
    q.reading_sd[0] = q.reading_sd[1] = 0.03;
    struct next_move fine = ask(&q, &m, 1);
    q.meter_step_db = 1.0;
    struct next_move coarse = ask(&q, &m, 1);
    double sure = fine.settled ? fine.chance_right : 0.0;
    assert_true(sure > 0.9);
    assert_false(coarse.settled && coarse.set.dial[0] == 0.0 && coarse.chance_right > 0.9);
}

static void below_the_peak_comes_up(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m[2] = {{-4, 0, -3.0, 1.0}, {-3, 0, -2.0, 2.6}};
    struct next_move nm = ask(&q, m, 2);
    assert_int_equal(nm.reason, MOVE_BELOW_PEAK);
    assert_true(nm.set.dial[0] >= -1.0);
    assert_non_null(strstr(nm.text, "elow the peak"));
    assert_false(nm.settled);
}

/* Metal in a deck set for ferric: 5 to 8 dB short of bias, mostly below the peak. */
static void far_too_little_bias_is_survived(void **state)
{
    (void)state;
    struct dice dice = {JUDGE + 40};
    const struct meter fine = {{0.07, 0.12}, 0.1};
    struct dial bias = bench_dial(-10, 10, 0.25), level = bench_dial(-7, 7, 0.2);
    int settled = 0, right = 0, below = 0, n = tapes() / 2;
    for (int i = 0; i < n; i++) {
        struct next_move_question q = bench_question(&bias, &level);
        struct move moves[LIMIT_MOVES];
        struct tape t = tape_make(&dice);
        struct bench_end end;
        t.need[0] = 5.0 + 3.0 * dice_uniform(&dice);
        t.need[1] = dice_normal(&dice);
        q.meter_step_db = 0.1;
        bench_run(&q, moves, &t, &fine, &dice, 8, &end);
        settled += end.settled;
        right += end.settled && end.right;
        below += end.reasons[MOVE_BELOW_PEAK] > 0;
        assert_false(end.repeated);
    }
    assert_true(settled >= 0.95 * n && right >= 0.95 * settled);
    assert_true(below > 0);
}

static void surprise_stops_before_it_is_followed(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    /* half a dB more bias should cost 0.8 dB of treble; 4 dB were lost: dirt, not bias */
    struct move m[2] = {{0, 0, 0.0, 1.4}, {0.75, 0, 0.1, -4.0}};
    struct next_move nm = ask(&q, m, 2);
    assert_int_equal(nm.reason, MOVE_SURPRISE);
    assert_true(nm.look_first && !nm.settled);
    assert_non_null(strstr(nm.text, "azimuth"));
    assert_non_null(strstr(nm.text, "equalisation"));
}

static void what_was_foretold_is_no_surprise(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m[2] = {{0, 0, 0.0, 1.6}, {0.5, 0, 0.1, 1.1}};
    struct next_move nm = ask(&q, m, 2);
    assert_false(nm.look_first);
}

static void unlike_its_label_is_said_at_the_first_reading(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m = {0, 0, -2.5, 4.5}; /* the wrong equalisation alone does this */
    struct next_move nm = ask(&q, &m, 1);
    assert_int_equal(nm.reason, MOVE_UNLIKE_LABEL);
    assert_true(nm.look_first);
    assert_non_null(strstr(nm.text, "equalisation"));
}

static void readings_that_wander(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    struct move m[2] = {{0, 0, 0.0, 1.5}, {0, 0, 0.0, -1.2}}; /* the same setting read again */
    struct next_move nm = ask(&q, m, 2);
    assert_int_equal(nm.reason, MOVE_WANDER);
    assert_true(nm.look_first);
    struct move small[2] = {{0, 0, 0.0, 1.5}, {0.25, 0, 0.0, 3.2}};
    nm = ask(&q, small, 2);
    assert_true(nm.reason == MOVE_WANDER);
}

static void dial_runs_out(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    bias_dial = bench_dial(-1, 1, 0.25);
    struct move m[2] = {{0, 0, 0.0, 4.0}, {1, 0, 0.1, 2.8}};
    struct next_move nm = ask(&q, m, 1);
    assert_true(nm.beyond[0]);
    assert_true(nm.set.dial[0] == 1.0); /* never outside */
    nm = ask(&q, m, 2);
    assert_int_equal(nm.reason, MOVE_RUNS_OUT);
    assert_false(nm.settled);
    assert_non_null(strstr(nm.text, "bias dial ends"));
}

/* Without record trim only the difference can be had; the level's part is said. */
static void no_level_dial(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    level_dial.present = false;
    struct move m[2] = {{0, ABSENT, -1.2, 0.8}, {1.25, ABSENT, -1.0, -1.1}};
    struct next_move nm = ask(&q, m, 1);
    assert_true(nm.set.dial[0] > 0.5 && !given(nm.set.dial[1]) && nm.set.db[1] == 0.0);
    nm = ask(&q, m, 2);
    assert_true(nm.settled); /* the tones agree, though both read −1 */
    assert_non_null(strstr(nm.note, "noise reduction"));
    assert_true(fabs(nm.set.low_db + 1.0) < 0.3);
}

static void no_bias_dial(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    bias_dial.present = false;
    struct move m[2] = {{ABSENT, 0, 1.0, -2.0}, {ABSENT, -1, 0.0, -3.0}};
    struct next_move nm = ask(&q, m, 1);
    assert_true(!given(nm.set.dial[0]) && nm.set.dial[1] == -1.0);
    nm = ask(&q, m, 2);
    assert_true(nm.settled);
    assert_int_equal(nm.reason, MOVE_NO_BIAS_DIAL);
    assert_non_null(strstr(nm.text, "-3.0"));
}

static void no_dial_at_all(void **state)
{
    (void)state;
    struct next_move_question q = fresh();
    q.dial[0] = q.dial[1] = NULL;
    q.need[0] = 1.0; /* wants a dB more bias than the deck gives: bright */
    struct next_move nm = ask(&q, NULL, 0);
    assert_int_equal(nm.reason, MOVE_NO_DIAL);
    assert_true(nm.set.high_db > 1.0 && !given(nm.set.dial[0]) && !given(nm.set.dial[1]));
    struct move m = {ABSENT, ABSENT, 0.2, 2.0};
    nm = ask(&q, &m, 1);
    assert_int_equal(nm.reason, MOVE_NO_DIAL);
    assert_true(fabs(nm.set.high_db - 2.0) < 0.3);
}

/* Marks a whole dB apart: when nothing lies nearer it says so and does not go round in circles. */
static void never_the_same_setting_twice(void **state)
{
    (void)state;
    struct dice dice = {JUDGE + 50};
    const struct meter fine = {{0.07, 0.12}, 0.1};
    int stopped = 0;
    for (int i = 0; i < 40; i++) {
        struct dial bias = bench_dial(-3, 3, 1.5), level = bench_dial(-3, 3, 1.5);
        struct next_move_question q = bench_question(&bias, &level);
        struct move moves[LIMIT_MOVES];
        struct tape t = bench_tape(&dice, &q, true);
        struct bench_end end;
        q.for_noise_reduction = true;
        q.meter_step_db = 0.1;
        bench_run(&q, moves, &t, &fine, &dice, 20, &end);
        assert_false(end.repeated);
        assert_true(end.readings < 20);
        stopped += end.last.reason == MOVE_AS_NEAR || end.last.reason == MOVE_RUNS_OUT;
        assert_true(!end.settled || end.last.chance_right >= 0.5);
    }
    assert_true(stopped > 10);
}

/* A `learn` dial: nobody knows what a mark is worth, only that treble falls with more of it. Found out in moves. */
static void dial_of_unknown_worth(void **state)
{
    (void)state;
    struct dice dice = {JUDGE + 60};
    const struct meter fine = {{0.07, 0.12}, 0.1};
    int n = tapes() / 4, settled = 0, right = 0;
    for (int i = 0; i < n; i++) {
        struct deck d;
        deck_init(&d);
        memcpy(d.id, "learns", 7);
        d.bias_dial = bench_dial(-5, 5, 0.25);
        d.bias_dial.scale = SCALE_LEARN;
        d.level_dial = bench_dial(-5, 5, 0.2);
        struct slopes_at at;
        slope_table_ask(NULL, &d, (struct slope_kind){CLASS_TYPE_1, ABSENT, ABSENT, ABSENT}, NULL, &at);
        struct next_move_question q = bench_question(&d.bias_dial, &d.level_dial);
        q.slopes = at.seen;
        q.worth[0] = at.worth[0].db_per_unit;
        q.need_se[0] = 1.0;
        q.meter_step_db = 0.1;
        struct tape t = tape_make(&dice);
        double worth = exp(0.4 * dice_normal(&dice)); /* true dB per dB as converted */
        t.need[0] = dice_normal(&dice) * worth;
        t.need[1] = 0.35 * dice_normal(&dice);
        struct move moves[LIMIT_MOVES];
        struct next_move nm;
        q.moves = moves;
        for (q.move_count = 0;; q.move_count++) {
            next_move(&q, &nm);
            if (nm.settled || q.move_count == 6) {
                break;
            }
            struct move *m = &moves[q.move_count];
            *m = (struct move){nm.set.dial[0], nm.set.dial[1], 0, 0};
            tape_levels(&t, nm.set.db[0] * worth, nm.set.db[1], &m->low_db, &m->high_db);
            meter_read(&fine, &dice, &m->low_db, &m->high_db);
        }
        double low, high;
        tape_levels(&t, nm.set.db[0] * worth, nm.set.db[1], &low, &high);
        settled += nm.settled;
        right += nm.settled && fabs(low) <= 0.5 && fabs(high) <= 1.0;
    }
    assert_true(settled >= 0.95 * n && right >= 0.93 * settled);
}

static struct dial any_dial(struct dice *dice)
{
    const enum dial_scale scales[4] = {SCALE_DB, SCALE_PERCENT, SCALE_RATIO, SCALE_LEARN};
    struct dial d = bench_dial(-10.0 * dice_uniform(dice), 10.0 * dice_uniform(dice) + 0.01, ABSENT);
    d.scale = scales[dice_bits(dice) % 4];
    d.plus = dice_bits(dice) % 2 ? PLUS_MORE : PLUS_LESS;
    d.present = dice_uniform(dice) < 0.85;
    if (d.scale == SCALE_PERCENT) {
        d.low = -100.0, d.high = 150.0;
    } else if (d.scale == SCALE_RATIO) {
        d.low = dice_uniform(dice) < 0.3 ? 0.0 : 0.1, d.high = 10.0, d.zero = 1.0;
    }
    d.step = dice_uniform(dice) < 0.3 ? ABSENT : (d.high - d.low) * pow(10.0, -3.0 * dice_uniform(dice));
    return d;
}

/* Readings and dials without rhyme: every answer is finite, on the dial, and said in words. */
static void nonsense_in_order_out(void **state)
{
    (void)state;
    struct dice dice = {JUDGE + 70};
    for (int i = 0; i < 1500; i++) {
        struct dial bias = any_dial(&dice), level = any_dial(&dice);
        struct next_move_question q = bench_question(&bias, &level);
        struct move moves[LIMIT_MOVES];
        struct next_move nm;
        const double wild[4] = {0.5, 3.0, 20.0, 60.0};
        double size = wild[dice_bits(&dice) % 4];
        q.worth[0] = q.worth[1] = 0.05 + 2.0 * dice_uniform(&dice);
        q.need[0] = size * dice_normal(&dice);
        q.need[1] = size * dice_normal(&dice);
        q.need_se[0] = dice_uniform(&dice) < 0.1 ? 0.0 : 3.0 * dice_uniform(&dice);
        q.slopes.ab_cov = 0.2 * dice_normal(&dice);
        q.treble_db = dice_uniform(&dice) < 0.5 ? ABSENT : 6.0 * (2.0 * dice_uniform(&dice) - 1.0);
        q.meter_step_db = dice_uniform(&dice) < 0.5 ? ABSENT : 3.0 * dice_uniform(&dice);
        q.drop_db = dice_uniform(&dice) < 0.2 ? 4.0 : ABSENT;
        q.ladder = dice_bits(&dice) % 2;
        q.moves = moves;
        q.move_count = (int)(dice_bits(&dice) % 7);
        for (int k = 0; k < q.move_count; k++) {
            const struct dial *d[2] = {&bias, &level};
            double reading[2];
            for (int r = 0; r < 2; r++) {
                reading[r] = d[r]->present ? d[r]->low + (d[r]->high - d[r]->low) * round(4.0 * dice_uniform(&dice)) / 4.0 : ABSENT;
            }
            moves[k] = (struct move){reading[0], reading[1], size * dice_normal(&dice), size * dice_normal(&dice)};
            if (dice_uniform(&dice) < 0.1) {
                moves[k].low_db = moves[k].high_db = ABSENT;
            }
        }
        next_move(&q, &nm);
        assert_true(nm.text[0] && nm.reason < MOVE_REASONS);
        assert_true(nm.chance_right >= 0.0 && nm.chance_right <= 1.0);
        for (int k = -1; k < nm.ladder_count; k++) {
            const struct next_setting *s = k < 0 ? &nm.set : &nm.ladder[k];
            for (int r = 0; r < 2; r++) {
                const struct dial *d = r ? &level : &bias;
                assert_int_equal(d->present, given(s->dial[r]));
                assert_true(!d->present || (s->dial[r] >= d->low - 1e-9 && s->dial[r] <= d->high + 1e-9));
                assert_true(isfinite(s->db[r]));
            }
            assert_true(isfinite(s->low_db) && isfinite(s->high_db) && s->chance >= 0.0 && s->chance <= 1.0);
        }
    }
}

static void codes_are_distinct(void **state)
{
    (void)state;
    for (int i = 0; i < MOVE_REASONS; i++) {
        assert_true(next_move_reason_code((enum next_move_reason)i)[0]);
        for (int k = 0; k < i; k++) {
            assert_string_not_equal(next_move_reason_code((enum next_move_reason)i), next_move_reason_code((enum next_move_reason)k));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fine_meter),
        cmocka_unit_test(one_glance_at_an_ordinary_meter),
        cmocka_unit_test(segments_of_one_db),
        cmocka_unit_test(wanted_lift_and_coarse_dial),
        cmocka_unit_test(start_is_the_suggestion_on_the_dial),
        cmocka_unit_test(bright_means_more_bias_and_dull_less),
        cmocka_unit_test(either_sense_of_turning),
        cmocka_unit_test(within_tolerance_it_sits),
        cmocka_unit_test(noise_reduction_is_stricter),
        cmocka_unit_test(meter_step_counts),
        cmocka_unit_test(below_the_peak_comes_up),
        cmocka_unit_test(far_too_little_bias_is_survived),
        cmocka_unit_test(surprise_stops_before_it_is_followed),
        cmocka_unit_test(what_was_foretold_is_no_surprise),
        cmocka_unit_test(unlike_its_label_is_said_at_the_first_reading),
        cmocka_unit_test(readings_that_wander),
        cmocka_unit_test(dial_runs_out),
        cmocka_unit_test(no_level_dial),
        cmocka_unit_test(no_bias_dial),
        cmocka_unit_test(no_dial_at_all),
        cmocka_unit_test(never_the_same_setting_twice),
        cmocka_unit_test(dial_of_unknown_worth),
        cmocka_unit_test(nonsense_in_order_out),
        cmocka_unit_test(codes_are_distinct),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
