/* SPDX-License-Identifier: GPL-3.0-or-later
 * See import_lines.h. */
#include "import_lines.h"

#include "../ground/memory.h"
#include "../wire/csv.h"
#include "../wire/wire.h"

#include <string.h>

struct import_lines {
    struct import_lines_to to;
    struct csv_reader *csv; /* NULL: NDJSON */
    char separator;
    bool decimal_comma;
    struct buffer partial; /* NDJSON line not yet complete */
    struct buffer json;    /* CSV record as JSON */
    long number;
    struct sum sum;
};

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while importing; what was accepted before stays");
}

struct import_lines *import_lines_new(enum transfer_format format, char separator, bool decimal_comma, const struct import_lines_to *to)
{
    struct import_lines *l = mem_zero(1, sizeof *l);
    if (!l)
        return NULL;
    l->to = *to;
    l->separator = separator ? separator : ',';
    l->decimal_comma = decimal_comma;
    buffer_init(&l->partial, LIMIT_LINE);
    buffer_init(&l->json, LIMIT_LINE);
    sum_start(&l->sum);
    if (format == FORMAT_CSV && !(l->csv = csv_reader_new(l->separator, decimal_comma))) {
        import_lines_free(l);
        return NULL;
    }
    return l;
}

void import_lines_free(struct import_lines *l)
{
    if (!l)
        return;
    csv_reader_free(l->csv);
    buffer_free(&l->partial);
    buffer_free(&l->json);
    mem_free(l);
}

void import_lines_digest(const struct import_lines *l, uint8_t digest[DIGEST_BYTES])
{
    struct sum copy = l->sum;
    sum_finish(&copy, digest);
}

/* ---- NDJSON ---- */

static bool whole_line(struct import_lines *l, const char *text, size_t n, struct fault *f)
{
    bool goes_on = true;
    l->number++;
    size_t mark =
        l->number == 1 && n >= 3 && !memcmp(text, "\xEF\xBB\xBF", 3) ? 3 : 0; /* some editors put a byte order mark before UTF-8 */
    size_t length = n && text[n - 1] == '\r' ? n - 1 : n;
    bool blank = true;
    for (size_t k = mark; k < length && blank; k++)
        blank = text[k] == ' ' || text[k] == '\t';
    if (l->partial.too_large) {
        struct fault why = {0};
        fault_add(&why, FAULT_UNACCEPTABLE, "", "line-too-long", "a line holds at most %d bytes", LIMIT_LINE);
        l->to.refused(l->to.user, l->number, &why);
    } else if (!blank) {
        goes_on = l->to.line(l->to.user, l->number, text + mark, length - mark, f);
    }
    sum_add(&l->sum, text, n);
    sum_add(&l->sum, "\n", 1);
    return goes_on;
}

/* The line that was gathered piece by piece. */
static bool gathered_line(struct import_lines *l, struct fault *f)
{
    bool fine = whole_line(l, l->partial.data ? l->partial.data : "", l->partial.length, f);
    buffer_clear(&l->partial);
    l->partial.too_large = false;
    return fine;
}

static bool feed_ndjson(struct import_lines *l, const char *bytes, size_t n, struct fault *f)
{
    while (n) {
        const char *end = memchr(bytes, '\n', n);
        size_t length = end ? (size_t)(end - bytes) : n;
        bool fine;
        if (!end) {
            buffer_add(&l->partial, bytes, length);
            return !l->partial.failed || l->partial.too_large || out_of_memory(f);
        }
        if (l->partial.length || l->partial.failed) {
            buffer_add(&l->partial, bytes, length);
            fine = gathered_line(l, f);
        } else {
            fine = whole_line(l, bytes, length, f);
        }
        if (!fine)
            return false;
        bytes += length + 1;
        n -= length + 1;
    }
    return true;
}

/* ---- CSV ---- */

static bool csv_record(struct import_lines *l, struct fault *f)
{
    struct fault why = {0};
    buffer_clear(&l->json);
    if (csv_record_json(l->csv, &l->json, &l->number, &why))
        return l->to.line(l->to.user, l->number, l->json.data, l->json.length, f);
    if (why.kind == FAULT_MEMORY || why.kind == FAULT_STORE || why.kind == FAULT_INTERNAL) {
        fault_merge(f, &why, "");
        return false;
    }
    l->to.refused(l->to.user, l->number, &why);
    return true;
}

static bool feed_csv(struct import_lines *l, const char *bytes, size_t n, bool last, struct fault *f)
{
    while (n || last) {
        size_t used = 0;
        enum csv_step step = csv_feed(l->csv, bytes, n, &used, f);
        if (step == CSV_FAILED)
            return false;
        if (step == CSV_RECORD && !csv_record(l, f))
            return false;
        sum_add(&l->sum, bytes, used); /* after the record, so that an end line is compared with what came before it */
        bytes += used;
        n -= used;
        if (step == CSV_MORE && !n)
            return true;
        if (last && step != CSV_RECORD)
            return true;
    }
    return true;
}

/* ---- both ---- */

bool import_lines_feed(struct import_lines *l, const char *bytes, size_t n, struct fault *f)
{
    return l->csv ? feed_csv(l, bytes, n, false, f) : feed_ndjson(l, bytes, n, f);
}

bool import_lines_end(struct import_lines *l, bool again, struct fault *f)
{
    bool fine = true;
    if (l->csv)
        fine = feed_csv(l, "", 0, true, f);
    else if (l->partial.length || l->partial.failed)
        fine = gathered_line(l, f);
    l->number = 0;
    sum_start(&l->sum);
    if (l->csv && fine && again) {
        csv_reader_free(l->csv);
        l->csv = csv_reader_new(l->separator, l->decimal_comma);
        if (!l->csv)
            return out_of_memory(f);
    }
    return fine;
}
