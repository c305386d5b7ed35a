/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * JSON objects into records by their tables. Every member is looked at, so one reply names all that is wrong.
 */
#include "members.h"

#include "../ground/memory.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void reading_start(struct reading *r, struct arena *a, struct fault *f)
{
    *r = (struct reading){.f = f, .a = a, .fine = true};
}

static void add_fault(struct reading *r, enum fault_kind kind, const char *name, const char *code, const char *detail)
{
    char field[160];
    snprintf(field, sizeof field, "%s%s", r->prefix, name);
    fault_add(r->f, kind, field, code, "%s", detail);
    r->fine = false;
}

void reading_wrong(struct reading *r, const char *name, const char *code, const char *format, ...)
{
    char detail[400];
    va_list ap;
    va_start(ap, format);
    vsnprintf(detail, sizeof detail, format, ap);
    va_end(ap);
    add_fault(r, FAULT_UNACCEPTABLE, name, code, detail);
}

void reading_memory(struct reading *r)
{
    fault_clear(r->f); /* a lack of memory is the whole answer, whatever was wrong before */
    add_fault(r, FAULT_MEMORY, "", "memory", "out of memory; try again");
}

const struct member *member_find(const struct member *table, const char *name)
{
    for (; table->name; table++)
        if (table->name[0] == name[0] && !strcmp(table->name, name))
            return table;
    return NULL;
}

/* ---- unknown members: say which known one was probably meant ---- */

/* Whether one insertion, deletion, exchange or swap turns a into b. */
static bool near(const char *a, const char *b)
{
    size_t same = 0, n = strlen(a), m = strlen(b);
    while (a[same] && a[same] == b[same])
        same++;
    const char *x = a + same, *y = b + same;
    if (n == m)
        return !strcmp(x + 1, y + 1) || (x[0] == y[1] && x[1] == y[0] && !strcmp(x + 2, y + 2));
    return n + 1 == m ? !strcmp(x, y + 1) : m + 1 == n && !strcmp(x + 1, y);
}

static void unknown_member(struct reading *r, const char *name, const struct member_set *sets, int count, const char *what)
{
    for (int s = 0; s < count; s++)
        for (const struct member *m = sets[s].table; m->name; m++)
            if (m->type != MEMBER_SERVER && near(name, m->name)) {
                reading_wrong(r, name, "unknown-member", "%s has no member '%.60s'; '%s' was probably meant", what, name, m->name);
                return;
            }
    reading_wrong(r, name, "unknown-member", "%s has no member '%.60s'; leave it out", what, name);
}

/* ---- values ---- */

static const char *type_name(const json_t *v)
{
    return json_is_object(v)   ? "an object"
           : json_is_array(v)  ? "an array"
           : json_is_string(v) ? "text"
           : json_is_number(v) ? "a number"
                               : "true or false";
}

static void wrong_type(struct reading *r, const char *name, const char *wanted, const json_t *v)
{
    reading_wrong(r, name, "wrong-type", "this is %s; %s is needed", type_name(v), wanted);
}

/* Control characters have no place in a text; line ends and tabs only in notes. */
static bool clean(const char *text, bool notes)
{
    for (const unsigned char *p = (const unsigned char *)text; *p; p++)
        if ((*p < 0x20 && !(notes && (*p == '\n' || *p == '\r' || *p == '\t'))) || *p == 0x7F ||
            (p[0] == 0xC2 && p[1] >= 0x80 && p[1] < 0xA0))
            return false;
    return true;
}

static const char *text_of(struct reading *r, const char *name, const json_t *v, size_t room, bool notes)
{
    if (!json_is_string(v)) {
        wrong_type(r, name, "text in quotes", v);
        return NULL;
    }
    const char *text = json_string_value(v);
    if (!clean(text, notes)) {
        reading_wrong(r, name, "control-character",
                      notes ? "there is a control character in it; take it out"
                            : "there is a line end, tab or other control character in it; take it out");
        return NULL;
    }
    if (json_string_length(v) > room) {
        reading_wrong(r, name, "too-long", "%zu bytes are more than %zu; shorten the text", json_string_length(v), room);
        return NULL;
    }
    return text;
}

bool read_text(struct reading *r, const char *name, const json_t *v, char *out, size_t room)
{
    const char *text = text_of(r, name, v, room, false);
    if (text)
        memcpy(out, text, strlen(text) + 1);
    return text != NULL;
}

static void read_notes(struct reading *r, const char *name, const json_t *v, const char **out)
{
    const char *text = text_of(r, name, v, LIMIT_NOTES_BYTES, true);
    if (!text || !*text)
        return;
    *out = arena_text(r->a, text, strlen(text));
    if (!*out)
        reading_memory(r);
}

bool read_number(struct reading *r, const char *name, const json_t *v, double *out)
{
    if (!json_is_number(v)) {
        if (json_is_string(v))
            reading_wrong(r, name, "wrong-type", "this is text; write the number without quotes, with a decimal point");
        else
            wrong_type(r, name, "a number", v);
        return false;
    }
    *out = json_number_value(v);
    return true;
}

static void read_whole(struct reading *r, const char *name, const json_t *v, int *out)
{
    double x;
    if (!read_number(r, name, v, &x))
        return;
    if (x < -1e9 || x > 1e9 || x < (double)(int)x || x > (double)(int)x)
        reading_wrong(r, name, "not-whole", "a whole number is needed");
    else
        *out = (int)x;
}

static void read_large(struct reading *r, const char *name, const json_t *v, int64_t *out)
{
    double x;
    if (!read_number(r, name, v, &x))
        return;
    if (x < 0 || x > 9e15 || x > (double)(int64_t)x)
        reading_wrong(r, name, "not-whole", "a whole number from 0 is needed");
    else
        *out = (int64_t)x;
}

static void read_flag(struct reading *r, const char *name, const json_t *v, bool *out)
{
    if (json_is_boolean(v))
        *out = json_is_true(v);
    else
        wrong_type(r, name, "true or false", v);
}

static void not_in_list(struct reading *r, const char *name, const json_t *v, const char *(*choice)(int))
{
    char list[200] = "";
    size_t used = 0;
    for (int i = 0; choice(i); i++) {
        int n = snprintf(list + used, sizeof list - used, "%s%s", i ? ", " : "", choice(i));
        used += n > 0 && (size_t)n < sizeof list - used ? (size_t)n : 0;
    }
    reading_wrong(r, name, "not-in-list", "'%.40s' is not one of %s", json_string_value(v), list);
}

static void read_choice(struct reading *r, const char *name, const json_t *v, const char *(*choice)(int), int *out)
{
    int i = 0;
    if (!json_is_string(v)) {
        wrong_type(r, name, "text in quotes", v);
        return;
    }
    while (choice(i) && strcmp(choice(i), json_string_value(v)) != 0)
        i++;
    if (choice(i))
        *out = i;
    else
        not_in_list(r, name, v, choice);
}

static void read_time(struct reading *r, const char *name, const json_t *v, int64_t *us, int *offset)
{
    if (!json_is_string(v))
        wrong_type(r, name, "a time in quotes", v);
    else if (!clock_parse(json_string_value(v), json_string_length(v), us, offset))
        reading_wrong(r, name, "not-a-time", "write the time with its offset as in RFC 3339, e.g. 2024-03-01T19:00:00+01:00");
}

static void read_uuid(struct reading *r, const char *name, const json_t *v, struct uuid *out)
{
    if (!json_is_string(v))
        wrong_type(r, name, "a UUID in quotes", v);
    else if (!uuid_parse(json_string_value(v), out))
        reading_wrong(r, name, "not-a-uuid", "a UUID of version 4 or 7 is needed, e.g. made by crypto.randomUUID() or uuidgen");
}

static void read_place(struct reading *r, const struct member *m, const json_t *v, void *record)
{
    enum position_kind *kind = (void *)((char *)record + m->room);
    double x;
    if (!read_number(r, m->name, v, &x))
        return;
    if (*kind != POSITION_NONE && (int)*kind != m->not_given) {
        reading_wrong(r, m->name, "one-position",
                      "give the place on the reel once: position_s, position_turns, position_counter or position_part");
        return;
    }
    *kind = (enum position_kind)m->not_given;
    *(double *)(void *)((char *)record + m->at) = x;
}

/* What a whole number holds when nothing was given (-1) must not come in as a value. */
static void read_count(struct reading *r, const struct member *m, const json_t *v, int *out)
{
    if (json_is_number(v) && json_number_value(v) < 0)
        reading_wrong(r, m->name, "out-of-range", "%g is below 0; leave the member out when it is not known", json_number_value(v));
    else
        read_whole(r, m->name, v, out);
}

/* A year may come as a number: 1985. */
static void read_year(struct reading *r, const struct member *m, const json_t *v, char *out)
{
    double year = json_number_value(v);
    if (json_is_number(v) && year >= 1 && year <= 9999 && year == floor(year))
        snprintf(out, m->room + 1, "%04d", (int)year);
    else
        read_text(r, m->name, v, out, m->room);
}

static void read_member(struct reading *r, const struct member *m, const json_t *v, void *record)
{
    void *at = (char *)record + m->at;
    switch (m->type) {
    case MEMBER_SLUG:
    case MEMBER_TEXT: read_text(r, m->name, v, at, m->room); break;
    case MEMBER_NOTES: read_notes(r, m->name, v, at); break;
    case MEMBER_NUMBER: read_number(r, m->name, v, at); break;
    case MEMBER_WHOLE: read_count(r, m, v, at); break;
    case MEMBER_YEAR: read_year(r, m, v, at); break;
    case MEMBER_LARGE: read_large(r, m->name, v, at); break;
    case MEMBER_FLAG: read_flag(r, m->name, v, at); break;
    case MEMBER_CHOICE: read_choice(r, m->name, v, m->choice, at); break;
    case MEMBER_TIME: read_time(r, m->name, v, at, (void *)((char *)record + m->room)); break;
    case MEMBER_UUID: read_uuid(r, m->name, v, at); break;
    case MEMBER_PLACE: read_place(r, m, v, record); break;
    case MEMBER_INNER: m->read(r, m->name, v, record); break;
    case MEMBER_SERVER: break;
    }
}

/* ---- objects and arrays ---- */

void read_members(struct reading *r, const json_t *object, const struct member_set *sets, int count, const char *what)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)object, name, value)
    {
        const struct member *m = NULL;
        int s = 0;
        for (; s < count && !(m = member_find(sets[s].table, name)); s++)
            ;
        if (!m)
            unknown_member(r, name, sets, count, what);
        else if (!json_is_null(value))
            read_member(r, m, value, sets[s].record);
    }
}

void read_inner(struct reading *r, const char *name, int index, const json_t *value, const struct member *table, void *record,
                const char *what)
{
    char outer[sizeof r->prefix], position[16] = "";
    if (index >= 10)
        snprintf(position, sizeof position, "[%d]", index);
    else if (index >= 0) /* nearly always, so without printf */
        memcpy(position, (char[]){'[', (char)('0' + index), ']', '\0'}, 4);
    if (!json_is_object(value)) {
        char field[80];
        snprintf(field, sizeof field, "%s%s", name, position);
        wrong_type(r, field, "an object {\xE2\x80\xA6}", value);
        return;
    }
    memcpy(outer, r->prefix, sizeof outer);
    const char *const parts[] = {name, position, "."};
    size_t used = strlen(outer);
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        for (const char *from = parts[i]; *from && used < sizeof r->prefix - 1; from++)
            r->prefix[used++] = *from;
    r->prefix[used] = '\0';
    struct member_set set = {table, record};
    read_members(r, value, &set, 1, what);
    memcpy(r->prefix, outer, sizeof outer);
}

bool read_array(struct reading *r, const char *name, const json_t *value, size_t limit, size_t *count)
{
    if (!json_is_array(value)) {
        wrong_type(r, name, "an array [\xE2\x80\xA6]", value);
        return false;
    }
    *count = json_array_size(value);
    if (*count <= limit)
        return true;
    reading_wrong(r, name, "too-many", "%zu entries are more than %zu", *count, limit);
    return false;
}
