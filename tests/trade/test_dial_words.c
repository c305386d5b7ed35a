/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Settings in words: never a bare sign, both senses, every kind of unit. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/dial.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sample {
    const char *unit;
    enum dial_scale scale;
    double low, high, zero, step;
    enum dial_plus plus;
    double reading;
    bool is_bias;
    const char *words;
};

static struct dial dial_of(const struct sample *s)
{
    struct deck d;
    deck_init(&d);
    struct dial dial = d.bias_dial;
    dial.present = true;
    snprintf(dial.unit, sizeof dial.unit, "%s", s->unit);
    dial.scale = s->scale, dial.low = s->low, dial.high = s->high, dial.zero = s->zero, dial.step = s->step, dial.plus = s->plus;
    return dial;
}

#define M PLUS_MORE
#define L PLUS_LESS
static const struct sample samples[] = {
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 1.5, true, "clockwise 1.5 marks from centre: more bias, duller"},
    {"", SCALE_LEARN, -5, 5, 0, 0.5, M, 1, true, "clockwise 1 mark from centre: more bias, duller"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, -2, true, "anticlockwise 2 marks from centre: less bias, brighter"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, L, 2, true, "clockwise 2 marks from centre: less bias, brighter"},
    {"marks", SCALE_LEARN, -5, 5, 0, 0.5, L, -0.5, true, "anticlockwise 0.5 marks from centre: more bias, duller"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 0, true, "at the centre: the preset bias"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 1.5, false, "clockwise 1.5 marks from centre: more record gain, louder"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, L, 1.5, false, "clockwise 1.5 marks from centre: less record gain, quieter"},
    {"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 0, false, "at the centre: the preset record level"},
    {"mark", SCALE_LEARN, 0, 10, 5, 0.5, M, 7, true, "clockwise 2 marks from centre: more bias, duller"},
    {"mark", SCALE_LEARN, 0, 10, 0, 0.5, M, 7, true, "clockwise 7 marks from 0: more bias, duller"},
    {"mark", SCALE_LEARN, 0, 10, 0, 0.5, M, 0, true, "at 0: the preset bias"},
    {"step", SCALE_LEARN, -8, 8, 0, 1, M, 3, true, "up 3 steps from centre: more bias, duller"},
    {"step", SCALE_LEARN, -8, 8, 0, 1, M, -1, false, "down 1 step from centre: less record gain, quieter"},
    {"notch", SCALE_LEARN, -8, 8, 0, 1, M, 2, true, "up 2 notches from centre: more bias, duller"},
    {"dB", SCALE_DB, -3, 3, 0, 0.25, M, 0.75, true, "up 0.75 dB from centre: more bias, duller"},
    {"%", SCALE_PERCENT, 80, 120, 100, 1, M, 108, true, "at 108 %: more bias, duller"},
    {"percent", SCALE_PERCENT, 80, 120, 100, 1, M, 108, true, "at 108 percent: more bias, duller"},
    {"", SCALE_PERCENT, 80, 120, 100, 1, M, 92, false, "at 92 %: less record gain, quieter"},
    {"%", SCALE_PERCENT, 80, 120, 100, 1, M, 100, true, "at 100 %: the preset bias"},
    {"", SCALE_RATIO, 0.8, 1.2, 1, 0.01, M, 1.08, true, "at 1.08: more bias, duller"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, M, 13.5, true, "at half past one: more bias, duller"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, M, 10, true, "at ten o'clock: less bias, brighter"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, L, 10.75, true, "at a quarter to eleven: more bias, duller"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, M, 12.25, false, "at a quarter past twelve: more record gain, louder"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, M, 12, true, "at twelve o'clock: the preset bias"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 1.0 / 6, M, 15 + 1.0 / 6, true, "at 10 minutes past three: more bias, duller"},
    {"o'clock", SCALE_LEARN, 7, 17, 12, 1.0 / 60, M, 12 - 1.0 / 60, true, "at 1 minute to twelve: less bias, brighter"},
};

static void in_words(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof samples / sizeof *samples; i++) {
        struct dial d = dial_of(&samples[i]);
        struct buffer b;
        buffer_init(&b, 1000);
        dial_words(&b, &d, samples[i].reading, samples[i].is_bias);
        assert_string_equal(b.data, samples[i].words);
        buffer_clear(&b);
        dial_place_words(&b, &d, samples[i].reading); /* the same without what it does */
        assert_int_equal(b.length, strcspn(samples[i].words, ":"));
        assert_memory_equal(b.data, samples[i].words, b.length);
        buffer_free(&b);
    }
}

static const struct {
    struct sample dial; /* its reading is where the move starts */
    double to;
    const char *words;
} moves[] = {
    {{"mark", SCALE_LEARN, -5, 5, 0, 0.5, L, 1, true, ""}, 2, "clockwise 1 mark: less bias, brighter"},
    {{"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 1, true, ""}, -0.5, "anticlockwise 1.5 marks: less bias, brighter"},
    {{"mark", SCALE_LEARN, -5, 5, 0, 0.5, M, 1, true, ""}, 1, "leave it"},
    {{"step", SCALE_LEARN, -5, 5, 0, 1, M, 1, false, ""}, 4, "up 3 steps: more record gain, louder"},
    {{"%", SCALE_PERCENT, 80, 120, 100, 1, M, 104, true, ""}, 108, "up from 104 % to 108 %: more bias, duller"},
    {{"o'clock", SCALE_LEARN, 7, 17, 12, 0.25, M, 14, true, ""}, 13, "anticlockwise to one o'clock: less bias, brighter"},
};

static void moves_in_words(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof moves / sizeof *moves; i++) {
        struct dial d = dial_of(&moves[i].dial);
        struct buffer b;
        buffer_init(&b, 1000);
        dial_move_words(&b, &d, moves[i].dial.reading, moves[i].to, moves[i].dial.is_bias);
        assert_string_equal(b.data, moves[i].words);
        buffer_free(&b);
    }
}

static void reading_is(double low, double high, double step, double reading, const char *text)
{
    struct sample s = {"mark", SCALE_LEARN, low, high, 0, step, M, 0, true, ""};
    struct dial d = dial_of(&s);
    struct buffer b;
    buffer_init(&b, 100);
    dial_reading_text(&b, &d, reading);
    assert_string_equal(b.data, text);
    buffer_free(&b);
}

static void readings(void **state)
{
    (void)state;
    reading_is(-5, 5, 0.5, 1.5, "1.5");
    reading_is(-5, 5, 0.5, 2, "2");
    reading_is(-5, 5, 0.5, 1.37, "1.37"); /* off the step */
    reading_is(-5, 5, 1, 4.0 / 3, "1.3");
    reading_is(-5, 5, 0.25, -0.75, "-0.75");
    reading_is(-5, 5, 0.1, 0.30000000000000004, "0.3");
}

/* Whatever the dial, the words never begin with a sign and always tell the effect or that nothing is to be done; the effect follows the dB. */
static void words_tell_the_truth(void **state)
{
    (void)state;
    static const char *const units[] = {"mark", "step", "%", "o'clock", "dB", "click", "V"};
    srandom(5);
    for (int i = 0; i < 5000; i++) {
        struct sample s = {units[random() % 7], SCALE_LEARN, -5, 5, 0, 0.5, random() % 2 ? M : L, 0, random() % 2, ""};
        struct dial d = dial_of(&s);
        double reading = (double)(random() % 21 - 10) / 2, db = dial_to_db(&d, 1, reading);
        struct buffer b;
        buffer_init(&b, 1000);
        dial_words(&b, &d, reading, s.is_bias);
        assert_null(strchr("+-0123456789", b.data[0]));
        assert_true((db > 0) == (strstr(b.data, ": more ") != NULL));
        assert_true((db < 0) == (strstr(b.data, ": less ") != NULL));
        buffer_free(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(in_words),
        cmocka_unit_test(moves_in_words),
        cmocka_unit_test(readings),
        cmocka_unit_test(words_tell_the_truth),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
