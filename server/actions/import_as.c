/* SPDX-License-Identifier: GPL-3.0-or-later
 * See import_as.h. */
#include "import_as.h"

#include "../ground/uuid.h"

#include <stdio.h>
#include <string.h>

static bool bad(struct fault *f, const char *part, size_t n)
{
    return fault_add(f, FAULT_UNACCEPTABLE, "as", "not-a-name", "'%.*s' is not deck:THEIRS=OURS or stock:THEIRS=OURS",
                     (int)(n < 150 ? n : 150), part);
}

/* One slug out of text[0..n); false when it is none. */
static bool take_slug(const char *text, size_t n, char out[LIMIT_SLUG + 1])
{
    if (!n || n > LIMIT_SLUG)
        return false;
    snprintf(out, LIMIT_SLUG + 1, "%.*s", (int)n, text);
    return slug_valid(out);
}

static bool one_name(const char *part, size_t n, struct import_as *out, struct fault *f)
{
    const char *colon = memchr(part, ':', n), *equals = memchr(part, '=', n);
    if (!colon || !equals || equals < colon)
        return bad(f, part, n);
    size_t kind = (size_t)(colon - part);
    bool is_deck = kind == 4 && !memcmp(part, "deck", 4);
    if (!is_deck && !(kind == 5 && !memcmp(part, "stock", 5)))
        return bad(f, part, n);
    if (out->count == IMPORT_AS_MOST)
        return fault_add(f, FAULT_UNACCEPTABLE, "as", "too-many", "at most %d names; for more change the ids in the file", IMPORT_AS_MOST);
    int at = out->count;
    if (!take_slug(colon + 1, (size_t)(equals - colon) - 1, out->names[at].theirs) ||
        !take_slug(equals + 1, (size_t)(part + n - equals) - 1, out->names[at].ours))
        return bad(f, part, n);
    for (int i = 0; i < at; i++)
        if (out->names[i].is_deck == is_deck && !strcmp(out->names[i].theirs, out->names[at].theirs))
            return fault_add(f, FAULT_UNACCEPTABLE, "as", "named-twice", "%s '%s' is named twice", is_deck ? "deck" : "stock",
                             out->names[at].theirs);
    out->names[at].is_deck = is_deck;
    out->names[at].rows = 0;
    out->count++;
    return true;
}

bool import_as_read(const char *text, struct import_as *out, struct fault *f)
{
    out->count = 0;
    while (text && *text) {
        size_t n = strcspn(text, ",");
        if (!one_name(text, n, out, f))
            return false;
        text += n + (text[n] == ',');
    }
    return true;
}

static void rename_one(struct import_as *as, bool is_deck, char id[LIMIT_SLUG + 1])
{
    for (int i = 0; i < as->count; i++)
        if (as->names[i].is_deck == is_deck && !strcmp(as->names[i].theirs, id)) {
            memcpy(id, as->names[i].ours, LIMIT_SLUG + 1);
            as->names[i].rows++;
            return;
        }
}

void import_as_apply(struct import_as *as, struct line *l)
{
    switch (l->kind) {
    case LINE_DECK: rename_one(as, true, l->as.deck.id); break;
    case LINE_STOCK: rename_one(as, false, l->as.stock.id); break;
    case LINE_SERVICE: rename_one(as, true, l->as.service.deck); break;
    case LINE_CHECK: rename_one(as, true, l->as.check.deck); break;
    case LINE_CALIBRATION:
        rename_one(as, true, l->as.calibration.deck);
        rename_one(as, false, l->as.calibration.stock);
        break;
    case LINE_END: break;
    }
}

void import_as_report(const struct import_as *as, struct buffer *b)
{
    for (int i = 0; i < as->count; i++)
        buffer_format(b, "%s\"%s:%s\":%ld", i ? "," : ",\"as\":{", as->names[i].is_deck ? "deck" : "stock", as->names[i].theirs,
                      as->names[i].rows);
    if (as->count)
        buffer_char(b, '}');
}
