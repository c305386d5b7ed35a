/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One line of NDJSON, each kind of record. */
#include "fuzz.h"

#include "wire/wire.h"

#include <string.h>

static void write_line(struct buffer *b, const struct line *l)
{
    switch (l->kind) {
    case LINE_DECK: wire_write_deck(b, &l->as.deck, NULL, true); break;
    case LINE_STOCK: wire_write_stock(b, &l->as.stock, NULL, true); break;
    case LINE_CALIBRATION: wire_write_calibration(b, &l->as.calibration, NULL, true); break;
    case LINE_SERVICE: wire_write_service(b, &l->as.service, NULL, true); break;
    case LINE_CHECK: wire_write_check(b, &l->as.check, NULL, true); break;
    case LINE_END: buffer_text(b, "end"); break;
    }
}

void fuzz_json(const uint8_t *bytes, size_t n)
{
    struct arena *a = arena_new(LIMIT_ARENA);
    struct line *one = calloc(1, sizeof *one), *two = calloc(1, sizeof *two);
    struct buffer first, second;
    struct fault f = {0};
    buffer_init(&first, LIMIT_LINE);
    buffer_init(&second, LIMIT_LINE);
    PROMISE(a && one && two);
    char *text = malloc(n + 1); /* of exactly this size, so that reading beyond is seen */
    PROMISE(text);
    memcpy(text, bytes, n);
    bool taken = wire_read_line(text, n, a, one, &f);
    PROMISE(taken != fault_set(&f));
    if (taken && one->kind != LINE_END) {
        write_line(&first, one);
        PROMISE(wire_read_line(first.data, first.length, a, two, &f));
        write_line(&second, two);
        PROMISE(first.length == second.length && !memcmp(first.data, second.data, first.length));
    }
    buffer_free(&first);
    buffer_free(&second);
    arena_free(a);
    free(text);
    free(one);
    free(two);
}
