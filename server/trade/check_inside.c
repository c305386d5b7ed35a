/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See check_inside.h. Numbers in details are written as people write them, without the locale.
 */
#include "check_inside.h"

#include "../ground/buffer.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct field_path check_field_inside(const char *outer, const char *inner)
{
    struct field_path p;
    snprintf(p.text, sizeof p.text, "%s.%s", outer, inner);
    return p;
}

/* Made for every move of every calibration, so without printf. */
struct field_path check_field_at(const char *list, int index, const char *inner)
{
    struct field_path p;
    char number[16], *digit = number + sizeof number;
    *--digit = '\0';
    *--digit = ']';
    for (unsigned n = index > 0 ? (unsigned)index : 0; *digit == ']' || n; n /= 10)
        *--digit = (char)('0' + n % 10);
    *--digit = '[';
    const char *const parts[] = {list, digit, *inner ? "." : "", inner};
    size_t used = 0;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        for (const char *from = parts[i]; *from && used < sizeof p.text - 1; from++)
            p.text[used++] = *from;
    p.text[used] = '\0';
    return p;
}

bool check_refuse(struct fault *f, const char *field, const char *code, const char *format, ...)
{
    char text[sizeof f->items[0].detail];
    va_list ap;
    va_start(ap, format);
    vsnprintf(text, sizeof text, format, ap);
    va_end(ap);
    return fault_add(f, FAULT_UNACCEPTABLE, field, code, "%s", text);
}

bool check_required(struct fault *f, const char *field, const char *what)
{
    return check_refuse(f, field, "required", "%s is needed; add the member '%s'", what, field);
}

/* A number as text in a small ring, so that two can stand in one sentence. */
static const char *plain(double value)
{
    static _Thread_local char ring[4][32];
    static _Thread_local unsigned at;
    char *out = ring[at++ % 4];
    if (fabs(value - nearbyint(value)) < 1e-9 && fabs(value) < 1e15)
        snprintf(out, sizeof ring[0], "%lld", (long long)nearbyint(value));
    else
        snprintf(out, sizeof ring[0], "%.9g", value); /* 6.0000001 is told apart from the end it is beyond */
    return out;
}

bool check_within(struct fault *f, const char *field, double value, double low, double high, const char *unit)
{
    if (!given(value) || (value >= low && value <= high))
        return true;
    return check_refuse(f, field, "out-of-range", "%s is not between %s and %s%s%s; check the figure and its unit", plain(value),
                        plain(low), plain(high), *unit ? " " : "", unit);
}

bool check_above_zero(struct fault *f, const char *field, double value, double high, const char *unit)
{
    if (!given(value) || (value > 0 && value <= high))
        return true;
    return check_refuse(f, field, "out-of-range", "%s is not above 0 and up to %s%s%s; check the figure and its unit", plain(value),
                        plain(high), *unit ? " " : "", unit);
}

bool check_slug(struct fault *f, const char *field, const char *text)
{
    return slug_valid(text) ||
           check_refuse(f, field, "not-a-slug", "an id is 1 to %d of a-z, 0-9 and '-', not beginning with '-', e.g. 'upstairs-deck'",
                        LIMIT_SLUG);
}

bool check_tones(struct fault *f, double low_hz, double high_hz, double tone_db)
{
    bool fine = check_within(f, "low_hz", low_hz, LIMIT_HZ_LOW, LIMIT_HZ_HIGH, "Hz");
    fine = check_within(f, "high_hz", high_hz, LIMIT_HZ_LOW, LIMIT_HZ_HIGH, "Hz") && fine;
    fine = check_within(f, "tone_db", tone_db, -LIMIT_DB, LIMIT_TONE_DB, "dB") && fine;
    return fine;
}

bool check_blank(const char *text)
{
    return text[strspn(text, " \t\r\n")] == '\0';
}

bool check_text_fits(struct fault *f, const char *field, const char *text)
{
    size_t count = 0;
    for (const char *p = text ? text : ""; *p; p++)
        count += ((unsigned char)*p & 0xC0) != 0x80;
    return count <= LIMIT_NOTES ||
           check_refuse(f, field, "too-long", "%zu characters are more than %d; shorten the text", count, LIMIT_NOTES);
}
