/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See importer.h. Rows are decoded into one slice while the store writes the other (import_slice.h); rows may name decks and stocks that came before them.
 */
#include "importer.h"

#include "../ground/memory.h"
#include "../store/backup.h"
#include "../store/people.h"
#include "../store/writer.h"
#include "../trade/check.h"
#include "../wire/wire.h"
#include "import_lines.h"
#include "import_names.h"
#include "import_slice.h"
#include "place.h"
#include "slugs.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#define FIRST_SLICE 128

struct import_error {
    long line;
    char file[LIMIT_NAME + 1];
    struct fault_item item;
};

struct kind_counts {
    int64_t accepted, same, refused;
};

struct importer {
    struct store *store; /* the club's, or of a dry run a private copy of it */
    struct store *rehearsal;
    struct import_options options;
    struct import_lines *lines;
    struct import_slice slices[2], *slice; /* one is filled while the store has the other */
    bool written;                          /* it has */
    size_t enough;                         /* rows of the next slice: the first ones are small, so that the store begins soon */
    struct import_names *names;            /* decks and stocks, known or seen in this file */
    char file[LIMIT_NAME + 1];
    long line_number;
    int64_t rows_seen, end_rows;
    bool ended, complete, incomplete; /* this file's end line came; one agreed; a file had none or it differed */
    int64_t latest_us;
    struct import_counts counts;
    struct kind_counts kinds[LINE_END];
    char club_id[UUID_TEXT];
    struct slugs open_decks, open_stocks; /* of other content than ours, and nobody has said what to do */
    struct import_error *errors;
    size_t error_count;
};

/* ---- making and freeing ---- */

void importer_free(struct importer *i)
{
    if (!i)
        return;
    import_lines_free(i->lines);
    for (int k = 0; k < 2; k++)
        import_slice_free(&i->slices[k]);
    import_names_free(i->names);
    slugs_free(&i->open_decks);
    slugs_free(&i->open_stocks);
    mem_free(i->errors);
    store_close(i->rehearsal);
    mem_free(i);
}

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while importing; what was accepted before stays");
}

bool import_conflict_from(const char *text, enum write_conflict *out)
{
    if (!text || !*text || !strcmp(text, "ask"))
        *out = CONFLICT_ASK;
    else if (!strcmp(text, "keep"))
        *out = CONFLICT_KEEP;
    else if (!strcmp(text, "take"))
        *out = CONFLICT_TAKE;
    else
        return false;
    return true;
}

static bool one_line(void *importer, long number, const char *json, size_t n, struct fault *f);
static void spoilt_line(void *importer, long number, const struct fault *why);

static bool read_club_id(struct importer *i, struct fault *f)
{
    struct reader *r = reader_take(i->store, f);
    bool ok = r && read_fact(r, "club_id", i->club_id, sizeof i->club_id, f) == READ_OK;
    reader_give(r);
    return ok;
}

struct importer *importer_new(struct store *s, const struct import_options *options, struct fault *f)
{
    struct importer *i = mem_zero(1, sizeof *i);
    if (!i) {
        out_of_memory(f);
        return NULL;
    }
    i->store = s;
    i->options = *options;
    bool room = import_slice_open(&i->slices[0], options->atomic) && (options->atomic || import_slice_open(&i->slices[1], false));
    i->slice = &i->slices[0];
    i->enough = FIRST_SLICE;
    i->names = import_names_new();
    i->errors = mem_zero(LIMIT_IMPORT_ERRORS, sizeof *i->errors);
    struct import_lines_to to = {.line = one_line, .refused = spoilt_line, .user = i};
    i->lines = import_lines_new(options->format, options->separator, options->decimal_comma, &to);
    int64_t last = store_last_commit_us(s);
    i->latest_us = last != CLOCK_NONE && last > options->now_us ? last : options->now_us;
    i->counts.seq = store_last_seq(s);
    if (!room || !i->names || !i->errors || !i->lines) {
        out_of_memory(f);
        importer_free(i);
        return NULL;
    }
    if (!read_club_id(i, f) || (options->dry_run && !(i->rehearsal = store_rehearsal(s, f)))) {
        importer_free(i);
        return NULL;
    }
    if (i->rehearsal)
        i->store = i->rehearsal;
    return i;
}

/* ---- errors ---- */

static void refuse(struct importer *i, long line, const struct fault *f)
{
    i->counts.refused++;
    for (int k = 0; k < f->count && i->error_count < LIMIT_IMPORT_ERRORS; k++) {
        struct import_error *e = &i->errors[i->error_count++];
        e->line = line;
        e->item = f->items[k];
        snprintf(e->file, sizeof e->file, "%s", i->file);
    }
}

/* ---- what became of a slice ---- */

/* Memory, the disk, a file that another process holds: no row's fault, and it ends the import. What is wrong with a row is listed. */
static bool machine_failed(const struct fault *f)
{
    return f->kind == FAULT_MEMORY || f->kind == FAULT_STORE || f->kind == FAULT_BUSY;
}

/* The file's deck or stock did not come in: what follows is read by the one that stands here, and another club's rows of it wait for a decision. */
static bool ours_stands(struct importer *i, const struct held_row *h, const struct write *w, struct fault *f)
{
    const struct line *l = &h->line;
    bool deck = l->kind == LINE_DECK;
    if (!deck && l->kind != LINE_STOCK)
        return true;
    const char *id = deck ? l->as.deck.id : l->as.stock.id;
    bool asked = w->outcome == WRITE_REFUSED && w->fault.count && !strcmp(w->fault.items[0].code, "other-content");
    if (asked && !slugs_add(deck ? &i->open_decks : &i->open_stocks, id))
        return out_of_memory(f);
    return import_names_refresh(i->names, i->store, deck, id, f);
}

/* Counts and lists; `dry`: nothing of it is kept. False when the import cannot go on. */
static bool take_outcomes(struct importer *i, const struct import_slice *l, bool dry, int64_t *refused, struct fault *f)
{
    for (size_t k = 0; k < l->count; k++) {
        const struct write *w = &l->writes[k];
        const struct held_row *h = l->rows[k];
        struct kind_counts *kind = &i->kinds[h->line.kind];
        if (w->outcome == WRITE_REFUSED && machine_failed(&w->fault)) {
            fault_merge(f, &w->fault, "");
            return false;
        }
        if (w->outcome == WRITE_REFUSED)
            ++*refused, kind->refused++, refuse(i, h->number, &w->fault);
        else if (w->outcome == WRITE_SAME)
            i->counts.same++, i->counts.kept += w->kept, kind->same++;
        else if (w->outcome == WRITE_CREATED || w->outcome == WRITE_REVISED)
            i->counts.accepted++, kind->accepted++;
        if (w->outcome != WRITE_REFUSED && w->stamp.seq > i->counts.seq && !dry && !i->rehearsal)
            i->counts.seq = w->stamp.seq;
        if ((w->outcome == WRITE_REFUSED || w->kept) && !ours_stands(i, h, w, f))
            return false;
    }
    return true;
}

/* Waits for what the store has of this slice. */
static bool settle(struct importer *i, struct import_slice *l, bool dry, struct fault *f)
{
    struct fault why = {0};
    int64_t refused = 0;
    bool ok = import_slice_end(l, &why), fine = take_outcomes(i, l, dry, &refused, f);
    if (fine && !ok && !refused) { /* not a row's fault */
        fault_merge(f, &why, "");
        fine = fault_set(f) ? false : fault_add(f, FAULT_STORE, "", "store", "the club's file could not be written");
    }
    import_slice_empty(l);
    return fine;
}

static struct import_slice *other_slice(struct importer *i)
{
    return &i->slices[i->slice == &i->slices[0]];
}

/* What the store still has. */
static bool settle_other(struct importer *i, struct fault *f)
{
    bool had = i->written;
    i->written = false;
    return !had || settle(i, other_slice(i), false, f);
}

/* Everything that was held is in the store. */
static bool flush(struct importer *i, struct fault *f)
{
    if (!settle_other(i, f))
        return false;
    if (!i->slice->count)
        return true;
    bool atomic = i->options.atomic;
    /* With atomic, a row already refused while decoding means that nothing may go in: find out the rest, then undo. */
    bool dry = atomic && i->counts.refused;
    return import_slice_begin(i->slice, i->store, &i->options, dry, f) && settle(i, i->slice, dry, f);
}

/* The slice is full. Rows that name decks and stocks do not change how later lines are read, so that the next ones are decoded while these are written. */
static bool hand_over(struct importer *i, struct fault *f)
{
    if (i->slice->holds_named)
        return flush(i, f);
    if (!settle_other(i, f) || !import_slice_begin(i->slice, i->store, &i->options, false, f))
        return false;
    i->written = true;
    i->slice = other_slice(i);
    return true;
}

/* ---- one line ---- */

static bool is_foreign(const struct importer *i, const struct line *l)
{
    return l->origin[0] && strcmp(l->origin, i->club_id) != 0;
}

/* Dial readings mean nothing under another deck's dials: first it has to be said whether these are the same. */
static bool check_settled(const struct importer *i, const struct line *l, struct fault *f)
{
    const char *deck = l->kind == LINE_CALIBRATION ? l->as.calibration.deck
                       : l->kind == LINE_SERVICE   ? l->as.service.deck
                       : l->kind == LINE_CHECK     ? l->as.check.deck
                                                   : NULL;
    if (!is_foreign(i, l) || !deck)
        return true;
    if (slugs_have(&i->open_decks, deck))
        return fault_add(f, FAULT_CONFLICT, "deck", "not-settled",
                         "whether deck '%.64s' is the one we have under this id is not settled: say on_conflict keep (ours) or take "
                         "(theirs), or give theirs another id with as",
                         deck);
    if (l->kind == LINE_CALIBRATION && slugs_have(&i->open_stocks, l->as.calibration.stock))
        return fault_add(f, FAULT_CONFLICT, "stock", "not-settled",
                         "whether stock '%.64s' is the one we have under this id is not settled: say on_conflict keep (ours) or take "
                         "(theirs), or give theirs another id with as",
                         l->as.calibration.stock);
    return true;
}

static bool check_line(struct importer *i, struct line *l, struct fault *f)
{
    switch (l->kind) {
    case LINE_DECK: return check_deck(&l->as.deck, f);
    case LINE_STOCK: return check_stock(&l->as.stock, f);
    case LINE_CALIBRATION: {
        struct calibration *c = &l->as.calibration;
        return calibration_complete(c, import_names_deck(i->names, i->store, c->deck, f),
                                    import_names_stock(i->names, i->store, c->stock, f), i->latest_us, f);
    }
    case LINE_SERVICE: return check_service(&l->as.service, import_names_deck(i->names, i->store, l->as.service.deck, f), i->latest_us, f);
    case LINE_CHECK: return check_deck_check(&l->as.check, import_names_deck(i->names, i->store, l->as.check.deck, f), i->latest_us, f);
    case LINE_END: break;
    }
    return true;
}

/* A deck or stock that is there and stays whatever the file says. */
static bool keeps_ours(struct importer *i, const struct line *l, struct fault *f)
{
    if (i->options.on_conflict != CONFLICT_KEEP)
        return false;
    return l->kind == LINE_DECK ? import_names_deck(i->names, i->store, l->as.deck.id, f) != NULL
                                : import_names_stock(i->names, i->store, l->as.stock.id, f) != NULL;
}

static void check_end(struct importer *i, const struct line *l)
{
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    struct fault f = {0};
    import_lines_digest(i->lines, digest);
    i->ended = true;
    if (l->end_rows != i->rows_seen)
        fault_add(&f, FAULT_UNACCEPTABLE, "rows", "rows-differ", "the end line counts %lld rows, %lld came: the file is not complete",
                  (long long)l->end_rows, (long long)i->rows_seen);
    if (strcasecmp(l->end_sha256, digest_hex(digest, hex)))
        fault_add(&f, FAULT_UNACCEPTABLE, "sha256", "sum-differs", "the bytes before the end line are not those that were exported");
    i->complete = i->complete || !fault_set(&f);
    i->incomplete = i->incomplete || fault_set(&f);
    if (fault_set(&f))
        refuse(i, i->line_number, &f);
}

static bool take_row(struct importer *i, const char *json, size_t n, struct fault *f)
{
    struct fault why;
    fault_clear(&why);
    struct held_row *h = import_slice_row(i->slice);
    if (!h)
        return out_of_memory(f);
    h->number = i->line_number;
    if (i->ended) {
        fault_add(&why, FAULT_UNACCEPTABLE, "kind", "after-end", "nothing may follow the end line");
        refuse(i, i->line_number, &why);
        return true;
    }
    bool fine = wire_read_line(json, n, i->slice->arena, &h->line, &why);
    if (fine && h->line.kind == LINE_END) {
        check_end(i, &h->line);
        return true;
    }
    bool names_end = fine && h->line.kind != LINE_DECK && h->line.kind != LINE_STOCK;
    if (names_end && i->slice->holds_named &&
        !i->options.atomic) /* so that rows are read by what came of the decks and stocks before them */
        return flush(i, f) && take_row(i, json, n, f);
    i->rows_seen++;
    if (fine) /* all lines: a file calls each thing by one name, whoever's the row is */
        import_as_apply(&i->options.as, &h->line);
    bool decoded = fine, named = fine && (h->line.kind == LINE_DECK || h->line.kind == LINE_STOCK);
    fine = fine && check_settled(i, &h->line, &why) && check_line(i, &h->line, &why);
    if (fine && named && !keeps_ours(i, &h->line, &why) && !import_names_add(i->names, &h->line))
        return out_of_memory(f);
    if (!fine) {
        if (decoded)
            i->kinds[h->line.kind].refused++;
        if (machine_failed(&why) || why.kind == FAULT_INTERNAL) {
            fault_merge(f, &why, "");
            return false;
        }
        refuse(i, i->line_number, &why);
        return true;
    }
    i->slice->count++;
    i->slice->holds_named = i->slice->holds_named || named;
    return true;
}

static bool one_line(void *importer, long number, const char *json, size_t n, struct fault *f)
{
    struct importer *i = importer;
    i->line_number = number;
    struct import_slice *l = i->slice;
    if (l->count >= i->enough && !i->options.atomic) {
        if (!hand_over(i, f))
            return false;
        i->enough = i->enough * 2 < LIMIT_IMPORT_SLICE ? i->enough * 2 : LIMIT_IMPORT_SLICE;
    } else if (l->count == l->capacity) {
        if (l->capacity >= LIMIT_HELD_ROWS)
            return fault_add(f, FAULT_TOO_LARGE, "", "too-many-rows",
                             "an atomic import takes at most %d rows; split the file, or find out with a dry run that nothing is refused",
                             LIMIT_HELD_ROWS);
        if (!import_slice_grow(l, l->capacity * 2 < LIMIT_HELD_ROWS ? l->capacity * 2 : LIMIT_HELD_ROWS))
            return out_of_memory(f);
    }
    return take_row(i, json, n, f);
}

static void spoilt_line(void *importer, long number, const struct fault *why)
{
    struct importer *i = importer;
    i->line_number = number;
    i->rows_seen++;
    refuse(i, number, why);
}

bool importer_feed(struct importer *i, const char *bytes, size_t n, struct fault *f)
{
    return import_lines_feed(i->lines, bytes, n, f);
}

bool importer_next_file(struct importer *i, const char *name, struct fault *f)
{
    bool fine = import_lines_end(i->lines, name != NULL, f);
    snprintf(i->file, sizeof i->file, "%.*s", LIMIT_NAME, name ? name : "");
    i->incomplete = i->incomplete || (i->rows_seen && !i->ended);
    i->line_number = 0;
    i->rows_seen = 0;
    i->ended = false;
    return fine;
}

bool importer_finish(struct importer *i, struct fault *f)
{
    if (!importer_next_file(i, NULL, f) || !flush(i, f))
        return false;
    if (i->options.atomic && i->counts.refused) { /* all or none: it was none */
        i->counts.accepted = 0;
        for (int k = 0; k < LINE_END; k++)
            i->kinds[k].accepted = 0;
    }
    return true;
}
/* ---- report ---- */

void importer_counts(const struct importer *i, struct import_counts *out)
{
    *out = i->counts;
}

static void write_kinds(const struct importer *i, struct buffer *b)
{
    static const char *const names[LINE_END] = {"deck", "stock", "calibration", "service", "check"};
    bool first = true;
    for (int k = 0; k < LINE_END; k++) {
        const struct kind_counts *c = &i->kinds[k];
        if (c->accepted + c->same + c->refused == 0)
            continue;
        buffer_format(b, "%s\"%s\":{\"accepted\":%lld,\"same\":%lld,\"refused\":%lld}", first ? "" : ",", names[k], (long long)c->accepted,
                      (long long)c->same, (long long)c->refused);
        first = false;
    }
}

void importer_report(const struct importer *i, struct buffer *b)
{
    buffer_char(b, '{');
    if (i->options.atomic && i->counts.refused)
        buffer_text(b, "\"type\":\"about:blank\",\"title\":\"Unprocessable Content\",\"status\":422,"
                       "\"detail\":\"nothing was imported: with atomic, one refused row keeps all out\",");
    buffer_format(b, "\"accepted\":%lld,\"same\":%lld,\"refused\":%lld,\"seq\":%lld,\"errors\":[", (long long)i->counts.accepted,
                  (long long)i->counts.same, (long long)i->counts.refused, (long long)i->counts.seq);
    for (size_t k = 0; k < i->error_count; k++) {
        const struct import_error *e = &i->errors[k];
        buffer_format(b, "%s{\"line\":%ld", k ? ",\n" : "\n", e->line);
        if (e->file[0])
            json_name(b, "file"), json_text(b, e->file);
        json_name(b, "field"), json_text(b, e->item.field);
        json_name(b, "code"), json_text(b, e->item.code);
        json_name(b, "detail"), json_text(b, e->item.detail);
        buffer_char(b, '}');
    }
    buffer_text(b, "],\"kinds\":{");
    write_kinds(i, b);
    buffer_char(b, '}');
    import_as_report(&i->options.as, b);
    buffer_format(b, ",\"kept\":%lld,\"complete\":%s%s%s}\n", (long long)i->counts.kept, i->complete && !i->incomplete ? "true" : "false",
                  i->options.dry_run ? ",\"dry_run\":true" : "", i->options.atomic ? ",\"atomic\":true" : "");
}

void importer_remember(const struct importer *i)
{
    char detail[200];
    if (i->rehearsal || !i->counts.accepted)
        return;
    snprintf(detail, sizeof detail, "%lld rows taken, %lld there already, %lld refused%s", (long long)i->counts.accepted,
             (long long)i->counts.same, (long long)i->counts.refused, i->complete && !i->incomplete ? ", complete by its end line" : "");
    store_event_add(i->store, i->options.member, "import", "", detail, NULL);
}
