/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a page posts when scripts are off. */
#include "fuzz.h"

#include "wire/form.h"

#include <string.h>

void fuzz_form(const uint8_t *bytes, size_t n)
{
    static const char *const others[] = {"made_at_offset", NULL};
    struct arena *a = arena_new(LIMIT_ARENA);
    struct form *form = calloc(1, sizeof *form);
    struct calibration *c = calloc(1, sizeof *c);
    struct fault f = {0};
    char *text = malloc(n + 1), *plain = malloc(n + 1);
    PROMISE(a && form && c && text && plain);
    memcpy(text, bytes, n);
    if (percent_decode(text, n, true, plain))
        PROMISE(strlen(plain) <= n);
    bool taken = form_read(text, n, a, form, &f);
    PROMISE(taken != fault_set(&f));
    if (taken) {
        PROMISE(form->count <= LIMIT_FORM_FIELDS);
        for (int i = 0; i < form->count; i++)
            PROMISE(form_value(form, form->fields[i].name) == form->fields[i].value);
        taken = wire_read_calibration_form(form, others, a, c, &f);
        PROMISE(taken != fault_set(&f));
        PROMISE(!taken || (c->move_count <= LIMIT_MOVES && c->proof_count <= LIMIT_PROOF));
    }
    arena_free(a);
    free(form);
    free(c);
    free(text);
    free(plain);
}
