/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Classes, decks and stocks. Single ones are answered from the published catalog; lists walk the store.
 */
#include "actions.h"
#include "answer.h"

#include "../trade/check.h"
#include "../trade/classes.h"
#include "../wire/wire.h"

#include <stdio.h>
#include <string.h>

enum action_result action_classes(struct house *house, struct exchange *x)
{
    (void)house;
    struct buffer *b = json_body(x);
    buffer_text(b, "{\"classes\":[");
    for (int c = 0; c < CLASS_COUNT; c++) {
        const struct class_info *info = class_info((enum tape_class)c);
        buffer_text(b, c ? ",\n{" : "\n{");
        json_name(b, "id"), json_text(b, info->id);
        json_name(b, "name"), json_text(b, info->name);
        json_name(b, "medium"), json_text(b, medium_id(info->medium));
        json_name(b, "equalisation"), json_text(b, info->equalisation);
        buffer_char(b, '}');
    }
    buffer_text(b, "]}\n");
    return answer_json(x);
}

/* ---- one ---- */

static enum action_result unknown(struct exchange *x, bool is_deck)
{
    struct fault f = {0};
    fault_add(&f, FAULT_UNKNOWN, is_deck ? "deck" : "stock", is_deck ? "unknown-deck" : "unknown-stock",
              "the club has no %s '%.64s'; %s lists them", is_deck ? "deck" : "stock", x->request.captures[0],
              is_deck ? "/api/decks" : "/api/stocks");
    return answer_fault(x, &f);
}

static enum action_result get_one(struct house *house, struct exchange *x, bool is_deck)
{
    struct view *v = live_take(house->live);
    const struct catalog_entry *e = catalog_find(v->catalog, is_deck, x->request.captures[0]);
    if (!e) {
        view_give(v);
        return unknown(x, is_deck);
    }
    struct buffer *b = json_body(x);
    if (is_deck)
        wire_write_deck(b, e->deck, &e->stamp, false);
    else
        wire_write_stock(b, e->stock, &e->stamp, false);
    buffer_char(b, '\n');
    snprintf(x->reply.etag, sizeof x->reply.etag, "%s", e->stamp.etag);
    view_give(v);
    return answer_json(x);
}

enum action_result action_deck_get(struct house *house, struct exchange *x)
{
    return get_one(house, x, true);
}

enum action_result action_stock_get(struct house *house, struct exchange *x)
{
    return get_one(house, x, false);
}

static bool path_slug(const struct exchange *x, struct fault *f)
{
    return slug_valid(x->request.captures[0]) ||
           fault_add(f, FAULT_UNACCEPTABLE, "id", "not-a-slug", "an id is 1 to %d of a-z, 0-9 and '-', not beginning with '-'", LIMIT_SLUG);
}

enum action_result action_deck_put(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct write *w = write_new(house, x, WRITE_DECK);
    struct deck *d = w ? arena_alloc(x->arena, sizeof *d) : NULL;
    if (!d)
        return ACTION_DONE;
    if (!path_slug(x, &f) || !wire_read_deck(x->request.body, x->request.body_length, x->request.captures[0], x->arena, d, &f) ||
        !check_deck(d, &f))
        return answer_fault(x, &f);
    w->deck = d;
    return write_submit(house, x, w);
}

enum action_result action_stock_put(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct write *w = write_new(house, x, WRITE_STOCK);
    struct stock *s = w ? arena_alloc(x->arena, sizeof *s) : NULL;
    if (!s)
        return ACTION_DONE;
    if (!path_slug(x, &f) || !wire_read_stock(x->request.body, x->request.body_length, x->request.captures[0], x->arena, s, &f) ||
        !check_stock(s, &f))
        return answer_fault(x, &f);
    w->stock = s;
    return write_submit(house, x, w);
}

/* ---- lists ---- */

struct listing {
    struct buffer *body;
    long limit, count;
    char last[LIMIT_SLUG + 1];
    bool more;
};

static bool next_in_list(struct listing *l, const char *id)
{
    if (l->count == l->limit) {
        l->more = true;
        return false;
    }
    buffer_text(l->body, l->count++ ? ",\n" : "\n");
    snprintf(l->last, sizeof l->last, "%s", id);
    return true;
}

static bool list_deck(void *user, const struct deck *d, const struct stamp *stamp)
{
    struct listing *l = user;
    if (!next_in_list(l, d->id))
        return false;
    wire_write_deck(l->body, d, stamp, false);
    return true;
}

static bool list_stock(void *user, const struct stock *s, const struct stamp *stamp)
{
    struct listing *l = user;
    if (!next_in_list(l, s->id))
        return false;
    wire_write_stock(l->body, s, stamp, false);
    return true;
}

static enum action_result list_all(struct house *house, struct exchange *x, bool decks)
{
    static const char *const allowed[] = {"after", "limit", NULL};
    const char *name = decks ? "decks" : "stocks";
    struct listing l = {.body = json_body(x), .limit = LIMIT_PAGE};
    struct fault f = {0};
    if (!parameters_allowed(&x->request, allowed, &f) || !parameter_count(&x->request, "limit", 1, LIMIT_PAGE, &l.limit, &f))
        return answer_fault(x, &f);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    const char *after = request_parameter(&x->request, "after");
    buffer_format(l.body, "{\"%s\":[", name);
    enum read_result got =
        decks ? walk_decks(r, after, (int)l.limit + 1, list_deck, &l, &f) : walk_stocks(r, after, (int)l.limit + 1, list_stock, &l, &f);
    reader_give(r);
    if (got == READ_FAILED)
        return answer_fault(x, &f);
    buffer_text(l.body, "]");
    if (l.more) {
        buffer_format(l.body, ",\"next\":\"/api/%s?after=%s&limit=%ld\"", name, l.last, l.limit);
        snprintf(x->reply.link, sizeof x->reply.link, "</api/%s?after=%s&limit=%ld>; rel=\"next\"", name, l.last, l.limit);
    }
    buffer_text(l.body, "}\n");
    return answer_json(x);
}

enum action_result action_decks_list(struct house *house, struct exchange *x)
{
    return list_all(house, x, true);
}

enum action_result action_stocks_list(struct house *house, struct exchange *x)
{
    return list_all(house, x, false);
}
