/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See plain_json.h. Stricter than the grammar wherever that is simpler: what is given up here costs a second look and no more.
 */
#include "plain_json.h"

#include "../ground/buffer.h"

#include <string.h>

#define MOST_DIGITS 15 /* so many always fit a double's 53 bits */

struct scan {
    const char *p, *end;
};

static void skip_blanks(struct scan *s)
{
    while (s->p < s->end && (*s->p == ' ' || *s->p == '\n' || *s->p == '\r' || *s->p == '\t'))
        s->p++;
}

static bool take(struct scan *s, char c)
{
    if (s->p == s->end || *s->p != c)
        return false;
    s->p++;
    return true;
}

/* Between the quotes; s stands behind the first and is left behind the last. */
static bool take_text(struct scan *s, const char **text, size_t *n)
{
    const char *p = s->p;
    while (p < s->end && (unsigned char)(*p - 0x20) < 0x5F && *p != '"' && *p != '\\')
        p++;
    if (p == s->end || *p != '"')
        return false;
    *text = s->p;
    *n = (size_t)(p - s->p);
    s->p = p + 1;
    return true;
}

static size_t digits(struct scan *s)
{
    const char *from = s->p;
    while (s->p < s->end && *s->p >= '0' && *s->p <= '9')
        s->p++;
    return (size_t)(s->p - from);
}

static json_t *number(struct scan *s)
{
    const char *from = s->p;
    double value;
    take(s, '-');
    bool zero = s->p < s->end && *s->p == '0';
    size_t whole = digits(s), parts = 0;
    if (whole == 0 || (zero && whole > 1) || (take(s, '.') && (parts = digits(s)) == 0) || whole + parts > MOST_DIGITS)
        return NULL;
    if (s->p < s->end && (*s->p == 'e' || *s->p == 'E'))
        return NULL;
    return number_parse(from, (size_t)(s->p - from), &value) ? json_real(value) : NULL;
}

static bool word(struct scan *s, const char *text, size_t n)
{
    if ((size_t)(s->end - s->p) < n || memcmp(s->p, text, n) != 0)
        return false;
    s->p += n;
    return true;
}

static json_t *value_of(struct scan *s);

/* The tree's memory goes with its block, so what was begun is just left. */
static json_t *object(struct scan *s)
{
    json_t *o = json_object();
    skip_blanks(s);
    if (!o || take(s, '}'))
        return o;
    for (size_t members = 1;; members++) {
        const char *name;
        size_t n;
        skip_blanks(s);
        if (!take(s, '"') || !take_text(s, &name, &n))
            return NULL;
        skip_blanks(s);
        json_t *value = take(s, ':') ? value_of(s) : NULL;
        if (!value || json_object_setn_new_nocheck(o, name, n, value) != 0 || json_object_size(o) != members)
            return NULL; /* the size of one given twice stays behind */
        skip_blanks(s);
        if (take(s, '}'))
            return o;
        if (!take(s, ','))
            return NULL;
    }
}

static json_t *array(struct scan *s)
{
    json_t *a = json_array();
    skip_blanks(s);
    if (!a || take(s, ']'))
        return a;
    for (;;) {
        json_t *value = value_of(s);
        if (!value || json_array_append_new(a, value) != 0)
            return NULL;
        skip_blanks(s);
        if (take(s, ']'))
            return a;
        if (!take(s, ','))
            return NULL;
    }
}

static json_t *value_of(struct scan *s)
{
    const char *text;
    size_t n;
    skip_blanks(s);
    if (s->p == s->end)
        return NULL;
    switch (*s->p) {
    case '{': s->p++; return object(s);
    case '[': s->p++; return array(s);
    case '"': s->p++; return take_text(s, &text, &n) ? json_stringn_nocheck(text, n) : NULL;
    case 't': return word(s, "true", 4) ? json_true() : NULL;
    case 'f': return word(s, "false", 5) ? json_false() : NULL;
    case 'n': return word(s, "null", 4) ? json_null() : NULL;
    default: return number(s);
    }
}

json_t *plain_json(const char *text, size_t n)
{
    struct scan s = {text, text + n};
    json_t *root = value_of(&s);
    skip_blanks(&s);
    return s.p == s.end ? root : NULL;
}
