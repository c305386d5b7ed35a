/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A dial setting as a sentence that cannot be turned the wrong way: which way and how far, then what it does.
 */
#include "dial.h"

#include <string.h>
#include <strings.h>

#define SAME 1e-9

enum manner { MANNER_ROTARY, MANNER_COUNTED, MANNER_VALUE, MANNER_CLOCK };

/* One unit without its plural s. */
static size_t singular_length(const char *unit)
{
    size_t n = strlen(unit);
    return n > 3 && (unit[n - 1] == 's' || unit[n - 1] == 'S') && unit[n - 2] != 's' ? n - 1 : n;
}

static enum manner manner_of(const struct dial *d)
{
    const char *unit = dial_unit(d);
    size_t n = singular_length(unit);
    if (!d->unit[0] && (d->scale == SCALE_PERCENT || d->scale == SCALE_RATIO))
        return MANNER_VALUE;
    if (n == 4 && !strncasecmp(unit, "mark", 4))
        return MANNER_ROTARY;
    if (!strcasecmp(unit, "o'clock"))
        return MANNER_CLOCK;
    if (d->scale == SCALE_PERCENT || d->scale == SCALE_RATIO || !strcmp(unit, "%"))
        return MANNER_VALUE;
    return MANNER_COUNTED;
}

/* Words take an s (marks, steps, notches), symbols (dB, %, mm) and percent do not. */
static void add_unit(struct buffer *b, const struct dial *d, double count)
{
    const char *unit = dial_unit(d);
    size_t n = singular_length(unit);
    buffer_char(b, ' ');
    buffer_add(b, unit, n);
    bool word = n > 2 && strcasecmp(unit, "percent") != 0;
    for (size_t i = 0; i < n; i++)
        word = word && ((unit[i] >= 'a' && unit[i] <= 'z') || (i == 0 && unit[i] >= 'A' && unit[i] <= 'Z'));
    if (!word || fabs(count - 1) < SAME)
        return;
    bool hissing = (n > 1 && unit[n - 1] == 'h' && strchr("cs", unit[n - 2])) || strchr("xsz", unit[n - 1]);
    buffer_text(b, hissing ? "es" : "s");
}

static int decimals_of(double step)
{
    static const double tens[] = {1, 10, 100, 1000, 1e4, 1e5, 1e6};
    int n = 0;
    for (double x = step; n < 6 && fabs(x - nearbyint(x)) > 1e-6; x = step * tens[n])
        n++;
    return n;
}

static void add_number(struct buffer *b, const struct dial *d, double value, double from)
{
    double step = dial_step(d), steps = (value - from) / step;
    int decimals = decimals_of(step);
    int of_zero = decimals_of(fabs(from));
    if (of_zero > decimals)
        decimals = of_zero;
    buffer_fixed(b, value, fabs(steps - nearbyint(steps)) < 1e-6 ? decimals : decimals + 1);
}

void dial_reading_text(struct buffer *b, const struct dial *d, double reading)
{
    add_number(b, d, reading, dial_zero(d));
}

/* "half past one", "a quarter to two", "ten o'clock", "10 minutes past three". Readings count on past twelve: 13 is one o'clock. */
static void add_clock(struct buffer *b, double reading)
{
    static const char *const hours[] = {"twelve", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven"};
    long minutes = lround(reading * 60);
    minutes = (minutes % 720 + 720) % 720;
    const char *hour = hours[minutes / 60], *next = hours[(minutes / 60 + 1) % 12];
    int past = (int)(minutes % 60);
    switch (past) {
    case 0: buffer_format(b, "%s o'clock", hour); return;
    case 15: buffer_format(b, "a quarter past %s", hour); return;
    case 30: buffer_format(b, "half past %s", hour); return;
    case 45: buffer_format(b, "a quarter to %s", next); return;
    }
    int count = past < 30 ? past : 60 - past;
    buffer_format(b, "%d minute%s %s %s", count, count == 1 ? "" : "s", past < 30 ? "past" : "to", past < 30 ? hour : next);
}

/* A whole reading with its unit: "108 %", "half past one", "3". */
static void add_place(struct buffer *b, const struct dial *d, double reading)
{
    if (manner_of(d) == MANNER_CLOCK) {
        add_clock(b, reading);
        return;
    }
    dial_reading_text(b, d, reading);
    if (manner_of(d) == MANNER_VALUE && (d->unit[0] || d->scale == SCALE_PERCENT))
        add_unit(b, d, reading);
}

/* The zero of a dial is called its centre where it is near the middle. */
static bool zero_is_centre(const struct dial *d)
{
    return fabs(dial_zero(d) - (d->low + d->high) / 2) <= 0.1 * (d->high - d->low);
}

static void add_effect(struct buffer *b, const struct dial *d, double rise, bool is_bias)
{
    bool more = (rise > 0) == (d->plus == PLUS_MORE);
    if (is_bias)
        buffer_text(b, more ? ": more bias, duller" : ": less bias, brighter");
    else
        buffer_text(b, more ? ": more record gain, louder" : ": less record gain, quieter");
}

/* "clockwise 1.5 marks", "down 2 steps" */
static void add_turn(struct buffer *b, const struct dial *d, double rise)
{
    bool rotary = manner_of(d) == MANNER_ROTARY || manner_of(d) == MANNER_CLOCK;
    buffer_text(b, rotary ? (rise > 0 ? "clockwise " : "anticlockwise ") : (rise > 0 ? "up " : "down "));
    add_number(b, d, fabs(rise), 0);
    add_unit(b, d, fabs(rise));
}

void dial_place_words(struct buffer *b, const struct dial *d, double reading)
{
    double zero = dial_zero(d), rise = reading - zero;
    enum manner manner = manner_of(d);
    bool at_zero = fabs(rise) < SAME;
    if (manner == MANNER_VALUE || manner == MANNER_CLOCK || (at_zero && !zero_is_centre(d))) {
        buffer_text(b, "at ");
        add_place(b, d, reading);
    } else if (at_zero) {
        buffer_text(b, "at the centre");
    } else {
        add_turn(b, d, rise);
        buffer_text(b, " from ");
        if (zero_is_centre(d))
            buffer_text(b, "centre");
        else
            add_place(b, d, zero);
    }
}

void dial_words(struct buffer *b, const struct dial *d, double reading, bool is_bias)
{
    double rise = reading - dial_zero(d);
    dial_place_words(b, d, reading);
    if (fabs(rise) < SAME)
        buffer_text(b, is_bias ? ": the preset bias" : ": the preset record level");
    else
        add_effect(b, d, rise, is_bias);
}

void dial_move_words(struct buffer *b, const struct dial *d, double from, double to, bool is_bias)
{
    double rise = to - from;
    if (fabs(rise) < SAME) {
        buffer_text(b, "leave it");
        return;
    }
    switch (manner_of(d)) {
    case MANNER_VALUE:
        buffer_text(b, rise > 0 ? "up from " : "down from ");
        add_place(b, d, from);
        buffer_text(b, " to ");
        add_place(b, d, to);
        break;
    case MANNER_CLOCK:
        buffer_text(b, rise > 0 ? "clockwise to " : "anticlockwise to ");
        add_place(b, d, to);
        break;
    case MANNER_ROTARY:
    case MANNER_COUNTED: add_turn(b, d, rise); break;
    }
    add_effect(b, d, rise, is_bias);
}
