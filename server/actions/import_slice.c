/* SPDX-License-Identifier: GPL-3.0-or-later
 * See import_slice.h. */
#include "import_slice.h"

#include <string.h>

bool import_slice_grow(struct import_slice *l, size_t capacity)
{
    struct held_row **rows = mem_grow(l->rows, capacity, sizeof(struct held_row *));
    if (rows) {
        memset(rows + l->capacity, 0, (capacity - l->capacity) * sizeof(struct held_row *));
        l->rows = rows;
    }
    struct write *writes = rows ? mem_grow(l->writes, capacity, sizeof *writes) : NULL;
    if (!writes)
        return false;
    l->writes = writes;
    l->capacity = capacity;
    return true;
}

bool import_slice_open(struct import_slice *l, bool atomic)
{
    *l = (struct import_slice){.arena = arena_new(atomic ? (size_t)LIMIT_HELD_ROWS * 4096 : (size_t)LIMIT_IMPORT_SLICE * LIMIT_LINE)};
    return l->arena && import_slice_grow(l, LIMIT_IMPORT_SLICE);
}

void import_slice_free(struct import_slice *l)
{
    if (l->written)
        store_apply_end(l->written, NULL);
    arena_free(l->arena);
    for (size_t k = 0; k < l->capacity && l->rows; k++)
        mem_free(l->rows[k]);
    mem_free(l->rows);
    mem_free(l->writes);
    *l = (struct import_slice){0};
}

struct held_row *import_slice_row(struct import_slice *l)
{
    if (!l->rows[l->count])
        l->rows[l->count] = mem_zero(1, sizeof **l->rows);
    return l->rows[l->count];
}

static void prepare(const struct import_options *options, struct held_row *h, struct write *w)
{
    struct line *l = &h->line;
    write_init(w);
    w->imported = true;
    w->member = options->member;
    w->may_correct_others = options->may_correct_others;
    w->revision = l->revision;
    w->origin = l->origin[0] ? l->origin : NULL;
    w->member_name = l->member[0] ? l->member : NULL;
    w->on_conflict = options->on_conflict;
    w->make_void = l->is_void;
    w->void_reason = l->is_void ? l->void_reason : NULL;
    w->user = h;
    switch (l->kind) {
    case LINE_DECK: w->kind = WRITE_DECK, w->deck = &l->as.deck; break;
    case LINE_STOCK: w->kind = WRITE_STOCK, w->stock = &l->as.stock; break;
    case LINE_CALIBRATION: w->kind = WRITE_CALIBRATION, w->calibration = &l->as.calibration; break;
    case LINE_SERVICE: w->kind = WRITE_SERVICE, w->service = &l->as.service; break;
    case LINE_CHECK: w->kind = WRITE_CHECK, w->check = &l->as.check; break;
    case LINE_END: break; /* never held */
    }
}

bool import_slice_begin(struct import_slice *l, struct store *s, const struct import_options *options, bool dry, struct fault *f)
{
    for (size_t k = 0; k < l->count; k++)
        prepare(options, l->rows[k], &l->writes[k]);
    l->written = store_apply_begin(s, l->writes, (int)l->count, options->atomic, dry, f);
    return l->written != NULL;
}

bool import_slice_end(struct import_slice *l, struct fault *f)
{
    struct store_slice *written = l->written;
    l->written = NULL;
    return store_apply_end(written, f);
}

void import_slice_empty(struct import_slice *l)
{
    l->count = 0;
    l->holds_named = false;
    arena_reset(l->arena);
}
