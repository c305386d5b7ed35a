/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/last-result?deck&stock: the newest result of a pair that counts, and how far it moved the book: what would have been suggested before its day, what
 * was found, and what is suggested now for that very recording. All three are flat equivalents in dB. What came after it has moved the book as well; for the newest
 * result of a pair that is little.
 */
#include "actions.h"
#include "answer.h"

#include "../live/track.h"
#include "../model/outlook.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct newest {
    bool found;
    struct calibration row; /* its notes are the walk's and gone */
    char member[LIMIT_NAME + 1];
};

/* By the day it was made, not by the day of entry: late entries are common. */
static bool keep_newest(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct newest *n = user;
    if (stamp->is_void || (n->found && c->made_at_us <= n->row.made_at_us))
        return true;
    n->found = true;
    n->row = *c;
    snprintf(n->member, sizeof n->member, "%s", stamp->author);
    return true;
}

static const struct replay_row *replayed(const struct track *t, const struct uuid *id)
{
    for (size_t i = t ? t->count : 0; i > 0; i--) /* by made_at: the newest stand last */
        if (uuid_same(&t->rows[i - 1].id, id))
            return &t->rows[i - 1];
    return NULL;
}

static void write_db(struct buffer *b, const char *name, const double value[RESPONSES], const bool tells[RESPONSES])
{
    json_name(b, name);
    buffer_text(b, "{\"bias_db\":");
    buffer_fixed(b, tells[BIAS] ? value[BIAS] : NAN, 4);
    buffer_text(b, ",\"level_db\":");
    buffer_fixed(b, tells[LEVEL] ? value[LEVEL] : NAN, 4);
    buffer_char(b, '}');
}

/* How many results of the club were made after it: they have moved the book as well. */
static long made_later(const struct track *t, const struct replay_row *r)
{
    long n = 0;
    for (size_t i = t->count; i > 0 && t->rows[i - 1].made_at_us > r->made_at_us; i--)
        n++;
    return n;
}

static void write_moved(struct buffer *b, const struct view *v, const struct newest *n, const struct track *t, const struct replay_row *r,
                        const struct deck *d, const struct stock *s)
{
    struct model_question q = model_question_of(&n->row, d, s);
    struct model_answer now;
    double moved[RESPONSES];
    model_ask(v->model, &q, &now);
    for (int i = 0; i < RESPONSES; i++)
        moved[i] = now.mean[i] - r->mean[i];
    write_db(b, "before", r->mean, r->tells);
    write_db(b, "found", r->observed, r->tells);
    write_db(b, "now", now.mean, r->tells);
    write_db(b, "moved", moved, r->tells);
    json_name(b, "rested_on"), json_text(b, basis_kind_text(r->basis));
    json_name(b, "later"), buffer_int(b, made_later(t, r));
}

static void write_answer(struct buffer *b, const struct view *v, const struct newest *n, const struct track *t, const struct deck *d,
                         const struct stock *s)
{
    char id[UUID_TEXT];
    if (!n->found) {
        buffer_text(b, "{\"calibration\":null}\n");
        return;
    }
    buffer_text(b, "{\"calibration\":");
    json_text(b, uuid_format(&n->row.id, id));
    json_member_time(b, "made_at", n->row.made_at_us, n->row.made_at_offset_minutes);
    json_member_text(b, "member", n->member);
    const struct replay_row *r = replayed(t, &n->row.id);
    if (r && (r->tells[BIAS] || r->tells[LEVEL]))
        write_moved(b, v, n, t, r, d, s);
    buffer_text(b, "}\n");
}

static bool find_newest(struct house *house, struct exchange *x, const struct deck *d, const struct stock *s, struct newest *n)
{
    struct fault f = {0};
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return false;
    struct calibration_filter filter = {.deck = d->id, .stock = s->id, .since_us = CLOCK_NONE};
    bool fine = walk_calibrations(r, &filter, false, keep_newest, n, &f) != READ_FAILED;
    reader_give(r);
    if (!fine)
        answer_fault(x, &f);
    return fine;
}

enum action_result action_last_result(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"deck", "stock", NULL};
    struct fault f = {0};
    const char *deck = request_parameter(&x->request, "deck"), *stock = request_parameter(&x->request, "stock");
    struct newest *n = arena_alloc(x->arena, sizeof *n);
    if (!n)
        return ACTION_DONE;
    bool fine = parameters_allowed(&x->request, allowed, &f);
    if (!deck || !*deck)
        fine = fault_add(&f, FAULT_UNACCEPTABLE, "deck", "required", "say which deck, by its short name");
    if (!stock || !*stock)
        fine = fault_add(&f, FAULT_UNACCEPTABLE, "stock", "required", "say which tape, by its short name");
    if (!fine)
        return answer_fault(x, &f);
    struct view *v = live_take(house->live);
    const struct deck *d = catalog_deck(v->catalog, deck);
    const struct stock *s = catalog_stock(v->catalog, stock);
    if (!d)
        fine = fault_add(&f, FAULT_UNKNOWN, "deck", "unknown-deck",
                         "the club has no deck '%.64s'; check its short name in the list of decks", deck);
    if (!s)
        fine = fault_add(&f, FAULT_UNKNOWN, "stock", "unknown-stock",
                         "the club has no stock '%.64s'; check its short name in the list of tapes", stock);
    if (!fine) {
        view_give(v);
        return answer_fault(x, &f);
    }
    if (find_newest(house, x, d, s, n)) {
        struct track *t = live_take_track(house->live);
        write_answer(json_body(x), v, n, t, d, s);
        track_drop(t);
        answer_json(x);
    }
    view_give(v);
    return ACTION_DONE;
}
