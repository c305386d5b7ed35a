/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/stocks/{id}/alike: which tapes need the same setting on this deck, so that the dials may stay.
 */
#include "alike.h"

#include "actions.h"
#include "answer.h"

#include "../trade/check.h"
#include "../trade/classes.h"
#include "../trade/statistics.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void ask_plain(const struct view *v, const struct deck *d, const struct stock *s, int64_t at_us, struct model_answer *out)
{
    struct model_question q = model_question_plain(d, s, at_us);
    model_ask(v->model, &q, out);
}

static double chance_within(double apart, double se, double within)
{
    return normal_below((within - apart) / se) - normal_below((-within - apart) / se);
}

static int by_chance(const void *a, const void *b)
{
    const struct alike_row *x = a, *y = b;
    if (x->chance != y->chance)
        return x->chance < y->chance ? 1 : -1;
    return strcmp(x->stock->id, y->stock->id);
}

/* The deck on which it was logged most; of equal ones the first by name. */
static const struct deck *usual_deck(const struct view *v, const struct stock *s, const struct deck *const *decks, int count, int64_t at_us)
{
    const struct deck *best = count ? decks[0] : NULL;
    long most = 0;
    for (int i = 0; i < count; i++) {
        struct model_answer a;
        ask_plain(v, decks[i], s, at_us, &a);
        if (a.pair > most) {
            most = a.pair;
            best = decks[i];
        }
    }
    return best;
}

static void compare(const struct view *v, struct alike *a, const struct stock *other, const struct deck *const *decks, int deck_count,
                    int64_t at_us, struct alike_row *row)
{
    const struct dial *dials[RESPONSES] = {&a->deck->bias_dial, &a->deck->level_dial};
    bool any = dials[BIAS]->present || dials[LEVEL]->present;
    *row = (struct alike_row){.stock = other, .chance = 1, .alike = true};
    struct model_answer answer;
    ask_plain(v, a->deck, other, at_us, &answer);
    row->pair = answer.pair;
    row->of_stock = answer.of_stock;
    model_apart(v->model, a->deck, a->stock, other, at_us, decks, deck_count, &row->apart);
    for (int r = 0; r < RESPONSES; r++) {
        row->mean[r] = answer.mean[r];
        if (any && !dials[r]->present) /* nothing to turn there */
            continue;
        row->chance *= chance_within(row->apart.apart[r], row->apart.se[r], a->within_db);
        row->alike = row->alike && fabs(row->apart.apart[r]) <= a->within_db;
    }
}

bool alike_make(const struct view *v, const struct exchange *x, const struct stock *s, struct alike *out, struct fault *f)
{
    const char *id = request_parameter(&x->request, "deck");
    int deck_count, stock_count;
    const struct deck **decks = catalog_decks(v, x->arena, stock_medium(s), &deck_count);
    const struct stock **stocks = catalog_stocks(v, x->arena, stock_medium(s), &stock_count);
    *out = (struct alike){.stock = s, .within_db = ALIKE_WITHIN_DB};
    if (!decks || !stocks)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    if (!parameter_number(&x->request, "within_db", 0.01, LIMIT_DB, &out->within_db, f))
        return false;
    if (id && *id && !(out->deck = catalog_deck(v->catalog, id)))
        return fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck",
                         "the club has no deck '%.64s'; check its short name in the list of decks", id);
    if (out->deck && out->deck->medium != stock_medium(s))
        return fault_add(f, FAULT_UNACCEPTABLE, "deck", "media-differ", "this deck takes %s, this tape is %s", medium_id(out->deck->medium),
                         medium_id(stock_medium(s)));
    if (!out->deck && !(out->deck = usual_deck(v, s, decks, deck_count, x->request.now_us)))
        return fault_add(f, FAULT_UNACCEPTABLE, "deck", "required", "the club has no deck that takes this tape");
    out->rows = arena_alloc(x->arena, ((size_t)stock_count + 1) * sizeof *out->rows);
    if (!out->rows)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    struct model_answer answer;
    ask_plain(v, out->deck, s, x->request.now_us, &answer);
    for (int r = 0; r < RESPONSES; r++) {
        out->mean[r] = answer.mean[r];
        out->se[r] = answer.se[r];
    }
    for (int i = 0; i < stock_count; i++)
        if (strcmp(stocks[i]->id, s->id))
            compare(v, out, stocks[i], decks, deck_count, x->request.now_us, &out->rows[out->count++]);
    if (out->count)
        qsort(out->rows, (size_t)out->count, sizeof *out->rows, by_chance);
    return true;
}

static void write_row(struct buffer *b, const struct alike_row *row)
{
    buffer_char(b, '{');
    json_member_text(b, "stock", row->stock->id);
    json_member_text(b, "name", row->stock->name);
    json_member_text(b, "class", class_info(row->stock->tape_class)->id);
    json_member_fixed(b, "bias_apart_db", row->apart.apart[BIAS], 3);
    json_member_fixed(b, "bias_apart_se_db", row->apart.se[BIAS], 3);
    json_member_fixed(b, "level_apart_db", row->apart.apart[LEVEL], 3);
    json_member_fixed(b, "level_apart_se_db", row->apart.se[LEVEL], 3);
    json_member_fixed(b, "chance", row->chance, 4);
    json_member_flag(b, "alike", row->alike);
    json_member_fixed(b, "bias_db", row->mean[BIAS], 3);
    json_member_fixed(b, "level_db", row->mean[LEVEL], 3);
    json_member_whole(b, "calibrations", row->of_stock);
    json_member_whole(b, "here", row->pair);
    buffer_char(b, '}');
}

enum action_result action_stock_alike(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"deck", "within_db", "all", NULL};
    struct fault f = {0};
    struct alike a;
    bool all = false;
    struct view *v = live_take(house->live);
    const struct stock *s = captured_stock(v, x, &f);
    bool ok =
        s && parameters_allowed(&x->request, allowed, &f) && parameter_flag(&x->request, "all", &all, &f) && alike_make(v, x, s, &a, &f);
    if (ok) {
        struct buffer *b = json_body(x);
        int written = 0;
        buffer_char(b, '{');
        json_member_text(b, "stock", s->id);
        json_member_text(b, "deck", a.deck->id);
        json_member_fixed(b, "within_db", a.within_db, 3);
        json_member_fixed(b, "bias_db", a.mean[BIAS], 3);
        json_member_fixed(b, "level_db", a.mean[LEVEL], 3);
        json_name(b, "stocks");
        buffer_char(b, '[');
        for (int i = 0; i < a.count; i++) {
            if (!all && !a.rows[i].alike)
                continue;
            buffer_text(b, written++ ? ",\n" : "\n");
            write_row(b, &a.rows[i]);
        }
        buffer_text(b, "]}\n");
    }
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
