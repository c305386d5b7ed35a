/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Growing bytes and numbers as text. Hot replies write dozens of numbers each, so the usual ones (few decimals) go through integers;
 * printf is only the way out for the rest.
 */
#include "buffer.h"

#include "limits.h"
#include "memory.h"

#include <locale.h>
#include <math.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define EXACT_INTEGER 9007199254740992.0 /* 2^53: below it every integer is a double */

static const double POWERS[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}; /* all exact */

void buffer_init(struct buffer *b, size_t max)
{
    *b = (struct buffer){.max = max};
}

void buffer_free(struct buffer *b)
{
    mem_free(b->data);
    buffer_init(b, b->max);
}

void buffer_clear(struct buffer *b)
{
    b->length = 0;
    b->failed = b->too_large = false;
    if (b->data)
        b->data[0] = '\0';
}

/* Room for n more bytes and the NUL; false marks the buffer as failed. */
static bool reserve(struct buffer *b, size_t n)
{
    if (b->failed)
        return false;
    if (n > b->max - b->length) {
        b->failed = b->too_large = true;
        return false;
    }
    if (b->length + n < b->capacity)
        return true;
    size_t capacity = b->capacity ? b->capacity : 256;
    while (capacity <= b->length + n)
        capacity *= 2;
    if (capacity > b->max + 1)
        capacity = b->max + 1;
    char *data = mem_grow(b->data, capacity, 1);
    if (!data) {
        b->failed = true;
        return false;
    }
    b->data = data;
    b->capacity = capacity;
    return true;
}

void buffer_add_slowly(struct buffer *b, const void *bytes, size_t n)
{
    if (!reserve(b, n))
        return;
    if (n)
        memcpy(b->data + b->length, bytes, n);
    b->length += n;
    b->data[b->length] = '\0';
}

/* Digits of `value` ending before `end`, at least `least` of them; returns the first. */
static char *digits(char *end, uint64_t value, int least)
{
    while (value || least > 0) {
        *--end = (char)('0' + value % 10);
        value /= 10;
        least--;
    }
    return end;
}

void buffer_int(struct buffer *b, int64_t value)
{
    char text[24], *end = text + sizeof text;
    char *p = digits(end, value < 0 ? 0 - (uint64_t)value : (uint64_t)value, 1);
    if (value < 0)
        *--p = '-';
    buffer_add(b, p, (size_t)(end - p));
}

/* printf's number with the point as separator, whatever the locale says. */
static void printed(struct buffer *b, double value, int precision)
{
    char text[48];
    int n = snprintf(text, sizeof text, "%.*g", precision, value);
    bool separator = false;
    for (int i = 0; i < n; i++) {
        if (strchr("0123456789+-e", text[i])) {
            buffer_char(b, text[i]);
        } else if (!separator) {
            buffer_char(b, '.');
            separator = true;
        }
    }
}

/* "00" to "99": two digits at a step. */
static const char PAIRS[201] =
    "00010203040506070809101112131415161718192021222324252627282930313233343536373839404142434445464748495051525354555657585960616263646566"
    "6768697071727374757677787980818283848586878889909192939495969798"
    "99";

/* The `decimals` (1 to 9) digits of `fraction`, zeros in front kept. */
static void fraction_digits(char *out, uint32_t fraction, int decimals)
{
    int at = decimals;
    for (; at >= 2; at -= 2, fraction /= 100)
        memcpy(out + at - 2, PAIRS + 2 * (fraction % 100), 2);
    if (at)
        *out = (char)('0' + fraction);
}

#define NUMBER_ROOM 40 /* sign, twenty digits, point, nine decimals */

/* `whole` and a fraction of `decimals` (0 to 9) digits, trailing zeros dropped; straight into the buffer. */
static void decimal(struct buffer *b, bool negative, uint64_t whole, uint64_t fraction, int decimals)
{
    char elsewhere[NUMBER_ROOM], *start = elsewhere;
    bool in_place = !b->failed && b->capacity - b->length > NUMBER_ROOM;
    if (in_place)
        start = b->data + b->length;
    char *p = start;
    if (negative)
        *p++ = '-';
    if (whole < 10) {
        *p++ = (char)('0' + whole);
    } else {
        char text[24], *end = text + sizeof text, *first = digits(end, whole, 1);
        memcpy(p, first, (size_t)(end - first));
        p += end - first;
    }
    if (fraction) {
        *p++ = '.';
        fraction_digits(p, (uint32_t)fraction, decimals);
        p += decimals;
        while (p[-1] == '0')
            p--;
    }
    if (in_place) {
        b->length += (size_t)(p - start);
        *p = '\0';
    } else {
        buffer_add(b, start, (size_t)(p - start));
    }
}

void buffer_fixed(struct buffer *b, double value, int decimals)
{
    if (!isfinite(value)) {
        buffer_text(b, "null");
        return;
    }
    double size = fabs(value);
    if (size >= 1e15) {
        printed(b, value, 17);
        return;
    }
    if (decimals < 0)
        decimals = 0;
    if (decimals > 9)
        decimals = 9;
    static const uint32_t units[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
    uint64_t whole = (uint64_t)size, unit = units[decimals];
    double scaled = (size - (double)whole) * POWERS[decimals]; /* the difference is exact */
    uint64_t fraction = (uint64_t)scaled;
    if (scaled - (double)fraction >= 0.5)
        fraction++;
    if (fraction >= unit) {
        fraction -= unit;
        whole++;
    }
    decimal(b, value < 0 && (whole || fraction), whole, fraction, decimals);
}

void buffer_double(struct buffer *b, double value)
{
    if (!isfinite(value)) {
        buffer_text(b, "null");
        return;
    }
    double size = fabs(value);
    /* What people type has few decimals: m / 10^d with both exact is correctly rounded, so equality proves the round trip. */
    for (int d = 0; d <= 9 && size * POWERS[d] < EXACT_INTEGER; d++) {
        double m = nearbyint(size * POWERS[d]);
        if (m / POWERS[d] == size) {
            uint64_t n = (uint64_t)m, unit = (uint64_t)POWERS[d];
            decimal(b, value < 0, n / unit, n % unit, d);
            return;
        }
    }
    for (int precision = 15; precision < 17; precision++) {
        char text[48];
        snprintf(text, sizeof text, "%.*g", precision, value);
        if (strtod(text, NULL) == value) {
            printed(b, value, precision);
            return;
        }
    }
    printed(b, value, 17);
}

void buffer_format(struct buffer *b, const char *format, ...)
{
    va_list ap;
    va_start(ap, format);
    char text[256];
    va_list again;
    va_copy(again, ap);
    int n = vsnprintf(text, sizeof text, format, ap);
    if (n < 0)
        b->failed = true;
    else if ((size_t)n < sizeof text)
        buffer_add(b, text, (size_t)n);
    else if (reserve(b, (size_t)n)) {
        vsnprintf(b->data + b->length, (size_t)n + 1, format, again);
        b->length += (size_t)n;
    }
    va_end(again);
    va_end(ap);
}

char *buffer_steal(struct buffer *b)
{
    char *data = b->data;
    buffer_init(b, b->max);
    return data;
}

/* ---- reading ---- */
static locale_t plain_locale;
static pthread_once_t plain_once = PTHREAD_ONCE_INIT;
static void plain_make(void)
{
    plain_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* The slow way for long or extreme numbers whose grammar was checked already. */
static bool parse_long(const char *text, size_t n, double *out)
{
    char copy[LIMIT_NUMBER_TEXT + 1];
    pthread_once(&plain_once, plain_make);
    if (n > LIMIT_NUMBER_TEXT || !plain_locale)
        return false;
    memcpy(copy, text, n);
    copy[n] = '\0';
    *out = strtod_l(copy, NULL, plain_locale);
    return isfinite(*out);
}

bool number_parse(const char *text, size_t n, double *out)
{
    size_t i = 0, seen = 0;
    uint64_t m = 0;
    int power = 0, exponent = 0;
    bool negative = false, long_one = false;
    if (i < n && (text[i] == '+' || text[i] == '-'))
        negative = text[i++] == '-';
    for (bool point = false; i < n && (is_digit(text[i]) || (text[i] == '.' && !point)); i++) {
        if (text[i] == '.') {
            point = true;
            continue;
        }
        seen++;
        if (m < (uint64_t)1e15) {
            m = m * 10 + (uint64_t)(text[i] - '0');
            power -= point;
        } else {
            long_one = true;
        }
    }
    if (seen == 0)
        return false;
    if (i < n && (text[i] == 'e' || text[i] == 'E')) {
        i++;
        bool down = false;
        if (i < n && (text[i] == '+' || text[i] == '-'))
            down = text[i++] == '-';
        if (i == n || !is_digit(text[i]))
            return false;
        for (; i < n && is_digit(text[i]); i++)
            exponent = exponent < 10000 ? exponent * 10 + (text[i] - '0') : exponent;
        power += down ? -exponent : exponent;
    }
    if (i != n)
        return false;
    if (long_one || m > (uint64_t)EXACT_INTEGER || power > 22 || power < -22)
        return parse_long(text, n, out);
    double size = power < 0 ? (double)m / POWERS[-power] : (double)m * POWERS[power]; /* one rounding: exact operands */
    *out = negative ? -size : size;
    return true;
}
