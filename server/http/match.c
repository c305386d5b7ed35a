/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Finds the row of the routes table for a path. Some forty rows are compared one after the other: that is below a microsecond, since most
 * part at the first segment.
 */
#include "routes.h"

#include <string.h>

/* One segment against one pattern segment; a {capture} may be followed by a literal suffix. */
static bool segment_fits(const char *pattern, size_t pattern_n, const char *text, size_t text_n, struct captures *out)
{
    if (pattern_n == 0 || pattern[0] != '{')
        return pattern_n == text_n && memcmp(pattern, text, text_n) == 0;
    const char *close = memchr(pattern, '}', pattern_n);
    size_t suffix_n = pattern_n - (size_t)(close - pattern) - 1;
    if (text_n <= suffix_n || memcmp(text + text_n - suffix_n, close + 1, suffix_n) != 0)
        return false;
    size_t n = text_n - suffix_n;
    if (out->count == 3 || n >= sizeof out->text[0])
        return false;
    memcpy(out->text[out->count], text, n);
    out->text[out->count++][n] = '\0';
    return true;
}

static bool pattern_fits(const char *pattern, const char *path, struct captures *out)
{
    out->count = 0;
    for (;;) {
        if (*pattern != '/' || *path != '/')
            return *pattern == *path; /* both at their end */
        size_t pattern_n = strcspn(++pattern, "/"), path_n = strcspn(++path, "/");
        if (!segment_fits(pattern, pattern_n, path, path_n, out))
            return false;
        pattern += pattern_n;
        path += path_n;
    }
}

const struct route *route_find(const struct route *table, const char *path, enum http_method method, struct captures *captures,
                               unsigned *allowed)
{
    unsigned bit = 1u << (method == HTTP_HEAD ? HTTP_GET : method);
    *allowed = 0;
    for (const struct route *r = table; r->pattern; r++) {
        if (!pattern_fits(r->pattern, path, captures))
            continue;
        *allowed |= r->methods;
        if (r->methods & bit)
            return r;
    }
    return NULL;
}

int64_t route_largest_body(const struct route *r)
{
    if (r->largest_body)
        return r->largest_body;
    switch (r->body) {
    case BODY_RECORD: return LIMIT_BODY_RECORD;
    case BODY_FORM: return LIMIT_BODY_FORM;
    case BODY_SPOOL: return LIMIT_BODY_IMPORT;
    case BODY_NONE: break;
    }
    return 0;
}

const char *route_types(const struct route *r)
{
    if (r->types)
        return r->types;
    switch (r->body) {
    case BODY_RECORD: return "application/json";
    case BODY_FORM: return "application/x-www-form-urlencoded";
    case BODY_SPOOL: return "application/x-ndjson application/ndjson application/jsonl text/csv";
    case BODY_NONE: break;
    }
    return "";
}
