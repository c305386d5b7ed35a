/* SPDX-License-Identifier: GPL-3.0-or-later
 * See etag.h. */
#include "etag.h"

#include <string.h>

bool etag_listed(const char *value, const char *etag, enum etag_comparison how)
{
    size_t n = strlen(etag);
    const char *p = value + strspn(value, " \t,");
    if (p[0] == '*' && p[1 + strspn(p + 1, " \t")] == '\0')
        return true;
    while (*p) {
        bool weak = p[0] == 'W' && p[1] == '/';
        if (weak)
            p += 2;
        const char *close = *p == '"' ? strchr(p + 1, '"') : NULL;
        if (!close)
            return false;
        if (!(weak && how == ETAG_STRONG) && (size_t)(close - p) - 1 == n && memcmp(p + 1, etag, n) == 0)
            return true;
        p = close + 1;
        p += strspn(p, " \t");
        if (*p && *p != ',')
            return false;
        p += strspn(p, " \t,");
    }
    return false;
}
