/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * jansson parses. Its lexer ends the process when its text buffer cannot grow, and elsewhere it reports a lack of memory as if the text were wrong. So a scan
 * of the text bounds the memory that its tree can need, one block of that size is taken before the parse, and jansson's allocator hands out pieces of it:
 * within a parse memory is never short. The whole tree is freed as one block.
 */
#include "parse.h"

#include "../ground/memory.h"
#include "wire.h"

#include <pthread.h>
#include <stdio.h>
#include <string.h>

struct block {
    struct block *older; /* a bound that was too low is mended by a further block; a test sees to it that it never is */
    size_t size, used;
    _Alignas(16) unsigned char bytes[];
};
static _Thread_local struct block *current; /* of the parse that runs on this thread */
static _Thread_local bool out_of_memory;

static struct block *block_new(size_t size, struct block *older)
{
    struct block *b = mem_alloc(sizeof *b + size);
    if (b)
        *b = (struct block){.older = older, .size = size};
    return b;
}

static void *hook_alloc(size_t size)
{
    size_t need = (size + 15) / 16 * 16;
    if (current && need > current->size - current->used) {
        struct block *b = block_new(need + 65536, current);
        out_of_memory = out_of_memory || !b;
        if (!b)
            return NULL;
        current = b;
    }
    if (!current)
        return NULL;
    void *p = current->bytes + current->used;
    current->used += need;
    return p;
}

static void hook_free(void *p)
{
    (void)p; /* with its block */
}

static void start(void)
{
    json_set_alloc_funcs(hook_alloc, hook_free);
    json_object_seed(0); /* random: member names cannot be chosen to collide */
}

void wire_start(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, start);
}

struct survey {
    int depth, deepest;
    size_t strings, opened, commas, colons; /* outside strings */
};

static struct survey survey(const char *text, size_t n)
{
    struct survey s = {0};
    for (size_t i = 0; i < n; i++) {
        switch (text[i]) {
        case '"':
            s.strings++;
            for (i++; i < n && text[i] != '"'; i++)
                i += text[i] == '\\';
            break;
        case '{':
        case '[':
            s.opened++;
            if (++s.depth > s.deepest)
                s.deepest = s.depth;
            break;
        case '}':
        case ']': s.depth--; break;
        case ',': s.commas++; break;
        case ':': s.colons++; break;
        default: break;
        }
    }
    return s;
}

/* More than jansson 2.14 takes: its structures are 24 (number), 40 (array), 72 (object), 32 (string), 56 (member) bytes; tables begin with 8 entries of 8 or 16 bytes
 * and double; a text is held as token, value and member name; its lexer's buffer doubles up to the longest token. */
static size_t memory_needed(const struct survey *s, size_t n)
{
    return 4096 + 6 * n + 256 * s->strings + 384 * s->opened + 192 * s->commas + 64 * s->colons;
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

bool document_parse(struct document *d, const char *text, size_t n, struct fault *f)
{
    wire_start();
    *d = (struct document){NULL, NULL};
    struct survey s = survey(text, n);
    if (s.deepest > LIMIT_JSON_DEPTH) /* jansson recurses */
        return fault_add(f, FAULT_MALFORMED, "", "too-deep", "objects and arrays are nested deeper than %d", LIMIT_JSON_DEPTH);
    json_error_t e;
    out_of_memory = false;
    current = block_new(memory_needed(&s, n), NULL);
    if (!current)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    d->root = json_loadb(text, n, JSON_REJECT_DUPLICATES | JSON_DECODE_INT_AS_REAL | JSON_DECODE_ANY, &e);
    d->memory = current;
    current = NULL;
    if (d->root)
        return true;
    if (out_of_memory)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    else
        not_json(&e, f);
    document_free(d);
    return false;
}

bool document_parse_object(struct document *d, const char *text, size_t n, struct fault *f)
{
    *d = (struct document){NULL, NULL};
    if (n == 0)
        return fault_add(f, FAULT_MALFORMED, "", "not-json", "the body is empty; send one JSON object");
    if (!document_parse(d, text, n, f))
        return false;
    if (json_is_object(d->root))
        return true;
    document_free(d);
    return fault_add(f, FAULT_UNACCEPTABLE, "", "not-an-object", "send one JSON object: {\"member\": value, \xE2\x80\xA6}");
}

void document_free(struct document *d)
{
    for (struct block *b = d->memory, *older; b; b = older) {
        older = b->older;
        mem_free(b);
    }
    *d = (struct document){NULL, NULL};
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
