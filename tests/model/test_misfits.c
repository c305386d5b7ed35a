/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A tape's only result that all others contradict is doubted, although its own tape could follow it; one that is merely unusual is believed.
 */
#include "../../server/model/club.h"

#include "../../server/ground/memory.h"
#include "dense.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#define DECKS  5
#define LABELS 21

static struct deck deck[DECKS];
static struct stock label[LABELS];

static void put(struct model *m, int d, int s, double bias, int seq)
{
    struct calibration c;
    struct stamp stamp = {.seq = seq, .revision = 1};
    calibration_init(&c);
    c.id.bytes[0] = (uint8_t)seq;
    c.id.bytes[1] = (uint8_t)(seq >> 8);
    snprintf(c.deck, sizeof c.deck, "%s", deck[d].id);
    snprintf(c.stock, sizeof c.stock, "%s", label[s].id);
    c.made_at_us = 1760000000000000LL + seq * 3600000000LL;
    c.recordings = 0;
    c.bias = bias;
    c.level = 0;
    c.low_db = c.high_db = 0;
    assert_true(model_put_calibration(m, &c, &stamp));
    model_reached(m, seq);
}

/* Labels that want half a dB, more or less; the last has one result only, at `lone` dB. What is suggested for it then. */
static double suggested(double lone)
{
    struct lot lot = {.state = 5};
    struct fault f = {0};
    struct model *m = model_new();
    int seq = 0;
    assert_non_null(m);
    for (int d = 0; d < DECKS; d++) {
        deck_init(&deck[d]);
        snprintf(deck[d].id, sizeof deck[d].id, "deck-%d", d);
        deck[d].medium = MEDIUM_CASSETTE;
        deck[d].meter_step_db = 0.1;
        deck[d].bias_dial = deck[d].level_dial =
            (struct dial){.present = true, .low = -12, .high = 12, .step = 0.1, .scale = SCALE_DB, .db_per_unit = 1};
        assert_true(model_put_deck(m, &deck[d]));
    }
    for (int s = 0; s < LABELS; s++) {
        stock_init(&label[s]);
        snprintf(label[s].id, sizeof label[s].id, "label-%d", s);
        label[s].tape_class = CLASS_TYPE_1;
        assert_true(model_put_stock(m, &label[s]));
    }
    for (int s = 0; s < LABELS - 1; s++) {
        double need = 0.5 + 0.5 * lot_normal(&lot);
        for (int d = 0; d < DECKS; d++)
            put(m, d, s, need + 0.15 * lot_normal(&lot), ++seq);
    }
    put(m, 2, LABELS - 1, lone, ++seq);
    assert_true(model_refit(m, &f));
    struct model_view *v = model_publish(m, &f);
    assert_non_null(v);
    struct model_question q = {.deck = &deck[2],
                               .stock = &label[LABELS - 1],
                               .recordings = 0,
                               .position_s = ABSENT,
                               .part = ABSENT,
                               .low_hz = ABSENT,
                               .high_hz = ABSENT,
                               .at_us = 1770000000000000LL};
    struct model_answer a;
    model_ask(v, &q, &a);
    model_view_free(v);
    model_free(m);
    return a.mean[BIAS];
}

static void test_a_lone_result(void **state)
{
    (void)state;
    double usual = suggested(0.5), unusual = suggested(1.4), tenfold = suggested(5), sign = suggested(-5);
    print_message("lone results at 0.5, 1.4, 5, -5 dB: suggested %.2f, %.2f, %.2f, %.2f\n", usual, unusual, tenfold, sign);
    assert_true(usual > 0.3 && usual < 0.7);
    assert_true(unusual > usual + 0.5);                               /* followed */
    assert_true(fabs(sign - usual) < 1 && fabs(tenfold - usual) < 1); /* as wide as they are, such rows still draw a little */
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_a_lone_result)};
    return cmocka_run_group_tests_name("misfits", tests, NULL, NULL);
}
