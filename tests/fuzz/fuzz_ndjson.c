/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A whole file of an import, rehearsed in a small club: lines, line ends, end marks and records together. What comes of it does not depend on how the bytes are
 * divided. The first byte says how they are, and whether all or none shall go in. */
#include "fuzz.h"

#include "actions/importer.h"
#include "club.h"

#include <string.h>

static struct store *club;

static void end_club(void)
{
    store_close(club);
}

static void imported(const char *text, size_t n, size_t piece, bool atomic, struct buffer *report)
{
    struct fault f = {0};
    struct import_counts c;
    struct importer *i = importer_new(club, &(struct import_options){.dry_run = true, .atomic = atomic, .now_us = 1800000000000000}, &f);
    PROMISE(i);
    for (size_t at = 0; at < n; at += piece)
        PROMISE(importer_feed(i, text + at, n - at < piece ? n - at : piece, &f));
    PROMISE(importer_finish(i, &f));
    importer_counts(i, &c);
    PROMISE(c.accepted >= 0 && c.same >= 0 && c.refused >= 0 && c.accepted + c.same + c.refused <= (int64_t)n);
    importer_report(i, report);
    importer_free(i);
}

void fuzz_ndjson(const uint8_t *bytes, size_t n)
{
    struct buffer whole, divided;
    char path[100];
    if (n < 2)
        return;
    if (!club) {
        club = fuzz_club("ndjson.db", path, sizeof path);
        atexit(end_club);
    }
    buffer_init(&whole, LIMIT_REPLY);
    buffer_init(&divided, LIMIT_REPLY);
    imported((const char *)bytes + 1, n - 1, n - 1, bytes[0] & 1, &whole);
    imported((const char *)bytes + 1, n - 1, 1 + (bytes[0] >> 1), bytes[0] & 1, &divided);
    PROMISE(whole.length && whole.length == divided.length && !memcmp(whole.data, divided.data, whole.length));
    buffer_free(&whole);
    buffer_free(&divided);
}
