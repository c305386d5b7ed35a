/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Calibrations: log one, correct one, read one, list them page by page, void one.
 */
#include "actions.h"
#include "answer.h"
#include "place.h"

#include "../trade/check.h"
#include "../trade/spool.h"
#include "../wire/form.h"
#include "../wire/wire.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool calibration_complete(struct calibration *c, const struct deck *deck, const struct stock *stock, int64_t at_latest_us, struct fault *f)
{
    if (!check_calibration(c, deck, stock, at_latest_us, f))
        return false;
    c->position_s = ABSENT;
    struct setup setup;
    if (c->position_kind != POSITION_NONE && deck_setup(deck, c->setup, &setup))
        c->position_s = place_on_reel(c->position_kind, c->position_typed, deck, &setup, stock).position_s;
    return true;
}

enum action_result action_calibration_put(struct house *house, struct exchange *x)
{
    struct fault f;
    struct uuid id;
    fault_clear(&f);
    struct write *w = write_new(house, x, WRITE_CALIBRATION);
    struct calibration *c = w ? arena_room(x->arena, sizeof *c) : NULL; /* wire_read_calibration begins with calibration_init */
    if (!c)
        return ACTION_DONE;
    if (!path_uuid(x, 0, &id, &f) || !wire_read_calibration(x->request.body, x->request.body_length, &id, x->arena, c, &f))
        return answer_fault(x, &f);
    struct view *v = live_take(house->live);
    bool fine =
        calibration_complete(c, catalog_deck(v->catalog, c->deck), catalog_stock(v->catalog, c->stock), latest_us(house, &x->request), &f);
    view_give(v);
    if (!fine)
        return answer_fault(x, &f);
    w->calibration = c;
    return write_submit(house, x, w);
}

enum action_result action_calibration_void(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct write *w = write_new(house, x, WRITE_VOID);
    struct calibration *c = w ? arena_alloc(x->arena, sizeof *c) : NULL;
    char *reason = c ? arena_alloc(x->arena, LIMIT_REASON + 1) : NULL;
    if (!reason)
        return ACTION_DONE;
    calibration_init(c);
    if (!path_uuid(x, 0, &c->id, &f) || !wire_read_void(x->request.body, x->request.body_length, reason, &f))
        return answer_fault(x, &f);
    w->calibration = c;
    w->void_reason = reason;
    return write_submit(house, x, w);
}

enum action_result action_calibration_get(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct uuid id;
    if (!path_uuid(x, 0, &id, &f))
        return answer_fault(x, &f);
    struct calibration *c = arena_alloc(x->arena, sizeof *c);
    struct reader *r = c ? reader_or_answer(house, x) : NULL;
    if (!r)
        return ACTION_DONE;
    struct stamp stamp = {0};
    enum read_result got = read_calibration(r, &id, x->arena, c, &stamp, &f);
    reader_give(r);
    if (got == READ_NONE)
        fault_add(&f, FAULT_UNKNOWN, "id", "unknown-calibration", "the club has no calibration of this id");
    if (got != READ_OK)
        return answer_fault(x, &f);
    struct buffer *b = json_body(x);
    wire_write_calibration(b, c, &stamp, false);
    buffer_char(b, '\n');
    snprintf(x->reply.etag, sizeof x->reply.etag, "%s", stamp.etag);
    return answer_json(x);
}

/* ---- the list: keyset paging by seq, so that rows logged meanwhile neither repeat nor hide others ---- */

struct page {
    struct buffer *body;
    long limit, count;
    int64_t last_seq;
    bool more;
};

static bool list_row(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct page *p = user;
    if (p->count == p->limit) {
        p->more = true;
        return false;
    }
    buffer_text(p->body, p->count++ ? ",\n" : "\n");
    p->last_seq = stamp->seq;
    wire_write_calibration(p->body, c, stamp, false);
    return true;
}

static void next_link(struct exchange *x, const struct page *p)
{
    static const char *const kept[] = {"deck", "stock", "member", "since", "origin", "newest"};
    struct buffer url;
    buffer_init(&url, LIMIT_URL - 32);
    buffer_format(&url, "/api/calibrations?after=%lld&limit=%ld", (long long)p->last_seq, p->limit);
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++) {
        const char *value = request_parameter(&x->request, kept[i]);
        if (value) {
            buffer_format(&url, "&%s=", kept[i]);
            percent_encode(&url, value);
        }
    }
    if (!url.failed) {
        snprintf(x->reply.link, sizeof x->reply.link, "<%s>; rel=\"next\"", url.data);
        buffer_text(p->body, ",\"next\":");
        json_text(p->body, url.data);
    }
    buffer_inherit(p->body, &url); /* a page without its link would look like the last one */
    buffer_free(&url);
}

static bool read_filter(struct house *house, struct exchange *x, struct calibration_filter *filter, long *limit, struct fault *f)
{
    static const char *const allowed[] = {"deck", "stock", "member", "since", "origin", "after", "limit", "newest", NULL};
    const struct request *q = &x->request;
    const char *after = request_parameter(q, "after");
    filter->deck = request_parameter(q, "deck");
    filter->stock = request_parameter(q, "stock");
    filter->member = request_parameter(q, "member");
    filter->origin = request_parameter(q, "origin");
    if (filter->origin && !strcmp(filter->origin, "own"))
        filter->origin = "";
    filter->since_us = CLOCK_NONE;
    bool fine = parameters_allowed(q, allowed, f);
    fine = parameter_count(q, "limit", 1, LIMIT_PAGE, limit, f) && fine;
    fine = parameter_time(q, "since", &filter->since_us, f) && fine;
    fine = parameter_flag(q, "newest", &filter->newest_first, f) && fine;
    if (after && *after) {
        char *end;
        long long seq = strtoll(after, &end, 10);
        if (*end || seq < 1 || strlen(after) > 18 || *after < '0' || *after > '9')
            fine = fault_add(f, FAULT_MALFORMED, "after", "not-a-cursor", "take 'after' from the Link of the page before");
        filter->after_seq = seq;
    }
    struct view *v = live_take(house->live);
    if (filter->deck && !catalog_deck(v->catalog, filter->deck))
        fine = fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck",
                         "the club has no deck '%.64s'; check its short name in the list of decks", filter->deck);
    if (filter->stock && !catalog_stock(v->catalog, filter->stock))
        fine = fault_add(f, FAULT_UNKNOWN, "stock", "unknown-stock",
                         "the club has no stock '%.64s'; check its short name in the list of tapes", filter->stock);
    view_give(v);
    return fine;
}

enum action_result action_calibrations_list(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct calibration_filter filter = {0};
    struct page p = {.body = json_body(x), .limit = LIMIT_PAGE_DEFAULT};
    if (!read_filter(house, x, &filter, &p.limit, &f))
        return answer_fault(x, &f);
    filter.limit = (int)p.limit + 1; /* one more tells whether there is a next page */
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    buffer_text(p.body, "{\"calibrations\":[");
    enum read_result got = walk_calibrations(r, &filter, true, list_row, &p, &f);
    reader_give(r);
    if (got == READ_FAILED)
        return answer_fault(x, &f);
    buffer_text(p.body, "]");
    if (p.more)
        next_link(x, &p);
    buffer_text(p.body, "}\n");
    return answer_json(x);
}
