/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was done to a deck (services) and how its playback side stood (checks).
 */
#include "actions.h"
#include "answer.h"

#include "../trade/check.h"
#include "../wire/wire.h"

/* The deck of the path, held by the view the caller gives back; NULL and a 404 fault when unknown. */
static const struct deck *path_deck(const struct view *v, const struct exchange *x, struct fault *f)
{
    const struct deck *d = catalog_deck(v->catalog, x->request.captures[0]);
    if (!d)
        fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck", "the club has no deck '%.64s'; check its short name in the list of decks",
                  x->request.captures[0]);
    return d;
}

enum action_result action_service_put(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct uuid id;
    struct write *w = write_new(house, x, WRITE_SERVICE);
    struct service *s = w ? arena_alloc(x->arena, sizeof *s) : NULL;
    if (!s)
        return ACTION_DONE;
    struct view *v = live_take(house->live);
    const struct deck *d = path_deck(v, x, &f);
    bool fine = d && path_uuid(x, 1, &id, &f) && wire_read_service(x->request.body, x->request.body_length, d->id, &id, x->arena, s, &f) &&
                check_service(s, d, latest_us(house, &x->request), &f);
    view_give(v);
    if (!fine)
        return answer_fault(x, &f);
    w->service = s;
    return write_submit(house, x, w);
}

enum action_result action_check_put(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct uuid id;
    struct write *w = write_new(house, x, WRITE_CHECK);
    struct deck_check *c = w ? arena_alloc(x->arena, sizeof *c) : NULL;
    if (!c)
        return ACTION_DONE;
    struct view *v = live_take(house->live);
    const struct deck *d = path_deck(v, x, &f);
    bool fine = d && path_uuid(x, 1, &id, &f) && wire_read_check(x->request.body, x->request.body_length, d->id, &id, x->arena, c, &f) &&
                check_deck_check(c, d, latest_us(house, &x->request), &f);
    view_give(v);
    if (!fine)
        return answer_fault(x, &f);
    w->check = c;
    return write_submit(house, x, w);
}

struct listing {
    struct buffer *body;
    long count;
};

static bool list_service(void *user, const struct service *s, const struct stamp *stamp)
{
    struct listing *l = user;
    buffer_text(l->body, l->count++ ? ",\n" : "\n");
    wire_write_service(l->body, s, stamp, false);
    return !l->body->failed;
}

static bool list_check(void *user, const struct deck_check *c, const struct stamp *stamp)
{
    struct listing *l = user;
    buffer_text(l->body, l->count++ ? ",\n" : "\n");
    wire_write_check(l->body, c, stamp, false);
    return !l->body->failed;
}

static enum action_result list_of_deck(struct house *house, struct exchange *x, bool services)
{
    struct fault f = {0};
    struct listing l = {.body = json_body(x)};
    struct view *v = live_take(house->live);
    bool known = path_deck(v, x, &f) != NULL;
    view_give(v);
    if (!known)
        return answer_fault(x, &f);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    buffer_text(l.body, services ? "{\"services\":[" : "{\"checks\":[");
    const char *deck = x->request.captures[0];
    enum read_result got = services ? walk_services(r, deck, list_service, &l, &f) : walk_checks(r, deck, list_check, &l, &f);
    reader_give(r);
    if (got == READ_FAILED)
        return answer_fault(x, &f);
    buffer_text(l.body, "]}\n");
    return answer_json(x);
}

enum action_result action_services_list(struct house *house, struct exchange *x)
{
    return list_of_deck(house, x, true);
}

enum action_result action_checks_list(struct house *house, struct exchange *x)
{
    return list_of_deck(house, x, false);
}
