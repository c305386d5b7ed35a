/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Numbers as text. The C library, in the locale "C" that this program keeps, is the judge. */
#include "fuzz.h"

#include "ground/buffer.h"

#include <math.h>
#include <string.h>

void fuzz_number(const uint8_t *bytes, size_t n)
{
    char *text = malloc(n + 1), *end;
    double x, again;
    PROMISE(text);
    memcpy(text, bytes, n);
    if (number_parse(text, n, &x)) {
        struct buffer b;
        text[n] = '\0';
        PROMISE(isfinite(x));
        PROMISE(strtod(text, &end) == x && *end == '\0');
        buffer_init(&b, 1000);
        buffer_double(&b, x);
        PROMISE(number_parse(b.data, b.length, &again) && again == x);
        buffer_clear(&b);
        buffer_fixed(&b, x, (int)(n % 10));
        PROMISE(number_parse(b.data, b.length, &again));
        PROMISE(fabs(again - x) <= 0.51 * pow(10, -(double)(n % 10)) || fabs(again - x) <= 1e-15 * fabs(x));
        buffer_free(&b);
    }
    free(text);
}
