/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * jansson parses. It reports a lack of memory as if the text were wrong, so its allocator is ours and remembers, for each thread, that it had to say no.
 */
#include "parse.h"

#include "../ground/memory.h"
#include "wire.h"

#include <pthread.h>
#include <stdio.h>
#include <string.h>

static _Thread_local bool out_of_memory;

static void *hook_alloc(size_t size)
{
    void *p = mem_alloc(size);
    if (!p)
        out_of_memory = true;
    return p;
}

static void start(void)
{
    json_set_alloc_funcs(hook_alloc, mem_free);
    json_object_seed(0); /* random: member names cannot be chosen to collide */
}

void wire_start(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, start);
}

/* jansson recurses; the depth is counted before it may. Brackets in strings do not count. */
static bool too_deep(const char *text, size_t n)
{
    int depth = 0;
    bool string = false;
    for (size_t i = 0; i < n; i++) {
        char c = text[i];
        if (string) {
            if (c == '\\')
                i++;
            else if (c == '"')
                string = false;
        } else if (c == '"') {
            string = true;
        } else if (c == '{' || c == '[') {
            if (++depth > LIMIT_JSON_DEPTH)
                return true;
        } else if (c == '}' || c == ']') {
            depth--;
        }
    }
    return false;
}

/* jansson says: duplicate object key near '"name"' */
static bool given_twice(const json_error_t *e, struct fault *f)
{
    const char *from = strstr(e->text, "'\""), *to = from ? strstr(from + 2, "\"'") : NULL;
    char name[sizeof f->items[0].field] = "";
    if (to)
        snprintf(name, sizeof name, "%.*s", (int)(to - from - 2), from + 2);
    return fault_add(f, FAULT_UNACCEPTABLE, name, "duplicate-member", "a member is given twice (line %d); leave one out", e->line);
}

static bool not_json(const json_error_t *e, struct fault *f)
{
    const char *what;
    switch (json_error_code(e)) {
    case json_error_duplicate_key: return given_twice(e, f);
    case json_error_premature_end_of_input: what = "it ends too early"; break;
    case json_error_end_of_input_expected: what = "something follows after the JSON value"; break;
    case json_error_invalid_utf8: what = "there are bytes that are not UTF-8"; break;
    case json_error_null_character:
    case json_error_null_byte_in_key: what = "there is a NUL character"; break;
    case json_error_numeric_overflow: what = "a number is too large"; break;
    default: what = "the syntax is wrong"; break;
    }
    return fault_add(f, FAULT_MALFORMED, "", "not-json", "this is not JSON: %s (line %d, column %d)", what, e->line, e->column);
}

json_t *json_parse(const char *text, size_t n, struct fault *f)
{
    wire_start();
    if (too_deep(text, n)) {
        fault_add(f, FAULT_MALFORMED, "", "too-deep", "objects and arrays are nested deeper than %d", LIMIT_JSON_DEPTH);
        return NULL;
    }
    json_error_t e;
    out_of_memory = false;
    json_t *value = json_loadb(text, n, JSON_REJECT_DUPLICATES | JSON_DECODE_INT_AS_REAL | JSON_DECODE_ANY, &e);
    if (value)
        return value;
    if (out_of_memory)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    else
        not_json(&e, f);
    return NULL;
}

json_t *json_parse_object(const char *text, size_t n, struct fault *f)
{
    if (n == 0) {
        fault_add(f, FAULT_MALFORMED, "", "not-json", "the body is empty; send one JSON object");
        return NULL;
    }
    json_t *value = json_parse(text, n, f);
    if (value && !json_is_object(value)) {
        json_decref(value);
        fault_add(f, FAULT_UNACCEPTABLE, "", "not-an-object", "send one JSON object: {\"member\": value, \xE2\x80\xA6}");
        return NULL;
    }
    return value;
}

/* Depth is bounded by the parser's check. */
void json_value(struct buffer *b, const json_t *value)
{
    const char *key;
    json_t *inner;
    size_t i;
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        buffer_char(b, '{');
        json_object_foreach((json_t *)(uintptr_t)value, key, inner)
        {
            char last = b->length ? b->data[b->length - 1] : '{';
            if (last != '{')
                buffer_char(b, ',');
            json_text(b, key);
            buffer_char(b, ':');
            json_value(b, inner);
        }
        buffer_char(b, '}');
        break;
    case JSON_ARRAY:
        buffer_char(b, '[');
        json_array_foreach(value, i, inner)
        {
            if (i)
                buffer_char(b, ',');
            json_value(b, inner);
        }
        buffer_char(b, ']');
        break;
    case JSON_STRING: json_text(b, json_string_value(value)); break;
    case JSON_REAL:
    case JSON_INTEGER: buffer_double(b, json_number_value(value)); break;
    case JSON_TRUE: buffer_text(b, "true"); break;
    case JSON_FALSE: buffer_text(b, "false"); break;
    case JSON_NULL: buffer_text(b, "null"); break;
    }
}
