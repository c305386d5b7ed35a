/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See form.h. The form becomes the same JSON that a page with scripts would send, so both meet the same faults.
 */
#include "form.h"

#include "cells.h"
#include "utf8.h"

#include <stdio.h>
#include <string.h>

/* ---- decoding ---- */

static int hex(char c)
{
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

bool percent_decode(const char *text, size_t n, bool plus_is_space, char *out)
{
    size_t used = 0;
    for (size_t i = 0; i < n; i++) {
        char c = text[i];
        if (c == '%') {
            int high = n - i > 2 ? hex(text[i + 1]) : -1, low = n - i > 2 ? hex(text[i + 2]) : -1;
            if (high < 0 || low < 0)
                return false;
            c = (char)(high << 4 | low);
            i += 2;
        } else if (c == '+' && plus_is_space) {
            c = ' ';
        }
        if (c == '\0')
            return false;
        out[used++] = c;
    }
    out[used] = '\0';
    return utf8_valid(out, used);
}

void percent_encode(struct buffer *b, const char *text)
{
    for (const unsigned char *p = (const unsigned char *)text; *p; p++)
        if ((*p >= '0' && *p <= '9') || (*p >= 'a' && *p <= 'z') || (*p >= 'A' && *p <= 'Z') || strchr("-._~", *p))
            buffer_char(b, (char)*p);
        else
            buffer_format(b, "%%%02X", *p);
}

static const char *decoded(const char *text, size_t n, struct arena *a, struct fault *f)
{
    char *out = arena_alloc(a, n + 1);
    if (!out) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
        return NULL;
    }
    if (percent_decode(text, n, true, out))
        return out;
    fault_add(f, FAULT_MALFORMED, "", "not-a-form",
              "the form is not validly encoded: a broken %%-escape, a NUL, or bytes that are not UTF-8");
    return NULL;
}

const char *form_value(const struct form *form, const char *name)
{
    for (int i = 0; i < form->count; i++)
        if (!strcmp(form->fields[i].name, name))
            return form->fields[i].value;
    return NULL;
}

bool form_read(const char *body, size_t n, struct arena *a, struct form *out, struct fault *f)
{
    out->count = 0;
    for (const char *end = body + n; body < end;) {
        const char *amp = memchr(body, '&', (size_t)(end - body)), *stop = amp ? amp : end;
        const char *equals = memchr(body, '=', (size_t)(stop - body));
        const char *name_end = equals ? equals : stop, *value = equals ? equals + 1 : stop;
        if (stop > body) {
            if (out->count == LIMIT_FORM_FIELDS)
                return fault_add(f, FAULT_TOO_LARGE, "", "too-many-fields", "a form holds at most %d fields", LIMIT_FORM_FIELDS);
            struct form_field field = {decoded(body, (size_t)(name_end - body), a, f), NULL};
            field.value = field.name ? decoded(value, (size_t)(stop - value), a, f) : NULL;
            if (!field.value)
                return false;
            if (form_value(out, field.name))
                return fault_add(f, FAULT_UNACCEPTABLE, field.name, "duplicate-member", "the field is there twice");
            out->fields[out->count++] = field;
        }
        body = amp ? amp + 1 : end;
    }
    return true;
}

static bool is_blank(const char *text)
{
    return !text || !text[strspn(text, " \t\r\n")];
}

bool form_number(const struct form *form, const char *name, double *out, struct fault *f)
{
    const char *text = form_value(form, name);
    *out = ABSENT;
    return is_blank(text) || cell_number(name, text, strlen(text), NUMBER_EITHER, out, f);
}

/* ---- a calibration ---- */

/* "2024-03-01T19:00" and "+01:00" -> "2024-03-01T19:00:00+01:00"; what has an offset already stays. */
static void made_at(struct buffer *json, const char *text, const char *offset)
{
    char whole[80];
    size_t n = strlen(text);
    bool local = n >= 16 && n <= 26 && (text[10] == 'T' || text[10] == ' ') && strspn(text + 11, "0123456789:.") == n - 11;
    if (!local) {
        json_member_text(json, "made_at", text);
        return;
    }
    snprintf(whole, sizeof whole, "%s%s%.20s", text, n == 16 ? ":00" : "", is_blank(offset) ? "Z" : offset);
    json_member_text(json, "made_at", whole);
}

static bool one_of(const char *const *names, const char *name)
{
    for (; names && *names; names++)
        if (!strcmp(*names, name))
            return true;
    return false;
}

/* "moves[12].bias" -> 12 and the member of the list's table; NULL when it is not of this list. */
static const struct member *in_list(const char *field, const char *list, const struct member *table, int limit, int *index)
{
    size_t n = strlen(list);
    if (strncmp(field, list, n) || field[n] != '[')
        return NULL;
    const char *digits = field + n + 1;
    size_t count = strspn(digits, "0123456789");
    if (count == 0 || count > 3 || digits[count] != ']' || digits[count + 1] != '.')
        return NULL;
    *index = 0;
    for (size_t i = 0; i < count; i++)
        *index = *index * 10 + (digits[i] - '0');
    return *index < limit ? member_find(table, digits + count + 2) : NULL;
}

/* The lines of a list that have something in them, in their order. */
static bool add_list(struct buffer *json, const struct form *form, const char *list, const struct member *table, int limit, struct fault *f)
{
    bool fine = true, any = false;
    for (int at = 0; at < limit; at++) {
        bool begun = false;
        for (int i = 0; i < form->count; i++) {
            int index;
            double x;
            const char *value = form->fields[i].value;
            const struct member *m = in_list(form->fields[i].name, list, table, limit, &index);
            if (!m || index != at || is_blank(value))
                continue;
            if (!cell_number(form->fields[i].name, value, strlen(value), NUMBER_EITHER, &x, f)) {
                fine = false;
                continue;
            }
            if (!any) {
                json_name(json, list);
                buffer_char(json, '[');
            }
            if (!begun)
                buffer_text(json, any ? ",{" : "{");
            any = begun = true;
            json_member_number(json, m->name, x);
        }
        if (begun)
            buffer_char(json, '}');
    }
    if (any)
        buffer_char(json, ']');
    return fine;
}

static bool add_field(struct buffer *json, const struct form *form, const struct form_field *field, const char *const *others,
                      struct fault *f)
{
    int index;
    const struct member *m = member_find(calibration_members, field->name);
    if (m && m->type != MEMBER_INNER) {
        if (m->type == MEMBER_TIME && !is_blank(field->value)) {
            made_at(json, field->value, form_value(form, "made_at_offset"));
            return true;
        }
        return is_blank(field->value) || cell_json(json, m->name, cell_type_of(m), field->value, strlen(field->value), NUMBER_EITHER, f);
    }
    if (!strcmp(field->name, "made_at_offset") || one_of(others, field->name) ||
        in_list(field->name, "moves", move_members, LIMIT_MOVES, &index) ||
        in_list(field->name, "proof", proof_members, LIMIT_PROOF, &index))
        return true;
    return fault_add(f, FAULT_UNACCEPTABLE, field->name, "unknown-member", "a calibration has no member '%.60s'; leave it out",
                     field->name);
}

bool wire_read_calibration_form(const struct form *form, const char *const *others, struct arena *a, struct calibration *out,
                                struct fault *f)
{
    static const struct uuid none;
    struct buffer json;
    bool fine = true;
    calibration_init(out);
    buffer_init(&json, LIMIT_BODY_RECORD);
    buffer_char(&json, '{');
    for (int i = 0; i < form->count; i++)
        fine = add_field(&json, form, &form->fields[i], others, f) && fine;
    fine = add_list(&json, form, "moves", move_members, LIMIT_MOVES, f) && fine;
    fine = add_list(&json, form, "proof", proof_members, LIMIT_PROOF, f) && fine;
    buffer_char(&json, '}');
    if (json.failed)
        fine = json.too_large ? fault_add(f, FAULT_TOO_LARGE, "", "too-large", "the form is too large")
                              : fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    else /* also when a field was wrong: the reply then names all of them */
        fine = wire_read_calibration(json.data, json.length, form_value(form, "id") ? NULL : &none, a, out, f) && fine;
    buffer_free(&json);
    return fine;
}
