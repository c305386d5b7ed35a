/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/export and POST /api/import. Large replies and bodies live in unlinked files, never in memory.
 */
#include "actions.h"
#include "answer.h"
#include "exporter.h"
#include "importer.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- export ---- */

static int scratch_file(const struct house *house)
{
    char path[512];
    snprintf(path, sizeof path, "%s/biasbook-export-XXXXXX", house->scratch_dir ? house->scratch_dir : "/tmp");
    int fd = mkostemp(path, O_CLOEXEC);
    if (fd >= 0)
        unlink(path);
    return fd;
}

struct spool {
    int fd;
    char block[64 * 1024];
    size_t filled;
    int64_t size;
};

static bool write_all(int fd, const char *bytes, size_t n)
{
    while (n) {
        ssize_t put = write(fd, bytes, n);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return false;
        bytes += put;
        n -= (size_t)put;
    }
    return true;
}

static bool spool_flush(struct spool *s)
{
    bool fine = write_all(s->fd, s->block, s->filled);
    s->filled = 0;
    return fine;
}

static bool spool_sink(void *user, const char *bytes, size_t n)
{
    struct spool *s = user;
    s->size += (int64_t)n;
    if (s->filled + n > sizeof s->block && !spool_flush(s))
        return false;
    if (n >= sizeof s->block)
        return write_all(s->fd, bytes, n);
    memcpy(s->block + s->filled, bytes, n);
    s->filled += n;
    return true;
}

static bool read_export_options(const struct request *q, struct export_options *o, struct fault *f)
{
    static const char *const allowed[] = {"format", "exchange", "members", "deck", "stock", "since", NULL};
    o->since_us = CLOCK_NONE;
    bool fine = parameters_allowed(q, allowed, f);
    if (!transfer_format_from(request_parameter(q, "format"), &o->format))
        fine = fault_add(f, FAULT_UNACCEPTABLE, "format", "unknown-format", "the format is ndjson or csv");
    if (!export_members_from(request_parameter(q, "members"), &o->members))
        fine = fault_add(f, FAULT_UNACCEPTABLE, "members", "not-in-list", "members is names, pseudonyms or none");
    fine = parameter_flag(q, "exchange", &o->exchange, f) && fine;
    fine = parameter_time(q, "since", &o->since_us, f) && fine;
    o->deck = request_parameter(q, "deck");
    o->stock = request_parameter(q, "stock");
    return fine;
}

enum action_result action_export(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct export_options o = {.format = FORMAT_NDJSON};
    if (!read_export_options(&x->request, &o, &f))
        return answer_fault(x, &f);
    struct spool *s = arena_alloc(x->arena, sizeof *s);
    if (!s)
        return ACTION_DONE;
    s->fd = scratch_file(house);
    if (s->fd < 0) {
        fault_add(&f, FAULT_STORE, "", "scratch", "no scratch file could be made: %s", strerror(errno));
        return answer_fault(x, &f);
    }
    if (!export_club(house->store, &o, spool_sink, s, &f) || !spool_flush(s) || lseek(s->fd, 0, SEEK_SET)) {
        close(s->fd);
        if (!fault_set(&f))
            fault_add(&f, FAULT_STORE, "", "scratch", "the scratch file could not be written: the disk may be full");
        return answer_fault(x, &f);
    }
    x->reply.status = 200;
    x->reply.content_type = o.format == FORMAT_CSV ? "text/csv; charset=utf-8; header=present" : "application/x-ndjson";
    x->reply.file = s->fd;
    x->reply.file_size = s->size;
    snprintf(x->reply.file_name, sizeof x->reply.file_name, "club.%s", o.format == FORMAT_CSV ? "csv" : "ndjson");
    return ACTION_DONE;
}

/* ---- import ---- */

static bool import_options(struct house *house, const struct exchange *x, struct import_options *o, struct fault *f)
{
    static const char *const allowed[] = {"dry_run", "atomic", "separator", "decimal_comma", "on_conflict", "as", NULL};
    const struct request *q = &x->request;
    const char *separator = request_parameter(q, "separator");
    o->format = !strcmp(q->content_type, "text/csv") ? FORMAT_CSV : FORMAT_NDJSON;
    o->member = q->who.member;
    o->may_correct_others = house->open || q->who.role == ROLE_STEWARD;
    o->now_us = q->now_us;
    o->separator = ',';
    bool fine = parameters_allowed(q, allowed, f);
    fine = parameter_flag(q, "dry_run", &o->dry_run, f) && fine;
    fine = parameter_flag(q, "atomic", &o->atomic, f) && fine;
    fine = parameter_flag(q, "decimal_comma", &o->decimal_comma, f) && fine;
    if (!import_conflict_from(request_parameter(q, "on_conflict"), &o->on_conflict))
        fine = fault_add(f, FAULT_UNACCEPTABLE, "on_conflict", "not-in-list", "on_conflict is ask, keep or take");
    fine = import_as_read(request_parameter(q, "as"), &o->as, f) && fine;
    if (separator && strcmp(separator, ",") && strcmp(separator, ";") && strcmp(separator, "semicolon") && strcmp(separator, "comma"))
        fine = fault_add(f, FAULT_UNACCEPTABLE, "separator", "unknown-separator", "the separator is comma or semicolon");
    else if (separator && (separator[0] == ';' || separator[0] == 's'))
        o->separator = ';';
    return fine;
}

static bool feed_body(struct importer *i, const struct request *q, struct fault *f)
{
    if (q->body_fd < 0)
        return importer_feed(i, q->body ? q->body : "", q->body_length, f);
    char block[64 * 1024];
    for (;;) {
        ssize_t got = read(q->body_fd, block, sizeof block);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return fault_add(f, FAULT_STORE, "", "scratch", "the uploaded rows could not be read back: %s", strerror(errno));
        if (!got)
            return true;
        if (!importer_feed(i, block, (size_t)got, f))
            return false;
    }
}

enum action_result action_import(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct import_options options = {0};
    if (!import_options(house, x, &options, &f))
        return answer_fault(x, &f);
    struct importer *i = importer_new(house->store, &options, &f);
    if (!i || !feed_body(i, &x->request, &f) || !importer_finish(i, &f)) {
        importer_free(i);
        return answer_fault(x, &f);
    }
    struct import_counts counts;
    importer_counts(i, &counts);
    importer_report(i, json_body(x));
    importer_remember(i);
    importer_free(i);
    if (options.atomic && counts.refused) {
        x->reply.status = 422;
        x->reply.content_type = "application/problem+json";
    }
    return answer_json(x);
}
