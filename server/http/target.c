/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Strict: what two readers could understand differently (dot segments, encoded slashes, NUL, broken percent codes) is refused, not repaired.
 */
#include "target.h"

#include "../wire/utf8.h"

#include <string.h>
#include <strings.h>

static int hex_digit(char c)
{
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* Decodes from[0..n), printable ASCII, to `out`, closes it with NUL and moves *out behind that. */
static enum refusal_number decode(const char *from, size_t n, bool query, char **out)
{
    char *start = *out, *to = start;
    const char *end = from + n;
    bool high_bytes = false;
    while (from < end) {
        char c = *from++;
        if (c == '%') {
            int high = end - from >= 2 ? hex_digit(from[0]) : -1, low = end - from >= 2 ? hex_digit(from[1]) : -1;
            if (high < 0 || low < 0)
                return REFUSE_PERCENT;
            c = (char)(high * 16 + low);
            if (c == '\0')
                return REFUSE_NUL;
            if (!query && c == '/')
                return REFUSE_SLASH;
            high_bytes |= high >= 8;
            from += 2;
        } else if (c == '+' && query) {
            c = ' ';
        }
        *to++ = c;
    }
    if (high_bytes && !utf8_valid(start, (size_t)(to - start)))
        return REFUSE_UTF8;
    *to++ = '\0';
    *out = to;
    return REFUSE_NOTHING;
}

static enum refusal_number check_path(const char *path)
{
    for (const char *p = path; *p; p++) {
        if ((unsigned char)*p < 0x20 || *p == 0x7f)
            return REFUSE_CONTROL;
        if (p[0] == '/' && p[1] == '.') {
            const char *after = p[2] == '.' ? p + 3 : p + 2;
            if (*after == '/' || *after == '\0')
                return REFUSE_DOTS;
        }
    }
    return REFUSE_NOTHING;
}

static enum refusal_number read_query(const char *query, char **to, struct request *request)
{
    while (*query) {
        size_t n = strcspn(query, "&"), name_n = strcspn(query, "=&");
        if (n > 0) {
            if (request->parameter_count == LIMIT_QUERY_PARAMETERS)
                return REFUSE_PARAMETERS;
            struct parameter *p = &request->parameters[request->parameter_count++];
            enum refusal_number refused;
            p->name = *to;
            if ((refused = decode(query, name_n, true, to)) != REFUSE_NOTHING)
                return refused;
            size_t skip = name_n < n ? name_n + 1 : name_n;
            p->value = *to;
            if ((refused = decode(query + skip, n - skip, true, to)) != REFUSE_NOTHING)
                return refused;
        }
        query += n;
        if (*query == '&')
            query++;
    }
    return REFUSE_NOTHING;
}

/* Absolute form: http://authority/path (a server must take it: RFC 9112, 3.2.2). Moves *raw to the path. */
static void take_authority(const char **raw, struct target *t, char **to)
{
    size_t scheme = strncasecmp(*raw, "http://", 7) == 0 ? 7 : strncasecmp(*raw, "https://", 8) == 0 ? 8 : 0;
    if (scheme == 0)
        return;
    const char *start = *raw + scheme;
    size_t n = strcspn(start, "/?");
    t->authority = *to;
    memcpy(*to, start, n);
    (*to)[n] = '\0';
    *to += n + 1;
    *raw = start[n] == '/' ? start + n : "/";
}

static enum refusal_number read_target(const char *raw, struct target *t, struct request *request)
{
    if (!raw || !*raw)
        return REFUSE_TARGET;
    size_t n = (size_t)(t->raw_end - raw);
    if (n > LIMIT_URL)
        return REFUSE_TARGET_LONG;
    bool strange = false;
    for (size_t i = 0; i < n; i++)
        strange |= (unsigned char)(raw[i] - 0x21) > 0x7e - 0x21 || raw[i] == '#';
    if (strange)
        return REFUSE_TARGET;
    char *to = t->text;
    take_authority(&raw, t, &to);
    if (*raw != '/' && strcmp(raw, "*") != 0)
        return REFUSE_TARGET;
    size_t path_n = strcspn(raw, "?");
    const char *path = to;
    enum refusal_number refused = decode(raw, path_n, false, &to);
    if (refused == REFUSE_NOTHING)
        refused = check_path(path);
    if (refused != REFUSE_NOTHING)
        return refused;
    request->path = path;
    return raw[path_n] == '?' ? read_query(raw + path_n + 1, &to, request) : REFUSE_NOTHING;
}

void target_read(const char *raw, struct target *t, struct request *request)
{
    request->path = "/";
    request->parameter_count = 0;
    t->authority = NULL;
    t->raw_end = raw ? raw + strlen(raw) : NULL;
    t->refused = read_target(raw, t, request);
    if (t->refused != REFUSE_NOTHING) {
        request->path = "/";
        request->parameter_count = 0;
    }
}
