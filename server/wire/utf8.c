/* SPDX-License-Identifier: GPL-3.0-or-later
 * The table of well-formed sequences of RFC 3629, section 4. */
#include "utf8.h"

#include <stdint.h>

size_t utf8_step(const char *text, size_t n)
{
    const uint8_t *p = (const uint8_t *)text;
    if (n == 0)
        return 0;
    if (p[0] < 0x80)
        return 1;
    size_t length = p[0] >= 0xF0 ? 4 : p[0] >= 0xE0 ? 3 : 2;
    if (p[0] < 0xC2 || p[0] > 0xF4 || length > n)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((p[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (p[0] == 0xE0 && p[1] < 0xA0) || (p[0] == 0xF0 && p[1] < 0x90);
    bool surrogate = p[0] == 0xED && p[1] > 0x9F;
    bool past_end = p[0] == 0xF4 && p[1] > 0x8F;
    return overlong || surrogate || past_end ? 0 : length;
}

bool utf8_valid(const char *p, size_t n)
{
    while (n) {
        size_t step = utf8_step(p, n);
        if (!step)
            return false;
        p += step;
        n -= step;
    }
    return true;
}
