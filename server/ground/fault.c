/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Collects what went wrong. Nothing here allocates, so it also works when memory is out.
 */
#include "fault.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

/* Copies what fits and ends on a whole UTF-8 character, so that a cut text is still valid. */
static void copy_cut(char *to, size_t room, const char *from)
{
    size_t n = strlen(from);
    if (n >= room) {
        n = room - 1;
        while (n > 0 && ((unsigned char)from[n] & 0xC0) == 0x80)
            n--;
    }
    memcpy(to, from, n);
    to[n] = '\0';
}

void fault_clear(struct fault *f)
{
    if (!f)
        return;
    f->kind = FAULT_NONE;
    f->count = 0;
}

bool(fault_add)(struct fault *f, enum fault_kind kind, const char *field, const char *code, const char *format, ...)
{
    if (!f)
        return false;
    if (f->kind == FAULT_NONE)
        f->kind = kind;
    if (f->count >= LIMIT_FAULTS)
        return false;
    struct fault_item *item = &f->items[f->count++];
    char text[2 * sizeof item->detail];
    va_list ap;
    va_start(ap, format);
    if (vsnprintf(text, sizeof text, format, ap) < 0)
        text[0] = '\0';
    va_end(ap);
    copy_cut(item->field, sizeof item->field, field ? field : "");
    copy_cut(item->code, sizeof item->code, code ? code : "");
    copy_cut(item->detail, sizeof item->detail, text);
    return false;
}

const char *fault_text(const struct fault *f, char *out, unsigned long size)
{
    if (size == 0)
        return out;
    out[0] = '\0';
    if (!f || f->count == 0)
        return out;
    const struct fault_item *item = &f->items[0];
    char text[sizeof item->field + sizeof item->detail + 2];
    snprintf(text, sizeof text, "%s%s%s", item->field, item->field[0] ? ": " : "", item->detail);
    copy_cut(out, size, text);
    return out;
}

void fault_merge(struct fault *to, const struct fault *from, const char *prefix)
{
    if (!to || !from || from->kind == FAULT_NONE)
        return;
    if (to->kind == FAULT_NONE)
        to->kind = from->kind;
    for (int i = 0; i < from->count; i++) {
        const struct fault_item *item = &from->items[i];
        char field[2 * sizeof item->field];
        snprintf(field, sizeof field, "%s%s", prefix ? prefix : "", item->field);
        fault_add(to, from->kind, field, item->code, "%s", item->detail);
    }
}
