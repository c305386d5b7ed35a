/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is refused of decks and stocks: one table row a rule, with the field and code expected. Everything that is merely unusual passes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/check.h"

#include <stdio.h>
#include <string.h>

static struct dial learn_dial(double low, double high)
{
    struct deck d;
    deck_init(&d);
    d.bias_dial.present = true;
    d.bias_dial.scale = SCALE_LEARN;
    d.bias_dial.low = low;
    d.bias_dial.high = high;
    return d.bias_dial;
}

static void good_deck(struct deck *d)
{
    deck_init(d);
    strcpy(d->id, "shed-2");
    strcpy(d->name, "The deck in the shed");
    d->medium = MEDIUM_CASSETTE;
    d->bias_dial = learn_dial(-5, 5);
    d->level_dial = learn_dial(0, 10);
}

static void good_stock(struct stock *s)
{
    stock_init(s);
    strcpy(s->id, "blue-90");
    strcpy(s->name, "Blue 90");
    s->tape_class = CLASS_TYPE_2;
}

#define RULE(label, field, code, ...)                                                                                                      \
    static void label(struct deck *d)                                                                                                      \
    {                                                                                                                                      \
        __VA_ARGS__;                                                                                                                       \
    }
#define DECK_RULES(X)                                                                                                                      \
    X(id_wrong, "id", "not-a-slug", strcpy(d->id, "Shed 2"))                                                                               \
    X(name_blank, "name", "required", strcpy(d->name, "  "))                                                                               \
    X(no_medium, "medium", "required", d->medium = MEDIUM_NONE)                                                                            \
    X(four_heads, "heads", "out-of-range", d->heads = 4)                                                                                   \
    X(no_tracks, "tracks", "out-of-range", d->tracks = 0)                                                                                  \
    X(no_low, "bias_dial.low", "required", d->bias_dial.low = ABSENT)                                                                      \
    X(no_high, "level_dial.high", "required", d->level_dial.high = ABSENT)                                                                 \
    X(no_scale, "bias_dial.scale", "required", d->bias_dial.scale = SCALE_NONE)                                                            \
    X(turned_round, "bias_dial.high", "not-rising", d->bias_dial.high = -6)                                                                \
    X(no_step, "bias_dial.step", "out-of-range", d->bias_dial.step = 0)                                                                    \
    X(step_too_large, "bias_dial.step", "out-of-range", d->bias_dial.step = 11)                                                            \
    X(worth_of_learn, "bias_dial.db_per_unit", "not-for-scale", d->bias_dial.db_per_unit = 1)                                              \
    X(negative_worth, "bias_dial.db_per_unit", "out-of-range", d->bias_dial.scale = SCALE_DB; d->bias_dial.db_per_unit = -1)               \
    X(points_missing, "bias_dial.points", "required", d->bias_dial.scale = SCALE_POINTS)                                                   \
    X(points_stray, "bias_dial.points", "not-for-scale", d->bias_dial.point_count = 1)                                                     \
    X(points_fall_back, "bias_dial.points", "not-rising", d->bias_dial.scale = SCALE_POINTS; d->bias_dial.point_count = 3;                 \
      d->bias_dial.points[1][0] = 1; d->bias_dial.points[1][1] = 2; d->bias_dial.points[2][0] = 2; d->bias_dial.points[2][1] = 1)          \
    X(points_same_reading, "bias_dial.points", "not-rising", d->bias_dial.scale = SCALE_POINTS; d->bias_dial.point_count = 2;              \
      d->bias_dial.points[1][1] = 2)                                                                                                       \
    X(points_contradict, "bias_dial.points", "points-against-plus", d->bias_dial.scale = SCALE_POINTS; d->bias_dial.point_count = 2;       \
      d->bias_dial.points[1][0] = 1; d->bias_dial.points[1][1] = -2)                                                                       \
    X(percent_below_nothing, "bias_dial.low", "outside-scale", d->bias_dial.scale = SCALE_PERCENT; d->bias_dial.low = -100)                \
    X(ratio_of_nothing, "bias_dial.low", "outside-scale", d->bias_dial.scale = SCALE_RATIO; d->bias_dial.low = 0)                          \
    X(ratio_without_zero, "bias_dial.zero", "required", d->bias_dial.scale = SCALE_RATIO; d->bias_dial.low = 2; d->bias_dial.high = 8;     \
      d->bias_dial.zero = ABSENT)                                                                                                          \
    X(ratio_zero, "bias_dial.zero", "outside-scale", d->bias_dial.scale = SCALE_RATIO; d->bias_dial.low = 0.5; d->bias_dial.zero = 0)      \
    X(step_below_all, "bias_dial.step", "out-of-range", d->bias_dial.step = 5e-324)                                                        \
    X(dial_of_no_width, "bias_dial.high", "out-of-range", d->bias_dial.high = nextafter(-5, 0))                                            \
    X(zero_far_away, "bias_dial.high", "outside-scale", d->bias_dial.zero = -148)                                                          \
    X(worth_beyond_all, "bias_dial.high", "outside-scale", d->bias_dial.scale = SCALE_DB; d->bias_dial.db_per_unit = 60;                   \
      d->bias_dial.low = -2)                                                                                                               \
    X(ratio_zero_tiny, "bias_dial.high", "outside-scale", d->bias_dial.scale = SCALE_RATIO; d->bias_dial.low = 1e-5;                       \
      d->bias_dial.high = 2; d->bias_dial.zero = 1e-6)                                                                                     \
    X(percent_to_the_brink, "bias_dial.low", "outside-scale", d->bias_dial.scale = SCALE_PERCENT; d->bias_dial.low = -99.99999999)         \
    X(points_steep, "bias_dial.points", "not-rising", d->bias_dial.scale = SCALE_POINTS; d->bias_dial.point_count = 2;                     \
      d->bias_dial.points[0][0] = 0; d->bias_dial.points[1][0] = 5e-324; d->bias_dial.points[1][1] = 60)                                   \
    X(setup_nameless, "setups[0].id", "required", d->setup_count = 1; d->setups[0].speed_mm_s = ABSENT)                                    \
    X(setup_twice, "setups[1].id", "twice", d->setup_count = 2; strcpy(d->setups[0].id, "fast"); strcpy(d->setups[1].id, "fast");          \
      d->setups[0].speed_mm_s = d->setups[1].speed_mm_s = 95.25)                                                                           \
    X(setup_still, "setups[0].speed_mm_s", "out-of-range", d->setup_count = 1; strcpy(d->setups[0].id, "fast"))                            \
    X(counter_turns, "counter.turns_per_count", "required", d->counter.kind = COUNTER_TURNS)                                               \
    X(counter_empty, "counter.points", "required", d->counter.kind = COUNTER_POINTS)                                                       \
    X(counter_falls, "counter.points[0]", "not-rising", d->counter.kind = COUNTER_POINTS; d->counter.point_count = 1;                      \
      d->counter.points[0] = ((struct counter_point){45, 500, 1000, 400, 2000}))                                                           \
    X(counter_gap, "counter.points[0].c2", "required", d->counter.kind = COUNTER_POINTS; d->counter.point_count = 1;                       \
      d->counter.points[0] = ((struct counter_point){45, 500, 1000, ABSENT, 2000}))                                                        \
    X(tones_crossed, "high_hz", "not-rising", d->high_hz = 300)                                                                            \
    X(low_tone_high, "low_hz", "not-rising", d->low_hz = 12000)                                                                            \
    X(tone_ultrasonic, "high_hz", "out-of-range", d->high_hz = 96000)                                                                      \
    X(tone_hot, "tone_db", "out-of-range", d->tone_db = 21)                                                                                \
    X(no_flux, "reference_nwb_m", "out-of-range", d->reference_nwb_m = 0)                                                                  \
    X(meter_stepless, "meter_step_db", "out-of-range", d->meter_step_db = 0)                                                               \
    X(warm_up_backwards, "warm_up_minutes", "out-of-range", d->warm_up_minutes = -1)
DECK_RULES(RULE)

#define ROW(label, field, code, ...) {#label, label, field, code},
static const struct {
    const char *name;
    void (*spoil)(struct deck *d);
    const char *field, *code;
} deck_rules[] = {DECK_RULES(ROW)};

static void decks_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof deck_rules / sizeof *deck_rules; i++) {
        struct deck d;
        struct fault f = {0};
        good_deck(&d);
        assert_true(check_deck(&d, &f));
        deck_rules[i].spoil(&d);
        if (check_deck(&d, &f) || f.count != 1 || f.kind != FAULT_UNACCEPTABLE || strcmp(f.items[0].field, deck_rules[i].field) ||
            strcmp(f.items[0].code, deck_rules[i].code))
            fail_msg("%s: %d items, %s %s", deck_rules[i].name, f.count, f.items[0].field, f.items[0].code);
        assert_true(strlen(f.items[0].detail) > 10);
        assert_false(check_deck(&d, NULL)); /* nobody asks why */
    }
}

static void all_faults_at_once(void **state)
{
    (void)state;
    struct deck d;
    struct fault f = {0};
    good_deck(&d);
    d.name[0] = '\0';
    d.heads = 7;
    d.bias_dial.scale = SCALE_NONE;
    assert_false(check_deck(&d, &f));
    assert_int_equal(f.count, 3);
}

static void unusual_decks_pass(void **state)
{
    (void)state;
    struct deck d;
    struct fault f = {0};
    good_deck(&d);
    memset(&d.bias_dial, 0, sizeof d.bias_dial); /* no dials at all */
    memset(&d.level_dial, 0, sizeof d.level_dial);
    assert_true(check_deck(&d, &f));
    good_deck(&d);
    d.bias_dial.scale = SCALE_DB; /* marked in dB */
    assert_true(check_deck(&d, &f));
    d.bias_dial.scale = SCALE_POINTS;
    d.bias_dial.plus = PLUS_LESS;
    d.bias_dial.point_count = 2;
    d.bias_dial.points[1][0] = 1;
    d.bias_dial.points[1][1] = -2; /* measured, falling */
    assert_true(check_deck(&d, &f));
    d.bias_dial.points[1][1] = 2; /* as the knob counts */
    assert_true(check_deck(&d, &f));
}

static void setups(void **state)
{
    (void)state;
    struct deck d;
    struct setup s;
    good_deck(&d);
    assert_true(deck_setup(&d, "", &s));
    assert_string_equal(s.id, "main");
    assert_true(s.speed_mm_s == 47.625);
    assert_true(deck_setup(&d, "main", &s) && deck_setup(&d, NULL, &s));
    assert_false(deck_setup(&d, "fast", &s));
    d.medium = MEDIUM_REEL;
    d.setup_count = 1;
    strcpy(d.setups[0].id, "slow");
    d.setups[0].speed_mm_s = 95.25;
    d.setups[0].direction = DIRECTION_REVERSE;
    assert_true(deck_setup(&d, "slow", &s));
    assert_true(s.speed_mm_s == 95.25 && s.direction == DIRECTION_REVERSE);
    assert_true(deck_setup(&d, "", &s)); /* a deck has at least main */
    assert_true(s.speed_mm_s == 190.5);
    assert_true(deck_low_hz(&d) == 315 && deck_high_hz(&d) == 10000 && deck_tone_db(&d) == -20);
    d.high_hz = 12500;
    assert_true(deck_high_hz(&d) == 12500);
}

#define STOCK_RULE(label, field, code, ...)                                                                                                \
    static void label(struct stock *s)                                                                                                     \
    {                                                                                                                                      \
        __VA_ARGS__;                                                                                                                       \
    }
#define STOCK_RULES(X)                                                                                                                     \
    X(s_id, "id", "not-a-slug", s->id[0] = '\0')                                                                                           \
    X(s_name, "name", "required", s->name[0] = '\0')                                                                                       \
    X(s_class, "class", "required", s->tape_class = CLASS_NONE)                                                                            \
    X(s_medium, "medium", "media-differ", s->medium = MEDIUM_REEL)                                                                         \
    X(s_alias, "aliases[1]", "required", s->alias_count = 2; strcpy(s->aliases[0], "Blue"))                                                \
    X(s_from, "made_from", "not-a-year", strcpy(s->made_from, "the eighties"))                                                             \
    X(s_to, "made_to", "not-a-year", strcpy(s->made_to, "1987-13"))                                                                        \
    X(s_backwards, "made_to", "not-rising", strcpy(s->made_from, "1987-05"); strcpy(s->made_to, "1986"))                                   \
    X(s_side, "side_minutes", "out-of-range", s->side_minutes = 0)                                                                         \
    X(s_length, "length_m", "out-of-range", s->length_m = 128600)                                                                          \
    X(s_thick, "thickness_um", "out-of-range", s->thickness_um = 1150)                                                                     \
    X(s_hub, "hub_mm", "out-of-range", s->hub_mm = -22)                                                                                    \
    X(s_sheet, "sheet_bias_db", "out-of-range", s->sheet_bias_db = 150)                                                                    \
    X(s_sheet_level, "sheet_level_db", "out-of-range", s->sheet_level_db = -61)
STOCK_RULES(STOCK_RULE)
static const struct {
    const char *name;
    void (*spoil)(struct stock *s);
    const char *field, *code;
} stock_rules[] = {STOCK_RULES(ROW)};

static void stocks_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof stock_rules / sizeof *stock_rules; i++) {
        struct stock s;
        struct fault f = {0};
        good_stock(&s);
        assert_true(check_stock(&s, &f));
        stock_rules[i].spoil(&s);
        if (check_stock(&s, &f) || f.count != 1 || strcmp(f.items[0].field, stock_rules[i].field) ||
            strcmp(f.items[0].code, stock_rules[i].code))
            fail_msg("%s: %d items, %s %s", stock_rules[i].name, f.count, f.items[0].field, f.items[0].code);
    }
    struct stock s;
    good_stock(&s);
    assert_int_equal(stock_medium(&s), MEDIUM_CASSETTE);
    s.tape_class = CLASS_REEL_STANDARD;
    assert_int_equal(stock_medium(&s), MEDIUM_REEL);
    strcpy(s.made_from, "1987-05"), strcpy(s.made_to, "1987");
    assert_true(check_stock(&s, NULL));
}

static void notes_are_counted_in_characters(void **state)
{
    (void)state;
    static char notes[2 * (LIMIT_NOTES + 1) + 1];
    struct stock s;
    good_stock(&s);
    s.notes = notes;
    for (int i = 0; i < LIMIT_NOTES; i++)
        memcpy(notes + 2 * i, "\xC3\xA9", 2);
    assert_true(check_stock(&s, NULL));
    memcpy(notes + 2 * LIMIT_NOTES, "\xC3\xA9", 2);
    struct fault f = {0};
    assert_false(check_stock(&s, &f));
    assert_string_equal(f.items[0].code, "too-long");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(decks_refused), cmocka_unit_test(all_faults_at_once), cmocka_unit_test(unusual_decks_pass),
        cmocka_unit_test(setups),        cmocka_unit_test(stocks_refused),     cmocka_unit_test(notes_are_counted_in_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
