/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * RFC 9562 UUIDs, versions 4 and 7, and slugs.
 */
#include "uuid.h"

#include "clock.h"
#include "limits.h"
#include "secrets.h"

#include <stddef.h>
#include <string.h>

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return -1;
}

static bool dash_before(size_t byte)
{
    return byte == 4 || byte == 6 || byte == 8 || byte == 10;
}

bool uuid_parse(const char *text, struct uuid *out)
{
    struct uuid u;
    for (size_t i = 0; i < sizeof u.bytes; i++) {
        if (dash_before(i) && *text++ != '-')
            return false;
        int high = hex(text[0]);
        int low = high < 0 ? -1 : hex(text[1]);
        if (low < 0)
            return false;
        u.bytes[i] = (uint8_t)(high << 4 | low);
        text += 2;
    }
    int version = u.bytes[6] >> 4;
    if (*text || (version != 4 && version != 7) || (u.bytes[8] & 0xC0) != 0x80)
        return false;
    *out = u;
    return true;
}

char *uuid_format(const struct uuid *u, char out[UUID_TEXT])
{
    static const char digit[] = "0123456789abcdef";
    char *p = out;
    for (size_t i = 0; i < sizeof u->bytes; i++) {
        if (dash_before(i))
            *p++ = '-';
        *p++ = digit[u->bytes[i] >> 4];
        *p++ = digit[u->bytes[i] & 15];
    }
    *p = '\0';
    return out;
}

struct uuid uuid_make(void)
{
    struct uuid u;
    secrets_random(u.bytes, sizeof u.bytes);
    uint64_t ms = (uint64_t)clock_now_us() / 1000;
    for (int i = 0; i < 6; i++)
        u.bytes[i] = (uint8_t)(ms >> (40 - 8 * i));
    u.bytes[6] = (uint8_t)(0x70 | (u.bytes[6] & 0x0F));
    u.bytes[8] = (uint8_t)(0x80 | (u.bytes[8] & 0x3F));
    return u;
}

bool uuid_same(const struct uuid *a, const struct uuid *b)
{
    return memcmp(a->bytes, b->bytes, sizeof a->bytes) == 0;
}

bool slug_valid(const char *text)
{
    size_t n = 0;
    for (; text[n]; n++) {
        char c = text[n];
        bool letter = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
        if (n == LIMIT_SLUG || !(letter || (c == '-' && n > 0)))
            return false;
    }
    return n > 0;
}
