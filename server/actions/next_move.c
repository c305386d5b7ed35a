/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * POST /api/next-move: from all readings of this tape so far to the next setting of the dials. No SQL: the view's tables and arithmetic.
 */
#include "actions.h"
#include "answer.h"
#include "suggest.h"

#include "../model/outlook.h"
#include "../trade/check.h"
#include "../trade/classes.h"
#include "../trade/next_move.h"
#include "../trade/spool.h"
#include "../wire/next_move.h"
#include "../wire/wire.h"

#include <math.h>

struct bench {
    struct next_move_body body;
    struct model_question question;
    struct model_answer answer;
    struct slopes_at slopes;
    struct next_move_question ask;
    struct next_move move;
    struct fault fault;
};

static bool find_names(const struct view *v, struct bench *g)
{
    const struct calibration *c = &g->body.ask;
    struct model_question *m = &g->question;
    struct fault *f = &g->fault;
    m->deck = catalog_deck(v->catalog, c->deck);
    m->stock = c->stock[0] ? catalog_stock(v->catalog, c->stock) : NULL;
    m->tape_class = m->stock ? m->stock->tape_class : g->body.tape_class;
    if (!m->deck)
        fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck", "the club has no deck '%.64s'; check its short name in the list of decks",
                  c->deck);
    if (c->stock[0] && !m->stock)
        fault_add(f, FAULT_UNKNOWN, "stock", "unknown-stock", "the club has no stock '%.64s'; give class for a tape nobody has logged",
                  c->stock);
    if (!fault_set(f) && m->deck->medium != class_info(m->tape_class)->medium)
        fault_add(f, FAULT_UNACCEPTABLE, m->stock ? "stock" : "class", "media-differ", "this deck takes %s, this tape is %s",
                  medium_id(m->deck->medium), medium_id(class_info(m->tape_class)->medium));
    return !fault_set(f);
}

static bool fill_question(const struct view *v, struct bench *g, int64_t now_us)
{
    struct calibration *c = &g->body.ask;
    struct model_question *m = &g->question;
    struct setup setup;
    if (!find_names(v, g) || !check_bench(c, m->deck, &g->fault) || !deck_setup(m->deck, c->setup, &setup))
        return false;
    m->setup = c->setup;
    m->batch = c->batch;
    m->tape = c->tape;
    m->channel = c->channel;
    m->recordings = c->recordings;
    m->low_hz = c->low_hz;
    m->high_hz = c->high_hz;
    m->treble_db = 0; /* the bench wants the flat need; the wish is taken at the end */
    m->at_us = now_us;
    struct reel_place place = place_on_reel(c->position_kind, c->position_typed, m->deck, &setup, m->stock);
    m->position_s = place.position_s;
    m->part = place.part;
    return true;
}

static void ask_bench(struct bench *g)
{
    const struct calibration *c = &g->body.ask;
    const struct deck *d = g->question.deck;
    g->ask = (struct next_move_question){
        .dial = {&d->bias_dial, &d->level_dial},
        .worth = {g->slopes.worth[BIAS].db_per_unit, g->slopes.worth[LEVEL].db_per_unit},
        .slopes = g->slopes.seen,
        .need = {g->answer.mean[BIAS], g->answer.mean[LEVEL]},
        .need_se = {g->answer.se[BIAS], g->answer.se[LEVEL]},
        .reading_sd = {g->slopes.reading_sd[0], g->slopes.reading_sd[1]},
        .meter_step_db = d->meter_step_db,
        .treble_db = c->treble_db,
        .for_noise_reduction = c->for_noise_reduction,
        .drop_db = c->bias_method == METHOD_OVERBIAS ? c->drop_db : ABSENT,
        .ladder = g->body.plan == PLAN_LADDER,
        .move_count = c->move_count,
        .moves = c->moves,
    };
    next_move(&g->ask, &g->move);
}

/* ---- the reply ---- */

static void number(struct buffer *b, const char *name, double value, int decimals)
{
    json_name(b, name);
    buffer_fixed(b, value, decimals);
}

static void write_dial(struct buffer *b, const struct bench *g, int r)
{
    const struct dial *d = g->ask.dial[r];
    const struct calibration *c = &g->body.ask;
    struct buffer words;
    buffer_init(&words, 1024);
    json_name(b, r == BIAS ? "bias" : "level");
    buffer_char(b, '{');
    json_name(b, "dial");
    buffer_fixed(b, d->present ? g->move.set.dial[r] : ABSENT, 6); /* absent is null */
    number(b, "db", g->move.set.db[r], 4);
    if (!d->present)
        buffer_text(&words,
                    r == BIAS ? "no bias dial on this deck: its own bias stays" : "no record trim on this deck: its own level stays");
    else
        dial_words(&words, d, g->move.set.dial[r], r == BIAS);
    json_name(b, "words");
    json_text(b, words.data ? words.data : "");
    buffer_inherit(b, &words);
    buffer_clear(&words);
    if (d->present && c->move_count) {
        const struct move *last = &c->moves[c->move_count - 1];
        dial_move_words(&words, d, r == BIAS ? last->bias : last->level, g->move.set.dial[r], r == BIAS);
        json_name(b, "turn");
        json_text(b, words.data ? words.data : "");
    }
    json_name(b, "beyond_dial");
    buffer_text(b, g->move.beyond[r] ? "true" : "false");
    buffer_char(b, '}');
    buffer_inherit(b, &words);
    buffer_free(&words);
}

static void write_ladder(struct buffer *b, const struct bench *g)
{
    json_name(b, "ladder");
    buffer_char(b, '[');
    for (int i = 0; i < g->move.ladder_count; i++) {
        const struct next_setting *s = &g->move.ladder[i];
        buffer_text(b, i ? ",{" : "{");
        number(b, "bias", s->dial[BIAS], 6);
        number(b, "level", s->dial[LEVEL], 6);
        number(b, "low_db", s->low_db, 2);
        number(b, "high_db", s->high_db, 2);
        number(b, "chance_right", s->chance, 3);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_reply(struct buffer *b, const struct bench *g)
{
    const struct next_move *m = &g->move;
    buffer_char(b, '{');
    json_name(b, "deck"), json_text(b, g->question.deck->id);
    if (g->question.stock)
        json_name(b, "stock"), json_text(b, g->question.stock->id);
    write_dial(b, g, BIAS);
    write_dial(b, g, LEVEL);
    json_name(b, "expect");
    buffer_char(b, '{');
    number(b, "low_db", m->set.low_db, 2);
    number(b, "high_db", m->set.high_db, 2);
    buffer_char(b, '}');
    json_name(b, "settled"), buffer_text(b, m->settled ? "true" : "false");
    number(b, "chance_right", m->chance_right, 3);
    json_name(b, "code"), json_text(b, next_move_reason_code(m->reason));
    json_name(b, "reason"), json_text(b, m->text);
    json_name(b, "look_first"), buffer_text(b, m->look_first ? "true" : "false");
    if (m->note[0])
        json_name(b, "note"), json_text(b, m->note);
    json_name(b, "tolerance");
    buffer_char(b, '{');
    number(b, "low_db", m->tolerance[0], 2), number(b, "high_db", m->tolerance[1], 2);
    buffer_char(b, '}');
    number(b, "treble_db", g->body.ask.treble_db, 2);
    json_name(b, "slopes");
    buffer_char(b, '{');
    number(b, "a", m->slope_a, 3), number(b, "b", m->slope_b, 3);
    buffer_char(b, '}');
    write_ladder(b, g);
    buffer_text(b, "}\n");
}

enum action_result action_next_move(struct house *house, struct exchange *x)
{
    struct bench *g = arena_alloc(x->arena, sizeof *g);
    if (!g)
        return ACTION_DONE;
    if (!wire_read_next_move(x->request.body, x->request.body_length, x->arena, &g->body, &g->fault))
        return answer_fault(x, &g->fault);
    struct view *v = live_take(house->live);
    bool fine = fill_question(v, g, x->request.now_us);
    if (fine) {
        if (!given(g->body.ask.treble_db))
            g->body.ask.treble_db = 0;
        model_ask(v->model, &g->question, &g->answer);
        model_slopes(v->model, &g->question, &g->slopes);
        ask_bench(g);
        write_reply(json_body(x), g);
    }
    view_give(v);
    return fine ? answer_json(x) : answer_fault(x, &g->fault);
}
