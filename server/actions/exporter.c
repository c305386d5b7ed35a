/* SPDX-License-Identifier: GPL-3.0-or-later
 * See exporter.h. */
#include "exporter.h"

#include "../ground/buffer.h"
#include "../ground/secrets.h"
#include "../store/reader.h"
#include "../wire/csv.h"
#include "../wire/wire.h"
#include "slugs.h"

#include <stdio.h>
#include <string.h>

struct exporting {
    enum transfer_format format;
    const struct export_options *options;
    bool selecting;
    struct slugs decks, stocks; /* those that selected rows name */
    char club_id[UUID_TEXT], secret[DIGEST_HEX];
    struct stamp stamp; /* of the line, with names as they go out */
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

bool export_members_from(const char *text, enum export_members *out)
{
    if (!text || !*text || !strcmp(text, "names"))
        *out = MEMBERS_NAMES;
    else if (!strcmp(text, "pseudonyms"))
        *out = MEMBERS_PSEUDONYMS;
    else if (!strcmp(text, "none"))
        *out = MEMBERS_NONE;
    else
        return false;
    return true;
}

/* ---- whose rows ---- */

/* BLAKE2b of secret, club and name, each closed by its NUL: without the secret a name cannot be tried. */
static void pseudonym(const struct exporting *e, const char *origin, char name[LIMIT_NAME + 1])
{
    char text[DIGEST_HEX + LIMIT_SLUG + 1 + LIMIT_NAME + 1];
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    size_t n = 0;
    const char *const parts[] = {e->secret, origin, name};
    for (int i = 0; i < 3; i++) {
        size_t length = strlen(parts[i]) + 1;
        memcpy(text + n, parts[i], length);
        n += length;
    }
    digest_of(text, n, digest);
    snprintf(name, LIMIT_NAME + 1, "member-%.12s", digest_hex(digest, hex));
}

static const struct stamp *outgoing(struct exporting *e, const struct stamp *stamp)
{
    const struct export_options *o = e->options;
    if (!o->exchange && o->members == MEMBERS_NAMES)
        return stamp;
    e->stamp = *stamp;
    struct stamp *s = &e->stamp;
    if (o->exchange && !*s->origin)
        snprintf(s->origin, sizeof s->origin, "%s", e->club_id);
    if (o->members == MEMBERS_NONE)
        s->member[0] = '\0';
    else if (o->members == MEMBERS_PSEUDONYMS && *s->member)
        pseudonym(e, *s->origin ? s->origin : e->club_id, s->member);
    return s;
}

/* ---- lines ---- */

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
    if (e->selecting && !slugs_have(&e->decks, d->id))
        return true;
    buffer_clear(&e->line);
    wire_write_deck(&e->line, d, outgoing(e, stamp), true);
    return record(e);
}

static bool stock_line(void *user, const struct stock *s, const struct stamp *stamp)
{
    struct exporting *e = user;
    if (e->selecting && !slugs_have(&e->stocks, s->id))
        return true;
    buffer_clear(&e->line);
    wire_write_stock(&e->line, s, outgoing(e, stamp), true);
    return record(e);
}

static bool service_line(void *user, const struct service *s, const struct stamp *stamp)
{
    struct exporting *e = user;
    if (e->selecting && !slugs_have(&e->decks, s->deck))
        return true;
    buffer_clear(&e->line);
    wire_write_service(&e->line, s, outgoing(e, stamp), true);
    return record(e);
}

static bool check_line(void *user, const struct deck_check *c, const struct stamp *stamp)
{
    struct exporting *e = user;
    if (e->selecting && !slugs_have(&e->decks, c->deck))
        return true;
    buffer_clear(&e->line);
    wire_write_check(&e->line, c, outgoing(e, stamp), true);
    return record(e);
}

static bool calibration_line(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct exporting *e = user;
    buffer_clear(&e->line);
    wire_write_calibration(&e->line, c, outgoing(e, stamp), true);
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

/* ---- the selection ---- */

static bool note_names(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct exporting *e = user;
    (void)stamp;
    e->failed = !slugs_add(&e->decks, c->deck) || !slugs_add(&e->stocks, c->stock);
    return !e->failed;
}

static bool known_or_404(struct exporting *e, struct reader *r)
{
    const struct export_options *o = e->options;
    struct arena *a = arena_new(LIMIT_ARENA);
    struct line *l = a ? arena_alloc(a, sizeof *l) : NULL;
    struct stamp stamp;
    enum read_result deck = READ_OK, stock = READ_OK;
    if (l && o->deck)
        deck = read_deck(r, o->deck, a, &l->as.deck, &stamp, e->fault);
    if (l && o->stock)
        stock = read_stock(r, o->stock, a, &l->as.stock, &stamp, e->fault);
    arena_free(a);
    if (!l)
        return fault_add(e->fault, FAULT_MEMORY, "", "memory", "out of memory while exporting");
    if (deck == READ_NONE)
        fault_add(e->fault, FAULT_UNKNOWN, "deck", "unknown-deck", "the club has no deck '%.64s'", o->deck);
    if (stock == READ_NONE)
        fault_add(e->fault, FAULT_UNKNOWN, "stock", "unknown-stock", "the club has no stock '%.64s'", o->stock);
    return deck == READ_OK && stock == READ_OK;
}

static bool select_names(struct exporting *e, struct reader *r, const struct calibration_filter *wanted)
{
    const struct export_options *o = e->options;
    e->selecting = o->deck || o->stock || o->since_us != CLOCK_NONE;
    if (!e->selecting)
        return true;
    if (!known_or_404(e, r) || walk_calibrations(r, wanted, false, note_names, e, e->fault) != READ_OK)
        return false;
    bool fine = !e->failed && (!o->deck || slugs_add(&e->decks, o->deck)) && (!o->stock || slugs_add(&e->stocks, o->stock));
    return fine || fault_add(e->fault, FAULT_MEMORY, "", "memory", "out of memory while exporting");
}

static bool read_names(struct exporting *e, struct reader *r)
{
    return read_fact(r, "club_id", e->club_id, sizeof e->club_id, e->fault) == READ_OK &&
           read_fact(r, "pseudonym_key", e->secret, sizeof e->secret, e->fault) == READ_OK;
}

bool export_club(struct store *s, const struct export_options *options, export_sink sink, void *user, struct fault *f)
{
    struct exporting e = {.format = options->format, .options = options, .sink = sink, .user = user, .fault = f};
    buffer_init(&e.line, LIMIT_LINE);
    buffer_init(&e.row, 2 * LIMIT_LINE);
    sum_start(&e.sum);
    struct calibration_filter wanted = {.since_us = options->since_us, .deck = options->deck, .stock = options->stock};
    struct reader *r = reader_take(s, f);
    bool ok = r && read_names(&e, r) && select_names(&e, r, &wanted);
    if (ok && options->format == FORMAT_CSV) {
        csv_write_header(&e.row);
        ok = send(&e, &e.row, true);
    }
    ok = ok && walk_decks(r, NULL, 0, deck_line, &e, f) != READ_FAILED && !e.failed &&
         walk_stocks(r, NULL, 0, stock_line, &e, f) != READ_FAILED && !e.failed &&
         walk_services(r, options->deck, service_line, &e, f) != READ_FAILED && !e.failed &&
         walk_checks(r, options->deck, check_line, &e, f) != READ_FAILED && !e.failed &&
         walk_calibrations(r, &wanted, true, calibration_line, &e, f) != READ_FAILED && !e.failed;
    reader_give(r);
    if (ok)
        end_line(&e);
    buffer_free(&e.line);
    buffer_free(&e.row);
    slugs_free(&e.decks);
    slugs_free(&e.stocks);
    if ((!ok || e.failed) && !fault_set(f))
        fault_add(f, FAULT_STORE, "", "export-stopped", "the export could not be written to its end; it has no end line");
    return ok && !e.failed;
}
