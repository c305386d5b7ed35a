/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * If-Match and If-None-Match. */
#include "fuzz.h"

#include "ground/etag.h"

#include <stdbool.h>
#include <string.h>

void fuzz_etag(const uint8_t *bytes, size_t n)
{
    char *value = malloc(n + 1);
    PROMISE(value);
    memcpy(value, bytes, n);
    value[n] = '\0';
    bool strong = etag_listed(value, "2-10b7", ETAG_STRONG), weak = etag_listed(value, "2-10b7", ETAG_WEAK);
    PROMISE(!strong || weak);
    PROMISE(!weak || strchr(value, '*') || strstr(value, "\"2-10b7\""));
    free(value);
}
