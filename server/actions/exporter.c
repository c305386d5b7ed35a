/* SPDX-License-Identifier: GPL-3.0-or-later
 * See exporter.h. */
#include "exporter.h"

#include "../ground/buffer.h"
#include "../ground/secrets.h"
#include "../store/reader.h"
#include "../wire/csv.h"
#include "../wire/wire.h"

#include <string.h>

struct exporting {
    enum transfer_format format;
    export_sink sink;
    void *user;
    struct buffer line, row;
    struct sum sum;
    int64_t rows;
    bool failed;
    struct fault *fault;
};

bool transfer_format_from(const char *text, enum transfer_format *out)
{
    if (!text || !*text || !strcmp(text, "ndjson"))
        *out = FORMAT_NDJSON;
    else if (!strcmp(text, "csv"))
        *out = FORMAT_CSV;
    else
        return false;
    return true;
}

static bool send(struct exporting *e, const struct buffer *b, bool counted)
{
    if (b->failed)
        e->failed = !fault_add(e->fault, FAULT_MEMORY, "", "memory", "out of memory while exporting");
    else if (!e->sink(e->user, b->data ? b->data : "", b->length))
        e->failed = true;
    else if (counted)
        sum_add(&e->sum, b->data ? b->data : "", b->length);
    return !e->failed;
}

/* e->line holds one JSON object; sends it in the format asked for. */
static bool send_line(struct exporting *e, bool counted)
{
    if (e->format == FORMAT_NDJSON || e->line.failed) {
        buffer_char(&e->line, '\n');
        return send(e, &e->line, counted);
    }
    buffer_clear(&e->row);
    if (!csv_write_line(&e->row, e->line.data, e->line.length, e->fault)) {
        e->failed = true;
        return false;
    }
    return send(e, &e->row, counted);
}

static bool record(struct exporting *e)
{
    e->rows++;
    return send_line(e, true);
}

static bool deck_line(void *user, const struct deck *d, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_deck(&e->line, d, stamp, true);
    return record(e);
}

static bool stock_line(void *user, const struct stock *s, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_stock(&e->line, s, stamp, true);
    return record(e);
}

static bool service_line(void *user, const struct service *s, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_service(&e->line, s, stamp, true);
    return record(e);
}

static bool check_line(void *user, const struct deck_check *c, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_check(&e->line, c, stamp, true);
    return record(e);
}

static bool calibration_line(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_calibration(&e->line, c, stamp, true);
    return record(e);
}

static void end_line(struct exporting *e)
{
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    sum_finish(&e->sum, digest);
    buffer_clear(&e->line);
    buffer_format(&e->line, "{\"kind\":\"end\",\"rows\":%lld,\"sha256\":\"%s\"}", (long long)e->rows, digest_hex(digest, hex));
    send_line(e, false);
}

bool export_club(struct store *s, enum transfer_format format, export_sink sink, void *user, struct fault *f)
{
    struct exporting e = {.format = format, .sink = sink, .user = user, .fault = f};
    buffer_init(&e.line, LIMIT_LINE);
    buffer_init(&e.row, 2 * LIMIT_LINE);
    sum_start(&e.sum);
    if (format == FORMAT_CSV) {
        csv_write_header(&e.row);
        send(&e, &e.row, true);
    }
    struct calibration_filter all = {.since_us = CLOCK_NONE};
    struct reader *r = e.failed ? NULL : reader_take(s, f);
    bool ok = r && walk_decks(r, NULL, 0, deck_line, &e, f) != READ_FAILED && !e.failed && walk_stocks(r, NULL, 0, stock_line, &e, f) != READ_FAILED &&
              !e.failed && walk_services(r, NULL, service_line, &e, f) != READ_FAILED && !e.failed &&
              walk_checks(r, NULL, check_line, &e, f) != READ_FAILED && !e.failed &&
              walk_calibrations(r, &all, true, calibration_line, &e, f) != READ_FAILED && !e.failed;
    reader_give(r);
    if (ok)
        end_line(&e);
    buffer_free(&e.line);
    buffer_free(&e.row);
    if ((!ok || e.failed) && !fault_set(f))
        fault_add(f, FAULT_STORE, "", "export-stopped", "the export could not be written to its end; it has no end line");
    return ok && !e.failed;
}
