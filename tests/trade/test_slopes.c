/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Slopes: the prior, what moves do to it (against dense Gaussian arithmetic), and that the learner forgets exactly. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/memory.h"
#include "random.h"
#include "trade/slope_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static struct slope_kind kind_at(enum tape_class c, double high_hz)
{
    return (struct slope_kind){c, ABSENT, ABSENT, high_hz};
}

static struct deck deck_of(const char *id, enum dial_scale scale, double worth)
{
    struct deck d;
    deck_init(&d);
    snprintf(d.id, sizeof d.id, "%s", id);
    d.medium = MEDIUM_CASSETTE;
    d.meter_step_db = 0.1;
    d.bias_dial = (struct dial){
        .present = true, .low = -10, .high = 10, .step = 0.25, .zero = 0, .plus = PLUS_MORE, .scale = scale, .db_per_unit = worth};
    d.level_dial = (struct dial){
        .present = true, .low = -10, .high = 10, .step = 0.1, .zero = 0, .plus = PLUS_MORE, .scale = SCALE_DB, .db_per_unit = 1.0};
    return d;
}

/* A tape whose tones follow straight lines but for `bend`, tried at three settings. `worth` = true dB per bias mark. */
static struct calibration tape_on(const struct deck *d, int number, double a, double b, double bend, double worth, double noise,
                                  struct dice *dice)
{
    struct calibration c;
    calibration_init(&c);
    c.id.bytes[0] = (uint8_t)number;
    c.id.bytes[1] = (uint8_t)(number >> 8);
    c.id.bytes[6] = 0x40;
    c.id.bytes[8] = 0x80;
    memcpy(c.deck, d->id, sizeof c.deck);
    double need = dice_normal(dice), level = dice_normal(dice) * 0.5;
    const double tries[3] = {1.5, -0.9, 0.0};
    c.move_count = 3;
    for (int i = 0; i < 3; i++) {
        double off = tries[i], lev = i == 2 ? 0.0 : 0.8;
        c.moves[i] = (struct move){(need + off) / worth, level + lev, lev + a * off + noise * dice_normal(dice),
                                   lev - b * off - bend * off * off + noise * dice_normal(dice)};
    }
    c.bias = c.moves[2].bias;
    c.level = c.moves[2].level;
    c.low_db = c.moves[2].low_db;
    c.high_db = c.moves[2].high_db;
    return c;
}

/* Centres and spreads of the contract; their course by tone, speed and class is common practice, no source. */
static void prior_is_the_contracts(void **state)
{
    (void)state;
    struct slopes s = slopes_prior(kind_at(CLASS_TYPE_1, 10000));
    assert_true(fabs(s.a - 0.15) < 1e-12 && fabs(s.a_se - 0.15) < 1e-6);
    assert_true(fabs(s.b - 1.6) < 1e-12 && fabs(s.b_se - 0.5) < 1e-12);
    struct slopes deck = slopes_prior((struct slope_kind){CLASS_TYPE_1, ABSENT, ABSENT, ABSENT});
    assert_true(deck.b == s.b && deck.a == s.a);
    double before = 0.0;
    for (double hz = 5000; hz <= 16000; hz += 500) {
        double b = slopes_prior(kind_at(CLASS_TYPE_2, hz)).b;
        assert_true(b >= before);
        before = b;
    }
    assert_true(slopes_prior(kind_at(CLASS_TYPE_4, 10000)).b < s.b);
    /* twice the speed at twice the tone is the same wavelength */
    struct slopes slow = slopes_prior((struct slope_kind){CLASS_REEL_STANDARD, 95.25, 500, 5000});
    struct slopes fast = slopes_prior((struct slope_kind){CLASS_REEL_STANDARD, 190.5, 1000, 10000});
    assert_true(fabs(slow.b - fast.b) < 1e-12 && fabs(slow.a - fast.a) < 1e-12);
}

static void usual_tones_sit_at_the_centre_of_their_band(void **state)
{
    (void)state;
    struct slope_kind k = kind_at(CLASS_TYPE_1, 10000);
    double mean, sd;
    slope_cell_prior(slope_cell(k, HIGH_TONE), HIGH_TONE, &mean, &sd);
    assert_true(fabs(mean - 1.6) < 1e-12 && fabs(sd - 0.5) < 1e-12);
    assert_int_equal(slope_cell(kind_at(CLASS_TYPE_1, 9500), HIGH_TONE), slope_cell(k, HIGH_TONE));
    assert_int_not_equal(slope_cell(kind_at(CLASS_TYPE_1, 12500), HIGH_TONE), slope_cell(k, HIGH_TONE));
    assert_int_not_equal(slope_cell(kind_at(CLASS_TYPE_2, 10000), HIGH_TONE), slope_cell(k, HIGH_TONE));
    for (double hz = 10; hz <= 40000; hz *= 1.3) {
        int cell = slope_cell((struct slope_kind){CLASS_REEL_STANDARD, 2000, hz, hz}, HIGH_TONE);
        assert_true(cell >= 0 && cell < SLOPE_CELLS);
    }
}

static void without_moves_the_prior_answers(void **state)
{
    (void)state;
    struct deck d = deck_of("one", SCALE_DB, 0.5);
    struct slope_learner *l = slope_learner_new();
    assert_true(slope_learner_put_deck(l, &d));
    struct slope_table *t = slope_learner_solve(l);
    struct slopes_at at, bare;
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &at);
    slope_table_ask(NULL, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &bare);
    assert_true(fabs(at.slopes.b - 1.6) < 1e-12 && fabs(at.slopes.b_se - 0.5) < 1e-9);
    assert_true(fabs(bare.slopes.b - 1.6) < 1e-12 && fabs(bare.slopes.b_se - 0.5) < 1e-12);
    assert_true(fabs(at.worth[0].db_per_unit - 0.5) < 1e-9 && at.worth[0].se == 0.0);
    assert_int_equal(at.calibrations_deck, 0);
    slope_table_drop(t);
    slope_learner_free(l);
}

/* One tape, one deck: the parts of the prior's variance add to one, so with information n (in spreads) and mean z̄ the posterior of z is n·z̄/(n + 1), variance 1/(n + 1). */
static void one_deck_is_the_textbook_formula(void **state)
{
    (void)state;
    struct dice dice = {1};
    struct deck d = deck_of("one", SCALE_DB, 0.5);
    struct slope_learner *l = slope_learner_new();
    assert_true(slope_learner_put_deck(l, &d));
    struct calibration c = tape_on(&d, 1, 0.2, 2.0, 0.0, 0.5, 0.05, &dice);
    assert_true(slope_learner_put(l, &c, CLASS_TYPE_1));
    struct slope_table *t = slope_learner_solve(l);
    struct slopes_at at;
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &at);

    struct move points[LIMIT_MOVES + 1];
    struct slope_moves m = {.kind = {CLASS_TYPE_1, ABSENT, ABSENT, ABSENT}, .points = points};
    m.count = slope_moves_of(&c, points);
    struct slope_evidence ev;
    slope_evidence_of(&m, &d, &ev);
    assert_true(ev.counts);
    double prior_noise[TONES], noise[TONES];
    slope_noise_prior(d.meter_step_db, prior_noise);
    slope_noise_sd(prior_noise, &ev.noise, noise);
    double sxx = (double)ev.sums[HIGH_TONE].s[SXX] * SLOPE_QUANTUM, sxy = (double)ev.sums[HIGH_TONE].s[SXY] * SLOPE_QUANTUM;
    double n = sxx * 0.25 / (noise[HIGH_TONE] * noise[HIGH_TONE]), z = (-sxy / sxx - 1.6) / 0.5;
    assert_true(fabs(at.slopes.b - (1.6 + 0.5 * n * z / (n + 1.0))) < 1e-9);
    assert_true(fabs(at.slopes.b_se - 0.5 * sqrt(1.0 / (n + 1.0))) < 1e-9);
    assert_true(at.slopes.b > 1.6); /* moved towards what was seen */
    assert_int_equal(at.calibrations_deck, 1);
    assert_int_equal(at.calibrations_cell, 1);
    slope_table_drop(t);
    slope_learner_free(l);
}

/* ---- several decks and cells against a dense Gaussian: condition a joint normal on what was seen ---- */

#define SEEN 12

static double shared(int deck_a, int cell_a, int deck_b, int cell_b) /* prior covariance of two z */
{
    return SHARE_CLUB + (cell_a == cell_b ? SHARE_CELL : 0) + (deck_a == deck_b ? SHARE_DECK : 0) +
           (deck_a == deck_b && cell_a == cell_b ? SHARE_BOTH : 0);
}

/* x = A⁻¹·y by elimination with pivots; destroys A. */
static void dense_solve(double a[SEEN][SEEN], double *y, int n)
{
    for (int c = 0; c < n; c++) {
        for (int i = c + 1; i < n; i++) {
            double f = a[i][c] / a[c][c];
            for (int j = c; j < n; j++) {
                a[i][j] -= f * a[c][j];
            }
            y[i] -= f * y[c];
        }
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int j = i + 1; j < n; j++) {
            y[i] -= a[i][j] * y[j];
        }
        y[i] /= a[i][i];
    }
}

static void crossed_effects_agree_with_a_dense_normal(void **state)
{
    (void)state;
    struct dice dice = {7};
    const enum tape_class classes[3] = {CLASS_TYPE_1, CLASS_TYPE_2, CLASS_TYPE_4};
    struct slope_learner *l = slope_learner_new();
    struct deck decks[4];
    double n[SEEN], z[SEEN];
    int of_deck[SEEN], of_cell[SEEN], seen = 0, number = 0;
    for (int i = 0; i < 4; i++) {
        char id[24];
        snprintf(id, sizeof id, "deck-%d", i);
        decks[i] = deck_of(id, SCALE_DB, 0.5);
        decks[i].meter_step_db = 1.0;
        assert_true(slope_learner_put_deck(l, &decks[i]));
        double rss = 0.0, dof = 0.0, sum[3][2] = {{0}};
        for (int c = 0; c < 3; c++) {
            for (int k = 0; k < (i + c) % 3; k++) { /* some cells stay empty */
                struct calibration cal = tape_on(&decks[i], ++number, 0.1, 1.4 + 0.2 * i, 0.05, 0.5, 0.2, &dice);
                assert_true(slope_learner_put(l, &cal, classes[c]));
                struct move points[LIMIT_MOVES + 1];
                struct slope_moves m = {.kind = {classes[c], ABSENT, ABSENT, ABSENT}, .points = points};
                m.count = slope_moves_of(&cal, points);
                struct slope_evidence ev;
                slope_evidence_of(&m, &decks[i], &ev);
                assert_true(ev.counts);
                sum[c][0] += (double)ev.sums[HIGH_TONE].s[SXX] * SLOPE_QUANTUM;
                sum[c][1] += (double)ev.sums[HIGH_TONE].s[SXY] * SLOPE_QUANTUM;
                rss += (double)ev.noise.rss[HIGH_TONE] * SLOPE_QUANTUM;
                dof += (double)ev.noise.dof[HIGH_TONE];
            }
        }
        double prior[TONES];
        slope_noise_prior(1.0, prior);
        double var = (6.0 * prior[HIGH_TONE] * prior[HIGH_TONE] + rss) / (6.0 + dof);
        for (int c = 0; c < 3; c++) {
            if (sum[c][0] > 0.0) {
                double mean, sd;
                slope_cell_prior(slope_cell(kind_at(classes[c], 10000), HIGH_TONE), HIGH_TONE, &mean, &sd);
                n[seen] = sum[c][0] * sd * sd / var;
                z[seen] = (-sum[c][1] / sum[c][0] - mean) / sd;
                of_deck[seen] = i;
                of_cell[seen++] = c;
            }
        }
    }
    assert_true(seen >= 6 && seen <= SEEN);
    struct slope_table *t = slope_learner_solve(l);
    for (int i = 0; i <= 4; i++) {
        struct deck nobody = deck_of("never-seen", SCALE_DB, 0.5);
        for (int c = 0; c < 4; c++) { /* the fourth class nobody has logged */
            double cov[SEEN][SEEN], with[SEEN], weights[SEEN], mean = 0.0, var = 1.0;
            for (int p = 0; p < seen; p++) {
                for (int q = 0; q < seen; q++) {
                    cov[p][q] = shared(of_deck[p], of_cell[p], of_deck[q], of_cell[q]) + (p == q ? 1.0 / n[p] : 0.0);
                }
                weights[p] = with[p] = shared(i, c, of_deck[p], of_cell[p]);
            }
            dense_solve(cov, weights, seen);
            for (int p = 0; p < seen; p++) {
                mean += weights[p] * z[p];
                var -= weights[p] * with[p];
            }
            struct slopes_at at;
            enum tape_class asked = c < 3 ? classes[c] : CLASS_TYPE_3;
            slope_table_ask(t, i < 4 ? &decks[i] : &nobody, kind_at(asked, 10000), NULL, &at);
            struct slopes prior = slopes_prior(kind_at(asked, 10000));
            assert_true(fabs(at.slopes.b - (prior.b + prior.b_se * mean)) < 1e-9);
            assert_true(fabs(at.slopes.b_se - prior.b_se * sqrt(var)) < 1e-9);
        }
    }
    slope_table_drop(t);
    slope_learner_free(l);
}

static void moves_teach_the_deck_and_a_little_the_others(void **state)
{
    (void)state;
    struct dice dice = {3};
    struct deck steep = deck_of("steep", SCALE_DB, 0.5), other = deck_of("other", SCALE_DB, 0.5);
    struct slope_learner *l = slope_learner_new();
    assert_true(slope_learner_put_deck(l, &steep));
    for (int i = 1; i <= 40; i++) {
        struct calibration c = tape_on(&steep, i, 0.05, 2.3, 0.1, 0.5, 0.1, &dice);
        assert_true(slope_learner_put(l, &c, CLASS_TYPE_1));
    }
    struct slope_table *t = slope_learner_solve(l);
    struct slopes_at same, class, deck, none;
    slope_table_ask(t, &steep, kind_at(CLASS_TYPE_1, 10000), NULL, &same);
    slope_table_ask(t, &steep, kind_at(CLASS_TYPE_2, 10000), NULL, &deck);
    slope_table_ask(t, &other, kind_at(CLASS_TYPE_1, 10000), NULL, &class);
    slope_table_ask(t, &other, kind_at(CLASS_TYPE_2, 10000), NULL, &none);
    assert_true(fabs(same.slopes.b - 2.3) < 0.08 && same.slopes.b_se < 0.08);
    assert_true(fabs(same.slopes.a - 0.05) < 0.03);
    assert_true(deck.slopes.b < same.slopes.b && class.slopes.b < deck.slopes.b && none.slopes.b < class.slopes.b && none.slopes.b > 1.6);
    assert_true(same.slopes.b_se < deck.slopes.b_se && deck.slopes.b_se < class.slopes.b_se && class.slopes.b_se < none.slopes.b_se &&
                none.slopes.b_se < 0.5);
    assert_true(fabs(same.reading_sd[HIGH_TONE] - 0.1) < 0.04 && fabs(same.reading_sd[LOW_TONE] - 0.1) < 0.03);
    assert_int_equal(same.calibrations_deck, 40);
    slope_table_drop(t);
    slope_learner_free(l);
}

static bool tables_same(const struct slope_table *a, const struct slope_table *b)
{
    void *x = NULL, *y = NULL;
    size_t n = 0, m = 0;
    assert_true(slope_table_save(a, &x, &n) && slope_table_save(b, &y, &m));
    bool same = n == m && !memcmp(x, y, n);
    mem_free(x);
    mem_free(y);
    return same;
}

/* Order, corrections and voids leave no trace: bit for bit what a fresh learner gets. */
static void what_was_taken_out_is_gone(void **state)
{
    (void)state;
    enum { TAPES = 30 };
    struct dice dice = {11};
    struct deck d[3] = {deck_of("b", SCALE_DB, 0.5), deck_of("a", SCALE_DB, 0.7), deck_of("c", SCALE_LEARN, 0)};
    struct calibration c[TAPES];
    for (int i = 0; i < TAPES; i++) {
        c[i] = tape_on(&d[i % 3], i + 1, 0.1, 1.5, 0.1, 0.5, 0.2, &dice);
    }
    struct slope_learner *fresh = slope_learner_new(), *worn = slope_learner_new();
    for (int i = 0; i < 3; i++) {
        assert_true(slope_learner_put_deck(fresh, &d[i]));
        struct deck wrong = d[2 - i];
        wrong.bias_dial.high = 20;
        assert_true(slope_learner_put_deck(worn, &wrong));
    }
    for (int i = 0; i < TAPES; i++) {
        if (i % 5) {
            assert_true(slope_learner_put(fresh, &c[i], i % 2 ? CLASS_TYPE_1 : CLASS_TYPE_2));
        }
    }
    for (int i = TAPES - 1; i >= 0; i--) {
        struct calibration first = c[i];
        first.moves[0].high_db += 0.7;
        assert_true(slope_learner_put(worn, &first, CLASS_TYPE_4));
        assert_true(slope_learner_put(worn, &c[i], i % 2 ? CLASS_TYPE_1 : CLASS_TYPE_2));
    }
    for (int i = 0; i < 3; i++) {
        assert_true(slope_learner_put_deck(worn, &d[i]));
    }
    for (int i = 0; i < TAPES; i += 5) {
        if (i % 2) {
            slope_learner_remove(worn, &c[i].id);
        } else { /* corrected into one that may not count */
            struct calibration dolby = c[i];
            dolby.noise_reduction = true;
            assert_true(slope_learner_put(worn, &dolby, CLASS_TYPE_1));
        }
        slope_learner_remove(worn, &c[i].id);
    }
    struct slope_table *a = slope_learner_solve(fresh), *b = slope_learner_solve(worn);
    assert_true(tables_same(a, b));
    assert_false(slope_learner_changed(worn));
    slope_learner_remove(worn, &c[1].id);
    assert_true(slope_learner_changed(worn));
    struct slope_table *less = slope_learner_solve(worn);
    assert_false(tables_same(a, less));
    slope_table_drop(less);
    slope_table_drop(a);
    slope_table_drop(b);
    slope_learner_free(fresh);
    slope_learner_free(worn);
}

static void what_may_not_count_does_not(void **state)
{
    (void)state;
    struct dice dice = {5};
    struct deck d = deck_of("one", SCALE_DB, 0.5);
    struct move points[LIMIT_MOVES + 1];
    struct calibration good = tape_on(&d, 1, 0.1, 1.5, 0, 0.5, 0.1, &dice), c;
    assert_int_equal(slope_moves_of(&good, points), 3); /* the setting as left repeats the last move */
    c = good, c.noise_reduction = true;
    assert_int_equal(slope_moves_of(&c, points), 0);
    c = good, c.mpx_filter = true;
    assert_int_equal(slope_moves_of(&c, points), 0);
    c = good, c.settled = false;
    assert_int_equal(slope_moves_of(&c, points), 0);
    c = good, c.bias_method = METHOD_OVERBIAS;
    assert_int_equal(slope_moves_of(&c, points), 0);
    c = good, c.move_count = 0;
    assert_int_equal(slope_moves_of(&c, points), 0);
    c = good, c.move_count = 1;
    assert_int_equal(slope_moves_of(&c, points), 2);
    /* a sign typed wrong gives a slope nobody believes */
    c = good;
    for (int i = 0; i < 3; i++) {
        c.moves[i].high_db = -c.moves[i].high_db;
    }
    struct slope_moves m = {.kind = {CLASS_TYPE_1, ABSENT, ABSENT, ABSENT}, .points = points};
    struct slope_evidence ev;
    m.count = slope_moves_of(&c, points);
    slope_evidence_of(&m, &d, &ev);
    assert_false(ev.counts);
    m.count = slope_moves_of(&good, points);
    slope_evidence_of(&m, &d, &ev);
    assert_true(ev.counts);
    /* far below the final setting the curve is another one */
    for (int i = 0; i < 2; i++) {
        points[i].bias -= 20.0;
    }
    slope_evidence_of(&m, &d, &ev);
    assert_false(ev.counts);
}

/* A percent dial that does the same in dB teaches the same. */
static void dials_of_another_scale_teach_the_same(void **state)
{
    (void)state;
    struct slopes_at at[2];
    for (int k = 0; k < 2; k++) {
        struct dice dice = {21};
        struct deck d = deck_of("one", SCALE_DB, 1.0);
        struct slope_learner *l = slope_learner_new();
        if (k) {
            d.bias_dial =
                (struct dial){.present = true, .low = 20, .high = 400, .step = 1, .zero = 100, .plus = PLUS_MORE, .scale = SCALE_RATIO};
        }
        assert_true(slope_learner_put_deck(l, &d));
        for (int i = 1; i < 6; i++) {
            struct calibration c = tape_on(&d, i, 0.1, 1.3, 0.1, 1.0, 0.1, &dice);
            for (int m = 0; k && m < c.move_count; m++) {
                c.moves[m].bias = dial_from_db(&d.bias_dial, 0, c.moves[m].bias);
            }
            c.bias = c.moves[c.move_count - 1].bias;
            assert_true(slope_learner_put(l, &c, CLASS_TYPE_1));
        }
        struct slope_table *t = slope_learner_solve(l);
        slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &at[k]);
        slope_table_drop(t);
        slope_learner_free(l);
    }
    assert_true(fabs(at[0].slopes.b - at[1].slopes.b) < 1e-5);
    assert_true(fabs(at[0].slopes.a - at[1].slopes.a) < 1e-5);
}

/* A mark worth 0.9 dB where 0.4 was thought: moves give slope × worth well, each of the two alone only as well as the slope is known. */
static void learn_dial_keeps_the_joint_doubt(void **state)
{
    (void)state;
    struct dice dice = {31};
    struct deck d = deck_of("learns", SCALE_LEARN, 0);
    d.level_dial.scale = SCALE_LEARN;
    struct slope_learner *l = slope_learner_new();
    struct slopes_at none, at, told;
    assert_true(slope_learner_put_deck(l, &d));
    slope_table_ask(NULL, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &none);
    assert_true(none.seen.b_se > none.slopes.b_se); /* before any move the worth's doubt is in what is seen */
    for (int i = 1; i <= 40; i++) {
        struct calibration c = tape_on(&d, i, 0.15, 1.6, 0.0, 0.9, 0.08, &dice);
        for (int m = 0; m < 3; m++) {
            c.moves[m].level /= 0.25; /* a mark of record level is worth 0.25 dB */
        }
        c.level = c.moves[2].level;
        assert_true(slope_learner_put(l, &c, CLASS_TYPE_1));
    }
    struct slope_table *t = slope_learner_solve(l);
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &at);
    double product = at.seen.b * at.worth[0].db_per_unit; /* dB of treble per mark */
    assert_true(fabs(product - 1.6 * 0.9) < 0.12);
    assert_true(at.seen.b_se / at.seen.b < 0.06);
    assert_true(at.worth[0].se / at.worth[0].db_per_unit > 0.2); /* as the slope: 0.5/1.6 */
    assert_true(at.slopes.b_se > 0.3 && fabs(at.slopes.ab_cov) <= at.slopes.a_se * at.slopes.b_se);
    assert_true(fabs(at.worth[1].db_per_unit - 0.25) < 0.01 && at.worth[1].se < 0.01); /* level moves both tones alike */
    /* shared tapes settle the worth, and with it the slope */
    struct dial_worth shared_tapes[2] = {{0.9, 0.02}, {0, 0}};
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), shared_tapes, &told);
    assert_true(fabs(told.worth[0].db_per_unit - 0.9) < 0.03 && told.worth[0].se < 0.03);
    assert_true(fabs(told.slopes.b - 1.6) < 0.15 && told.slopes.b_se < 0.15);
    /* and such a deck does not teach others what only its own dial may mean */
    struct deck other = deck_of("other", SCALE_DB, 0.5);
    slope_table_ask(t, &other, kind_at(CLASS_TYPE_1, 10000), NULL, &at);
    assert_true(fabs(at.slopes.b - 1.6) < 1e-9);
    slope_table_drop(t);
    slope_learner_free(l);
}

/* With known dials the search for a worth must give what the closed form gives. */
static void learned_level_leaves_bias_slopes_alone(void **state)
{
    (void)state;
    struct slopes_at at[2];
    for (int k = 0; k < 2; k++) {
        struct dice dice = {17};
        struct deck d = deck_of("one", SCALE_DB, 0.5);
        struct slope_learner *l = slope_learner_new();
        d.level_dial.scale = k ? SCALE_LEARN : SCALE_DB;
        d.level_dial.low = -4, d.level_dial.high = 4; /* prior worth 1 dB, as it is */
        assert_true(slope_learner_put_deck(l, &d));
        for (int i = 1; i <= 30; i++) {
            struct calibration c = tape_on(&d, i, 0.1, 1.9, 0.0, 0.5, 0.05, &dice);
            assert_true(slope_learner_put(l, &c, CLASS_TYPE_1));
        }
        struct slope_table *t = slope_learner_solve(l);
        slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &at[k]);
        slope_table_drop(t);
        slope_learner_free(l);
    }
    assert_true(fabs(at[1].worth[1].db_per_unit - 1.0) < 0.03);
    assert_true(fabs(at[0].slopes.b - at[1].slopes.b) < 0.05);
    assert_true(at[1].worth[0].se == 0.0 && fabs(at[1].worth[0].db_per_unit - 0.5) < 1e-12);
}

static void bytes_come_back_and_damage_is_seen(void **state)
{
    (void)state;
    struct dice dice = {41};
    struct deck d = deck_of("one", SCALE_DB, 0.5);
    struct slope_learner *l = slope_learner_new();
    assert_true(slope_learner_put_deck(l, &d));
    for (int i = 1; i < 10; i++) {
        struct calibration c = tape_on(&d, i, 0.1, 1.9, 0.1, 0.5, 0.1, &dice);
        assert_true(slope_learner_put(l, &c, i % 2 ? CLASS_TYPE_1 : CLASS_TYPE_4));
    }
    struct slope_table *t = slope_learner_solve(l), *back;
    void *bytes;
    size_t n;
    bool damaged;
    assert_true(slope_table_save(t, &bytes, &n));
    back = slope_table_load(bytes, n, &damaged);
    assert_non_null(back);
    struct slopes_at a, b;
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &a);
    slope_table_ask(back, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &b);
    assert_true(a.slopes.b == b.slopes.b && a.slopes.a_se == b.slopes.a_se && a.reading_sd[1] == b.reading_sd[1]);
    slope_table_drop(back);
    for (size_t i = 0; i < n; i += 7) {
        char *copy = mem_alloc(n);
        memcpy(copy, bytes, n);
        copy[i] = (char)(copy[i] ^ 0x10);
        assert_null(slope_table_load(copy, n, &damaged));
        assert_true(damaged);
        mem_free(copy);
    }
    for (size_t cut = 0; cut < n; cut += 13) {
        assert_null(slope_table_load(bytes, cut, &damaged));
        assert_true(damaged);
    }
    mem_free(bytes);
    assert_ptr_equal(slope_table_hold(t), t);
    slope_table_drop(t);
    slope_table_ask(t, &d, kind_at(CLASS_TYPE_1, 10000), NULL, &b); /* still alive: it had two owners */
    assert_true(a.slopes.b == b.slopes.b);
    slope_table_drop(t);
    slope_learner_free(l);
}

/* Each allocation failing in turn: the answer is false or NULL, nothing leaks, and what was learned before is unharmed. */
static void out_of_memory_changes_nothing(void **state)
{
    (void)state;
    enum { TAPES = 70 };
    struct dice dice = {51};
    struct deck d = deck_of("one", SCALE_DB, 0.5);
    static struct calibration c[TAPES];
    for (int i = 0; i < TAPES; i++) {
        c[i] = tape_on(&d, i + 1, 0.1, 1.9, 0.1, 0.5, 0.1, &dice);
        c[i].high_hz = 8000.0 + 400.0 * (i % 12);
    }
    long before = mem_alive();
    struct slope_learner *plain = slope_learner_new(), *poor = slope_learner_new();
    assert_true(slope_learner_put_deck(plain, &d) && slope_learner_put_deck(poor, &d));
    for (int i = 0; i < TAPES; i++) {
        assert_true(slope_learner_put(plain, &c[i], CLASS_TYPE_1));
        for (long nth = 1;; nth++) {
            mem_fail_at(nth, 1);
            bool done = slope_learner_put(poor, &c[i], CLASS_TYPE_1);
            mem_fail_at(0, 0);
            if (done) {
                break;
            }
            assert_true(nth < 10);
        }
        for (long nth = 1; i % 10 == 9; nth++) {
            mem_fail_at(nth, 0);
            bool done = slope_learner_put_deck(poor, &d);
            mem_fail_at(0, 0);
            if (done) {
                break;
            }
        }
    }
    struct slope_table *a = slope_learner_solve(plain), *b = NULL;
    for (long nth = 1; !b; nth++) {
        mem_fail_at(nth, 0);
        b = slope_learner_solve(poor);
        mem_fail_at(0, 0);
        assert_true(nth < 40);
    }
    assert_true(tables_same(a, b));
    slope_table_drop(a);
    slope_table_drop(b);
    slope_learner_free(plain);
    slope_learner_free(poor);
    assert_int_equal(mem_alive(), before);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(prior_is_the_contracts),
        cmocka_unit_test(usual_tones_sit_at_the_centre_of_their_band),
        cmocka_unit_test(without_moves_the_prior_answers),
        cmocka_unit_test(one_deck_is_the_textbook_formula),
        cmocka_unit_test(crossed_effects_agree_with_a_dense_normal),
        cmocka_unit_test(moves_teach_the_deck_and_a_little_the_others),
        cmocka_unit_test(what_was_taken_out_is_gone),
        cmocka_unit_test(what_may_not_count_does_not),
        cmocka_unit_test(dials_of_another_scale_teach_the_same),
        cmocka_unit_test(learn_dial_keeps_the_joint_doubt),
        cmocka_unit_test(learned_level_leaves_bias_slopes_alone),
        cmocka_unit_test(bytes_come_back_and_damage_is_seen),
        cmocka_unit_test(out_of_memory_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
