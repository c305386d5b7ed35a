/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/decks/{id}/centre?stocks=a,b,c: where the technician should put the inside presets so that these tapes stay inside the user's dials; what is left
 * out; what it costs in treble.
 */
#include "actions.h"
#include "answer.h"
#include "results.h"
#include "suggest.h"

#include "../trade/centre.h"
#include "../trade/check.h"
#include "../trade/classes.h"
#include "../wire/wire.h"

#include <math.h>
#include <string.h>

#define ENOUGH_DB 0.5 /* room at a dial's end that is worth no opening of the cabinet */

struct centre_page {
    const struct deck *deck;
    int count;
    struct suggestion *asked; /* one a stock */
    struct centre_need *needs[RESPONSES];
    struct centre found[RESPONSES];
};

/* ---- which stocks ---- */

static bool add_stock(struct centre_page *p, const struct stock **list, const struct stock *s, struct fault *f)
{
    for (int i = 0; i < p->count; i++)
        if (list[i] == s)
            return true;
    if (p->count == LIMIT_CENTRE_STOCKS)
        return fault_add(f, FAULT_UNACCEPTABLE, "stocks", "too-many", "name at most %d tapes", LIMIT_CENTRE_STOCKS);
    list[p->count++] = s;
    return true;
}

static bool named_stocks(const struct view *v, struct centre_page *p, const char *text, const struct stock **list, struct fault *f)
{
    while (*text) {
        char id[LIMIT_SLUG + 1];
        size_t n = strcspn(text, ",");
        if (n > 0 && n <= LIMIT_SLUG) {
            memcpy(id, text, n);
            id[n] = 0;
            const struct stock *s = catalog_stock(v->catalog, id);
            if (!s)
                return fault_add(f, FAULT_UNKNOWN, "stocks", "unknown-stock",
                                 "the club has no stock '%.64s'; check its short name in the list of tapes", id);
            if (stock_medium(s) != p->deck->medium)
                return fault_add(f, FAULT_UNACCEPTABLE, "stocks", "media-differ", "this deck takes %s, '%.64s' is %s",
                                 medium_id(p->deck->medium), id, medium_id(stock_medium(s)));
            if (!add_stock(p, list, s, f))
                return false;
        } else if (n > LIMIT_SLUG) {
            return fault_add(f, FAULT_MALFORMED, "stocks", "not-slugs", "name stocks by their ids with commas between: stocks=a,b,c");
        }
        text += n + (text[n] == ',');
    }
    return true;
}

/* Nobody named: those that were logged on this deck. */
static bool logged_stocks(const struct view *v, struct exchange *x, struct centre_page *p, const struct stock **list, struct fault *f)
{
    int count;
    const struct stock **all = catalog_stocks(v, x->arena, p->deck->medium, &count);
    if (!all)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    for (int i = 0; i < count && p->count < LIMIT_CENTRE_STOCKS; i++) {
        struct model_question q = model_question_plain(p->deck, all[i], x->request.now_us);
        struct model_answer a;
        model_ask(v->model, &q, &a);
        if (a.pair > 0)
            list[p->count++] = all[i];
    }
    return true;
}

/* ---- what they need ---- */

static const struct setting *setting_of(const struct suggestion *s, int r)
{
    return r == BIAS ? &s->bias : &s->level;
}

static bool find(const struct view *v, struct exchange *x, struct centre_page *p, const struct stock *const *list, double treble_db,
                 struct fault *f)
{
    p->asked = arena_alloc(x->arena, ((size_t)p->count + 1) * sizeof *p->asked);
    for (int r = 0; r < RESPONSES; r++)
        p->needs[r] = arena_alloc(x->arena, ((size_t)p->count + 1) * sizeof *p->needs[r]);
    if (!p->asked || !p->needs[BIAS] || !p->needs[LEVEL])
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    for (int i = 0; i < p->count; i++) {
        p->asked[i].question = model_question_plain(p->deck, list[i], x->request.now_us);
        p->asked[i].question.treble_db = treble_db;
        suggestion_make(v, &p->asked[i]);
        for (int r = 0; r < RESPONSES; r++) {
            const struct setting *s = setting_of(&p->asked[i], r);
            p->needs[r][i] = (struct centre_need){.need = s->db, .low = s->low90_db, .high = s->high90_db};
        }
    }
    for (int r = 0; r < RESPONSES && p->count; r++) {
        const struct setting *s = setting_of(&p->asked[0], r);
        if (!s->dial->present)
            continue;
        double a = dial_to_db(s->dial, s->learned, s->dial->low), b = dial_to_db(s->dial, s->learned, s->dial->high);
        if (isfinite(a) && isfinite(b) && a != b)
            centre_find(fmin(a, b), fmax(a, b), p->needs[r], p->count, ENOUGH_DB, &p->found[r]);
    }
    return true;
}

/* ---- answer ---- */

static void shift_words(struct buffer *b, double shift_db, bool is_bias)
{
    if (fabs(shift_db) < 0.05) {
        buffer_text(b, "leave the inside preset where it is");
        return;
    }
    buffer_text(b, shift_db > 0 ? "raise the inside preset by " : "lower the inside preset by ");
    buffer_fixed(b, fabs(shift_db), 1);
    buffer_text(b, is_bias ? (shift_db > 0 ? " dB: more bias" : " dB: less bias")
                           : (shift_db > 0 ? " dB: more record gain" : " dB: less record gain"));
}

static void write_response(struct buffer *b, const struct centre_page *p, int r)
{
    const struct dial *dial = r == BIAS ? &p->deck->bias_dial : &p->deck->level_dial;
    const struct centre *c = &p->found[r];
    struct buffer words;
    json_name(b, r == BIAS ? "bias" : "level");
    if (!dial->present || !p->count) {
        buffer_text(b, "null");
        return;
    }
    const struct model_answer *first = &p->asked[0].answer;
    buffer_init(&words, 256);
    shift_words(&words, c->shift_db, r == BIAS);
    buffer_char(b, '{');
    json_member_fixed(b, "shift_db", c->shift_db, 2);
    json_member_text(b, "words", words.data ? words.data : "");
    json_member_fixed(b, "from_db", c->from_db, 2);
    json_member_fixed(b, "to_db", c->to_db, 2);
    json_member_whole(b, "inside", c->inside);
    json_member_whole(b, "whole_inside", c->whole_inside);
    json_member_fixed(b, "spare_db", c->spare_db, 2);
    /* who leaves the dial at its centre hears the shift itself */
    json_member_fixed(b, "at_centre_low_db", r == BIAS ? first->a * c->shift_db : c->shift_db, 2);
    json_member_fixed(b, "at_centre_high_db", r == BIAS ? -first->b * c->shift_db : c->shift_db, 2);
    buffer_char(b, '}');
    buffer_inherit(b, &words);
    buffer_free(&words);
}

static void write_stock(struct buffer *b, const struct centre_page *p, int i)
{
    const struct suggestion *s = &p->asked[i];
    json_member_text(b, "stock", s->question.stock->id);
    json_member_text(b, "name", s->question.stock->name);
    json_member_text(b, "class", class_info(s->question.tape_class)->id);
    for (int r = 0; r < RESPONSES; r++) {
        const struct setting *set = setting_of(s, r);
        const struct centre_need *n = &p->needs[r][i];
        if (!set->dial->present)
            continue;
        struct buffer mark;
        buffer_init(&mark, 64);
        bool beyond;
        double after = dial_set(set->dial, set->learned, n->need - p->found[r].shift_db, &beyond);
        dial_reading_text(&mark, set->dial, after);
        json_name(b, r == BIAS ? "bias" : "level");
        buffer_char(b, '{');
        json_member_fixed(b, "db", n->need, 2);
        json_member_fixed(b, "dial", after, 6);
        json_member_text(b, "mark", mark.data ? mark.data : "");
        json_member_text(b, "unit", dial_unit(set->dial));
        json_member_flag(b, "inside", n->inside);
        json_member_flag(b, "whole_inside", n->whole_inside);
        json_member_fixed(b, "short_db", n->short_db, 2);
        buffer_char(b, '}');
        buffer_inherit(b, &mark);
        buffer_free(&mark);
    }
}

static bool left_out(const struct centre_page *p, int i)
{
    const struct dial *dials[RESPONSES] = {&p->deck->bias_dial, &p->deck->level_dial};
    for (int r = 0; r < RESPONSES; r++)
        if (dials[r]->present && !p->needs[r][i].inside)
            return true;
    return false;
}

static void write_page(struct buffer *b, const struct centre_page *p)
{
    int written = 0;
    buffer_char(b, '{');
    json_member_text(b, "deck", p->deck->id);
    write_response(b, p, BIAS);
    write_response(b, p, LEVEL);
    json_name(b, "stocks");
    buffer_char(b, '[');
    for (int i = 0; i < p->count; i++) {
        buffer_text(b, i ? ",\n{" : "\n{");
        write_stock(b, p, i);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
    json_name(b, "left_out");
    buffer_char(b, '[');
    for (int i = 0; i < p->count; i++) {
        if (!left_out(p, i))
            continue;
        const struct model_answer *a = &p->asked[i].answer;
        double bias = p->deck->bias_dial.present ? p->needs[BIAS][i].short_db : 0,
               level = p->deck->level_dial.present ? p->needs[LEVEL][i].short_db : 0;
        buffer_text(b, written++ ? ",\n{" : "\n{");
        json_member_text(b, "stock", p->asked[i].question.stock->id);
        json_member_fixed(b, "bias_short_db", bias, 2);
        json_member_fixed(b, "level_short_db", level, 2);
        /* at the end of the dial: what the two tones then read */
        json_member_fixed(b, "low_db", -level - a->a * bias, 2);
        json_member_fixed(b, "high_db", -level + a->b * bias, 2);
        buffer_char(b, '}');
    }
    buffer_text(b, "]}\n");
}

enum action_result action_deck_centre(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"stocks", "treble_db", NULL};
    struct fault f = {0};
    const char *stocks = request_parameter(&x->request, "stocks");
    double treble_db = 0;
    struct view *v = live_take(house->live);
    struct centre_page p = {.deck = captured_deck(v, x, &f)};
    const struct stock **list = arena_alloc(x->arena, LIMIT_CENTRE_STOCKS * sizeof(const struct stock *));
    bool ok = p.deck && list && parameters_allowed(&x->request, allowed, &f) &&
              parameter_number(&x->request, "treble_db", -LIMIT_TREBLE_DB, LIMIT_TREBLE_DB, &treble_db, &f) &&
              (stocks && *stocks ? named_stocks(v, &p, stocks, list, &f) : logged_stocks(v, x, &p, list, &f)) &&
              find(v, x, &p, list, treble_db, &f);
    if (ok)
        write_page(json_body(x), &p);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
