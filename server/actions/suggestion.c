/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/suggestion: where to start, for this deck and this tape, in its own dial marks. The hot path: tables in, text out.
 */
#include "actions.h"
#include "answer.h"
#include "suggest.h"

#include "../trade/check.h"
#include "../trade/classes.h"
#include "../trade/spool.h"
#include "../wire/wire.h"

#include <math.h>
#include <string.h>

/* ---- the question ---- */

static bool read_deck_and_tape(const struct view *v, const struct request *q, struct model_question *m, struct fault *f)
{
    const char *deck = request_parameter(q, "deck"), *stock = request_parameter(q, "stock"), *class_id = request_parameter(q, "class");
    bool fine = true;
    m->tape_class = CLASS_NONE;
    if (!deck || !*deck)
        fine = fault_add(f, FAULT_UNACCEPTABLE, "deck", "required", "say which deck: deck=ID; /api/decks lists them");
    else if (!(m->deck = catalog_deck(v->catalog, deck)))
        fine = fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck", "the club has no deck '%.64s'; /api/decks lists them", deck);
    if (stock && *stock && class_id && *class_id)
        fine = fault_add(f, FAULT_UNACCEPTABLE, "class", "stock-or-class", "give stock or class, not both");
    else if (stock && *stock) {
        if (!(m->stock = catalog_stock(v->catalog, stock)))
            fine = fault_add(f, FAULT_UNKNOWN, "stock", "unknown-stock",
                             "the club has no stock '%.64s'; /api/stocks lists them, or ask with class= for a tape nobody has logged", stock);
        else
            m->tape_class = m->stock->tape_class;
    } else if (class_id && *class_id) {
        if ((m->tape_class = class_from_id(class_id)) == CLASS_NONE)
            fine = fault_add(f, FAULT_UNKNOWN, "class", "unknown-class", "there is no class '%.40s'; /api/classes lists them", class_id);
    } else {
        fine = fault_add(f, FAULT_UNACCEPTABLE, "stock", "required", "say which tape: stock=ID, or class=ID for a tape nobody has logged");
    }
    if (fine && m->deck->medium != class_info(m->tape_class)->medium)
        fine = fault_add(f, FAULT_UNACCEPTABLE, m->stock ? "stock" : "class", "media-differ", "this deck takes %s, this tape is %s",
                         medium_id(m->deck->medium), medium_id(class_info(m->tape_class)->medium));
    return fine;
}

static bool read_channel(const struct request *q, struct model_question *m, struct fault *f)
{
    const char *text = request_parameter(q, "channel");
    m->channel = CHANNEL_BOTH;
    if (!text || !*text || !strcmp(text, "both"))
        return true;
    if (!strcmp(text, "left"))
        m->channel = CHANNEL_LEFT;
    else if (!strcmp(text, "right"))
        m->channel = CHANNEL_RIGHT;
    else
        return fault_add(f, FAULT_UNACCEPTABLE, "channel", "unknown-channel", "the channel is both, left or right");
    return true;
}

static bool read_place(const struct request *q, struct suggestion *s, struct fault *f)
{
    static const struct {
        const char *name;
        enum position_kind kind;
        double high;
    } ways[] = {{"position_s", POSITION_S, LIMIT_POSITION_S},
                {"position_turns", POSITION_TURNS, LIMIT_POSITION_TURNS},
                {"position_counter", POSITION_COUNTER, LIMIT_POSITION_COUNTER},
                {"position_part", POSITION_PART, 1}};
    struct model_question *m = &s->question;
    enum position_kind kind = POSITION_NONE;
    double typed = ABSENT;
    bool fine = true;
    m->position_s = m->part = ABSENT;
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++) {
        double value = ABSENT;
        fine = parameter_number(q, ways[i].name, 0, ways[i].high, &value, f) && fine;
        if (!given(value))
            continue;
        if (kind != POSITION_NONE)
            fine = fault_add(f, FAULT_UNACCEPTABLE, ways[i].name, "one-place", "give the place on the reel in one way only");
        kind = ways[i].kind;
        typed = value;
    }
    struct setup setup;
    if (!fine || kind == POSITION_NONE || !m->deck || !deck_setup(m->deck, m->setup, &setup))
        return fine;
    struct reel_place place = place_on_reel(kind, typed, m->deck, &setup, m->stock);
    m->position_s = place.position_s;
    m->part = place.part;
    s->place_tolerance_s = place.tolerance_s;
    s->place_why = place.why;
    s->place_kind = kind;
    return true;
}

bool question_read(const struct view *v, const struct request *q, struct suggestion *s, struct fault *f)
{
    struct model_question *m = &s->question;
    struct setup setup;
    long recordings = -1;
    bool fine = read_deck_and_tape(v, q, m, f);
    m->setup = request_parameter(q, "setup");
    m->batch = request_parameter(q, "batch");
    m->tape = request_parameter(q, "tape");
    if (m->deck && !deck_setup(m->deck, m->setup ? m->setup : "", &setup))
        fine = fault_add(f, FAULT_UNKNOWN, "setup", "unknown-setup", "this deck has no setup '%.64s'", m->setup);
    if (!m->setup)
        m->setup = "";
    fine = read_channel(q, m, f) && fine;
    fine = parameter_count(q, "recordings", 0, LIMIT_RECORDINGS, &recordings, f) && fine;
    m->recordings = (int)recordings;
    m->treble_db = 0;
    fine = parameter_number(q, "treble_db", -LIMIT_TREBLE_DB, LIMIT_TREBLE_DB, &m->treble_db, f) && fine;
    m->low_hz = m->high_hz = ABSENT;
    fine = parameter_number(q, "low_hz", LIMIT_HZ_LOW, LIMIT_HZ_HIGH, &m->low_hz, f) && fine;
    fine = parameter_number(q, "high_hz", LIMIT_HZ_LOW, LIMIT_HZ_HIGH, &m->high_hz, f) && fine;
    m->at_us = q->now_us;
    fine = parameter_time(q, "at", &m->at_us, f) && fine;
    fine = parameter_flag(q, "for_noise_reduction", &s->for_noise_reduction, f) && fine;
    return read_place(q, s, f) && fine;
}

/* ---- the answer ---- */

static void pair_of(struct buffer *b, const char *name, double low, double high, int decimals)
{
    json_name(b, name);
    buffer_char(b, '[');
    buffer_fixed(b, low, decimals);
    buffer_char(b, ',');
    buffer_fixed(b, high, decimals);
    buffer_char(b, ']');
}

static void number(struct buffer *b, const char *name, double value, int decimals)
{
    json_name(b, name);
    buffer_fixed(b, value, decimals);
}

static void flag(struct buffer *b, const char *name, bool value)
{
    json_name(b, name);
    buffer_text(b, value ? "true" : "false");
}

static void write_setting(struct buffer *b, const char *name, const struct setting *s, bool is_bias)
{
    struct buffer words;
    buffer_init(&words, 1024);
    setting_words(&words, s, is_bias);
    json_name(b, name);
    buffer_char(b, '{');
    if (s->dial->present) {
        number(b, "dial", s->reading, 6);
        json_name(b, "unit"), json_text(b, dial_unit(s->dial));
    } else {
        buffer_text(b, "\"dial\":null,\"unit\":null");
    }
    json_name(b, "words"), json_text(b, words.data ? words.data : "");
    number(b, "db", s->db, 4);
    number(b, "se_db", s->se_db, 4);
    pair_of(b, "range90_db", s->low90_db, s->high90_db, 4);
    if (s->dial->present) {
        pair_of(b, "range90_dial", s->low90_reading, s->high90_reading, 6);
        json_name(b, "ruler");
        buffer_char(b, '{');
        number(b, "low", s->dial->low, 6), number(b, "high", s->dial->high, 6), number(b, "zero", dial_zero(s->dial), 6),
            number(b, "step", dial_step(s->dial), 6);
        json_name(b, "plus"), buffer_text(b, s->dial->plus == PLUS_MORE ? "\"more\"}" : "\"less\"}");
    } else {
        buffer_text(b, ",\"range90_dial\":null");
    }
    flag(b, "beyond_dial", s->beyond);
    buffer_char(b, '}');
    buffer_free(&words);
}

static void write_parts(struct buffer *b, const struct model_answer *a)
{
    json_name(b, "parts");
    buffer_char(b, '[');
    for (int i = 0; i < a->part_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        json_name(b, "name"), json_text(b, a->parts[i].name);
        number(b, "bias_db", a->parts[i].value[BIAS], 4);
        number(b, "level_db", a->parts[i].value[LEVEL], 4);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_basis(struct buffer *b, const struct model_answer *a)
{
    json_name(b, "basis");
    buffer_text(b, "{\"kind\":");
    json_text(b, basis_kind_text(a->basis));
    buffer_text(b, ",\"pair\":"), buffer_int(b, a->pair);
    buffer_text(b, ",\"deck\":"), buffer_int(b, a->on_deck);
    buffer_text(b, ",\"stock\":"), buffer_int(b, a->of_stock);
    buffer_text(b, ",\"club\":"), buffer_int(b, a->club);
    buffer_text(b, ",\"members\":"), buffer_int(b, a->members);
    buffer_char(b, '}');
}

static void write_cautions(struct buffer *b, const struct suggestion *s)
{
    json_name(b, "cautions");
    buffer_char(b, '[');
    for (int i = 0; i < s->caution_count; i++) {
        buffer_text(b, i ? ",{" : "{");
        json_name(b, "code"), json_text(b, s->cautions[i].code);
        json_name(b, "text"), json_text(b, s->cautions[i].text);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

void suggestion_write(struct buffer *b, const struct suggestion *s)
{
    const struct model_question *m = &s->question;
    char when[CLOCK_TEXT];
    buffer_char(b, '{');
    json_name(b, "deck"), json_text(b, m->deck->id);
    if (m->stock)
        json_name(b, "stock"), json_text(b, m->stock->id);
    json_name(b, "class"), json_text(b, class_info(m->tape_class)->id);
    json_name(b, "setup"), json_text(b, m->setup[0] ? m->setup : "main");
    number(b, "treble_db", m->treble_db, 4);
    write_setting(b, "bias", &s->bias, true);
    write_setting(b, "level", &s->level, false);
    json_name(b, "expect");
    buffer_char(b, '{');
    number(b, "low_db", s->expect_low_db, 2), number(b, "high_db", s->expect_high_db, 2);
    buffer_char(b, '}');
    write_basis(b, &s->answer);
    write_parts(b, &s->answer);
    write_cautions(b, s);
    json_name(b, "slopes");
    buffer_char(b, '{');
    number(b, "a", s->answer.a, 4), number(b, "a_se", s->answer.a_se, 4), number(b, "b", s->answer.b, 4), number(b, "b_se", s->answer.b_se, 4);
    buffer_char(b, '}');
    if (given(m->position_s)) {
        number(b, "place_s", m->position_s, 1);
        number(b, "place_tolerance_s", s->place_tolerance_s, 1);
    }
    json_name(b, "model");
    buffer_text(b, "{\"as_of\":"), buffer_int(b, s->figures.as_of);
    buffer_text(b, ",\"fitted_at\":");
    if (s->figures.fitted_us == CLOCK_NONE)
        buffer_text(b, "null");
    else
        json_text(b, clock_format(s->figures.fitted_us, 0, when));
    buffer_text(b, "}}\n");
}

enum action_result action_suggestion(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"deck",       "stock",          "class",            "setup",         "channel",   "batch",  "tape",
                                          "recordings", "position_s",     "position_turns",   "position_counter", "position_part", "treble_db",
                                          "at",         "low_hz",         "high_hz",          "for_noise_reduction", NULL};
    struct fault f = {0};
    struct suggestion *s = arena_alloc(x->arena, sizeof *s);
    if (!s)
        return ACTION_DONE;
    struct view *v = live_take(house->live);
    if (!parameters_allowed(&x->request, allowed, &f) || !question_read(v, &x->request, s, &f)) {
        view_give(v);
        return answer_fault(x, &f);
    }
    suggestion_make(v, s);
    suggestion_write(json_body(x), s);
    view_give(v);
    return answer_json(x);
}
