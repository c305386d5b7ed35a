/* SPDX-License-Identifier: GPL-3.0-or-later
 * See table.h. */
#include "table.h"

#include "../ground/buffer.h"
#include "../ground/memory.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading the table");
}

void table_free(struct table *t)
{
    mem_free(t->bytes);
    mem_free(t->names);
    mem_free(t->cells);
    mem_free(t->line);
    *t = (struct table){0};
}

static bool read_all(const char *path, char **bytes, size_t *n, struct fault *f)
{
    FILE *in = fopen(path, "rb");
    if (!in)
        return fault_add(f, FAULT_UNKNOWN, path, "cannot-read", "%s", strerror(errno));
    size_t room = 1 << 16, used = 0;
    char *all = mem_alloc(room + 1);
    for (size_t got = 1; all && got; used += got) {
        if (used == room) {
            char *more = room < LIMIT_TABLE_BYTES ? mem_grow(all, room * 2 + 1, 1) : NULL;
            if (!more) {
                mem_free(all);
                all = NULL;
                break;
            }
            all = more;
            room *= 2;
        }
        /* cppcheck-suppress nullPointerArithmeticRedundantCheck ; the loop ends where it is NULL */
        got = fread(all + used, 1, room - used, in);
    }
    bool failed = ferror(in) != 0;
    fclose(in);
    if (!all)
        return room >= LIMIT_TABLE_BYTES
                   ? fault_add(f, FAULT_TOO_LARGE, path, "too-large", "the file is larger than %d MB", LIMIT_TABLE_BYTES >> 20)
                   : out_of_memory(f);
    all[used] = 0;
    *bytes = all;
    *n = used;
    if (failed)
        return fault_add(f, FAULT_STORE, path, "cannot-read", "%s", strerror(EIO));
    return true;
}

struct scan {
    char *at, *end;
    int line; /* where the record began */
    int now;  /* where we are */
};

/* One cell; `*last` tells that it closed the record. A quoted one is unquoted in place. */
static bool read_cell(struct scan *s, struct cell *out, bool *last, struct fault *f)
{
    char *to = s->at;
    out->text = s->at;
    if (s->at < s->end && *s->at == '"') {
        s->at++;
        for (;;) {
            if (s->at == s->end)
                return fault_add(f, FAULT_MALFORMED, "", "open-quote", "line %d: a quote is opened and never closed", s->line);
            if (*s->at == '"') {
                if (s->at + 1 < s->end && s->at[1] == '"')
                    s->at++;
                else
                    break;
            }
            s->now += *s->at == '\n';
            *to++ = *s->at++;
        }
        s->at++;
        if (s->at < s->end && *s->at != ',' && *s->at != '\n' && *s->at != '\r')
            return fault_add(f, FAULT_MALFORMED, "", "after-quote", "line %d: text after a closing quote", s->now);
    } else {
        while (s->at < s->end && *s->at != ',' && *s->at != '\n' && *s->at != '\r')
            s->at++;
        to = s->at;
    }
    out->length = (size_t)(to - out->text);
    *last = s->at == s->end || *s->at != ',';
    if (s->at < s->end && *s->at == ',')
        s->at++;
    else if (s->at < s->end) {
        if (*s->at == '\r')
            s->at++;
        if (s->at < s->end && *s->at == '\n')
            s->at++;
        s->now++;
    }
    return true;
}

static void skip_blank_lines(struct scan *s)
{
    while (s->at < s->end && (*s->at == '\n' || *s->at == '\r')) {
        s->now += *s->at == '\n';
        s->at++;
    }
    s->line = s->now;
}

static bool read_header(struct table *t, struct scan *s, struct fault *f)
{
    t->names = mem_zero(LIMIT_CSV_COLUMNS, sizeof *t->names);
    if (!t->names)
        return out_of_memory(f);
    skip_blank_lines(s);
    if (s->at == s->end)
        return fault_add(f, FAULT_UNACCEPTABLE, "", "empty", "the file is empty; its first line names the columns");
    for (bool last = false; !last; t->columns++) {
        if (t->columns == LIMIT_CSV_COLUMNS)
            return fault_add(f, FAULT_TOO_LARGE, "", "too-many-columns", "more than %d columns", LIMIT_CSV_COLUMNS);
        if (!read_cell(s, &t->names[t->columns], &last, f))
            return false;
        const struct cell *name = &t->names[t->columns];
        if (table_column(t, name->text, name->length) >= 0)
            return fault_add(f, FAULT_UNACCEPTABLE, "", "same-name", "two columns are named %.*s", (int)name->length, name->text);
    }
    return true;
}

static bool room_for_row(struct table *t)
{
    if (t->rows < t->row_room)
        return true;
    int room = t->row_room ? t->row_room * 2 : 1024;
    struct cell *cells = mem_grow(t->cells, (size_t)room, (size_t)t->columns * sizeof *cells);
    if (cells)
        t->cells = cells;
    int *line = mem_grow(t->line, (size_t)room, sizeof *line);
    if (line)
        t->line = line;
    if (cells && line)
        t->row_room = room;
    return cells && line;
}

static bool read_rows(struct table *t, struct scan *s, struct fault *f)
{
    for (skip_blank_lines(s); s->at < s->end; skip_blank_lines(s)) {
        if (!room_for_row(t))
            return out_of_memory(f);
        struct cell *row = t->cells + (size_t)t->rows * (size_t)t->columns, spare;
        int count = 0;
        t->line[t->rows] = s->line;
        for (bool last = false; !last; count++)
            if (!read_cell(s, count < t->columns ? &row[count] : &spare, &last, f))
                return false;
        if (count != t->columns)
            return fault_add(f, FAULT_MALFORMED, "", "cells", "line %d has %d cells; the header has %d", s->line, count, t->columns);
        t->rows++;
    }
    if (!t->rows)
        return fault_add(f, FAULT_UNACCEPTABLE, "", "empty", "the file has a header and no rows");
    return true;
}

bool table_read(struct table *t, const char *path, struct fault *f)
{
    size_t n = 0;
    *t = (struct table){0};
    if (!read_all(path, &t->bytes, &n, f))
        return false;
    struct scan s = {.at = t->bytes, .end = t->bytes + n, .line = 1, .now = 1};
    if (n >= 3 && memcmp(s.at, "\xEF\xBB\xBF", 3) == 0)
        s.at += 3;
    return read_header(t, &s, f) && read_rows(t, &s, f);
}

int table_column(const struct table *t, const char *name, size_t length)
{
    for (int c = 0; c < t->columns; c++)
        if (t->names[c].length == length && memcmp(t->names[c].text, name, length) == 0)
            return c;
    return -1;
}

double *table_numbers(const struct table *t, int column, struct fault *f)
{
    double *out = mem_zero((size_t)t->rows + 1, sizeof *out);
    if (!out)
        out_of_memory(f);
    for (int i = 0; out && i < t->rows; i++) {
        const struct cell *c = &t->cells[(size_t)i * (size_t)t->columns + (size_t)column], *name = &t->names[column];
        if (number_parse(c->text, c->length, &out[i]))
            continue;
        char field[64];
        snprintf(field, sizeof field, "%.*s", (int)name->length, name->text);
        if (c->length)
            fault_add(f, FAULT_UNACCEPTABLE, field, "not-a-number", "line %d: '%.*s' is not a number (a point as decimal sign, no units)",
                      t->line[i], (int)(c->length > 40 ? 40 : c->length), c->text);
        else
            fault_add(f, FAULT_UNACCEPTABLE, field, "not-a-number", "line %d: the cell is empty; leave such rows out of the file",
                      t->line[i]);
        mem_free(out);
        out = NULL;
    }
    return out;
}

/* ---- levels ---- */

void levels_free(struct levels *l)
{
    mem_free(l->first);
    mem_free(l->second);
    mem_free(l->index);
    *l = (struct levels){0};
}

static bool same(const struct cell *a, const struct cell *b)
{
    return a->length == b->length && memcmp(a->text, b->text, a->length) == 0;
}

static uint64_t hash(uint64_t h, const struct cell *c)
{
    for (size_t i = 0; i < c->length; i++)
        h = (h ^ (unsigned char)c->text[i]) * 0x100000001b3u;
    h = (h ^ 0xff) * 0x100000001b3u;
    return h ^ (h >> 29);
}

static size_t slot(const struct levels *l, const struct cell *a, const struct cell *b)
{
    size_t s = (size_t)hash(hash(0xcbf29ce484222325u, a), b) & (l->slots - 1);
    while (l->index[s] && !(same(&l->first[l->index[s] - 1], a) && same(&l->second[l->index[s] - 1], b)))
        s = (s + 1) & (l->slots - 1);
    return s;
}

static bool more_levels(struct levels *l)
{
    if (l->count < l->room)
        return true;
    int room = l->room ? l->room * 2 : 64;
    size_t slots = (size_t)room * 2;
    struct cell *first = mem_grow(l->first, (size_t)room, sizeof *first);
    if (first)
        l->first = first;
    struct cell *second = mem_grow(l->second, (size_t)room, sizeof *second);
    if (second)
        l->second = second;
    int *index = first && second ? mem_zero(slots, sizeof *index) : NULL;
    if (!index)
        return false;
    mem_free(l->index);
    l->index = index;
    l->slots = slots;
    l->room = room;
    for (int i = 0; i < l->count; i++)
        index[slot(l, &first[i], &second[i])] = i + 1;
    return true;
}

int *table_levels(const struct table *t, int column, int second_column, struct levels *l, bool grow, struct fault *f)
{
    static const struct cell none = {"", 0};
    int *out = mem_zero((size_t)t->rows + 1, sizeof *out);
    for (int i = 0; out && i < t->rows; i++) {
        const struct cell *row = &t->cells[(size_t)i * (size_t)t->columns], *a = &row[column],
                          *b = second_column < 0 ? &none : &row[second_column];
        if (!a->length || (second_column >= 0 && !b->length)) {
            const struct cell *name = &t->names[a->length ? second_column : column];
            char field[64];
            snprintf(field, sizeof field, "%.*s", (int)name->length, name->text);
            fault_add(f, FAULT_UNACCEPTABLE, field, "empty-cell", "line %d: the cell is empty; leave such rows out of the file",
                      t->line[i]);
            mem_free(out);
            return NULL;
        }
        if (grow && !more_levels(l))
            break;
        size_t s = slot(l, a, b);
        if (!l->index[s] && grow) {
            l->first[l->count] = *a;
            l->second[l->count] = *b;
            l->index[s] = ++l->count;
        }
        out[i] = l->index[s] - 1;
        if (i + 1 == t->rows)
            return out;
    }
    mem_free(out);
    out_of_memory(f);
    return NULL;
}
