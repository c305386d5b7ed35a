/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Times of RFC 3339. */
#include "fuzz.h"

#include "ground/clock.h"

#include <string.h>

void fuzz_date(const uint8_t *bytes, size_t n)
{
    char *exact = malloc(n ? n : 1), text[CLOCK_TEXT];
    int64_t us, again;
    int offset, same;
    PROMISE(exact);
    memcpy(exact, bytes, n);
    if (clock_parse(exact, n, &us, &offset)) {
        clock_format(us, offset, text);
        PROMISE(strlen(text) < sizeof text);
        PROMISE(clock_parse(text, strlen(text), &again, &same) && again == us && same == offset);
        clock_format(us, 0, text);
        PROMISE(clock_parse(text, strlen(text), &again, &same) && again == us && same == 0);
    }
    free(exact);
}
