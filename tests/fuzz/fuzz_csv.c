/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A CSV file: the first byte says how it is divided and which separator and decimals it has. */
#include "fuzz.h"

#include "wire/csv.h"
#include "wire/wire.h"

#include <string.h>

/* All records as text, in pieces of `piece` bytes. */
static void read_all(const char *text, size_t n, size_t piece, char separator, bool comma, struct buffer *out)
{
    struct csv_reader *r = csv_reader_new(separator, comma);
    struct buffer json;
    struct fault f = {0};
    PROMISE(r);
    buffer_init(&json, LIMIT_LINE);
    size_t at = 0;
    for (bool last = false;;) {
        size_t used = 0, size = n - at < piece ? n - at : piece;
        last = size == 0;
        enum csv_step step = csv_feed(r, text + at, size, &used, &f);
        PROMISE(used <= size);
        at += used;
        if (step == CSV_FAILED) {
            buffer_text(out, "failed\n");
            break;
        }
        if (step == CSV_RECORD) {
            struct fault why = {0};
            long line = 0;
            buffer_clear(&json);
            bool fine = csv_record_json(r, &json, &line, &why);
            PROMISE(fine != fault_set(&why));
            buffer_format(out, "%ld ", line);
            if (fine)
                buffer_add(out, json.data, json.length);
            buffer_text(out, fine ? "\n" : "refused\n");
        } else if (last) {
            break;
        }
    }
    buffer_free(&json);
    csv_reader_free(r);
}

void fuzz_csv(const uint8_t *bytes, size_t n)
{
    struct buffer whole, divided;
    if (n == 0)
        return;
    char separator = bytes[0] & 1 ? ';' : ',';
    bool comma = bytes[0] & 2;
    size_t piece = 1 + (bytes[0] >> 2) % 13;
    buffer_init(&whole, 16 * LIMIT_LINE);
    buffer_init(&divided, 16 * LIMIT_LINE);
    read_all((const char *)bytes + 1, n - 1, n, separator, comma, &whole);
    read_all((const char *)bytes + 1, n - 1, piece, separator, comma, &divided);
    PROMISE(whole.length == divided.length && (!whole.length || !memcmp(whole.data, divided.data, whole.length)));
    buffer_free(&whole);
    buffer_free(&divided);
}
