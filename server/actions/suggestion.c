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
#include <stddef.h>
#include <string.h>

/* ---- the question ---- */

static bool read_deck_and_tape(const struct view *v, const struct request *q, struct model_question *m, struct fault *f)
{
    const char *deck = request_parameter(q, "deck"), *stock = request_parameter(q, "stock"), *class_id = request_parameter(q, "class");
    bool fine = true;
    m->tape_class = CLASS_NONE;
    if (!deck || !*deck)
        fine = fault_add(f, FAULT_UNACCEPTABLE, "deck", "required", "say which deck, by its short name");
    else if (!(m->deck = catalog_deck(v->catalog, deck)))
        fine = fault_add(f, FAULT_UNKNOWN, "deck", "unknown-deck",
                         "the club has no deck '%.64s'; check its short name in the list of decks", deck);
    if (stock && *stock && class_id && *class_id)
        fine = fault_add(f, FAULT_UNACCEPTABLE, "class", "stock-or-class", "give stock or class, not both");
    else if (stock && *stock) {
        if (!(m->stock = catalog_stock(v->catalog, stock)))
            fine = fault_add(
                f, FAULT_UNKNOWN, "stock", "unknown-stock",
                "the club has no stock '%.64s'; check its short name in the list of tapes, or ask with class= for a tape nobody has logged",
                stock);
        else
            m->tape_class = m->stock->tape_class;
    } else if (class_id && *class_id) {
        if ((m->tape_class = class_from_id(class_id)) == CLASS_NONE)
            fine = fault_add(f, FAULT_UNKNOWN, "class", "unknown-class", "there is no class '%.40s'; it is one of " CLASS_NAMES, class_id);
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

/* ---- the answer: pieces of known length, commas included; this is the hot path ---- */

#define LITERAL(b, text) buffer_add(b, "" text, sizeof(text) - 1)

/* Our own identifiers: nothing in them to escape. */
static void quoted(struct buffer *b, const char *id)
{
    buffer_char(b, '"');
    buffer_text(b, id);
    buffer_char(b, '"');
}

static void pair_of(struct buffer *b, double low, double high, int decimals)
{
    buffer_char(b, '[');
    buffer_fixed(b, low, decimals);
    buffer_char(b, ',');
    buffer_fixed(b, high, decimals);
    buffer_char(b, ']');
}

static void write_dial(struct buffer *b, const struct setting *s)
{
    LITERAL(b, ",\"range90_dial\":");
    pair_of(b, s->low90_reading, s->high90_reading, 6);
    LITERAL(b, ",\"ruler\":{\"low\":");
    buffer_fixed(b, s->dial->low, 6);
    LITERAL(b, ",\"high\":");
    buffer_fixed(b, s->dial->high, 6);
    LITERAL(b, ",\"zero\":");
    buffer_fixed(b, dial_zero(s->dial), 6);
    LITERAL(b, ",\"step\":");
    buffer_fixed(b, dial_step(s->dial), 6);
    if (s->dial->plus == PLUS_MORE)
        LITERAL(b, ",\"plus\":\"more\"}");
    else
        LITERAL(b, ",\"plus\":\"less\"}");
}

static void write_setting(struct buffer *b, const struct setting *s, bool is_bias, struct buffer *words)
{
    buffer_clear(words);
    setting_words(words, s, is_bias);
    buffer_inherit(b, words);
    if (s->dial->present) {
        LITERAL(b, "{\"dial\":");
        buffer_fixed(b, s->reading, 6);
        LITERAL(b, ",\"unit\":");
        json_text(b, dial_unit(s->dial));
    } else {
        LITERAL(b, "{\"dial\":null,\"unit\":null");
    }
    LITERAL(b, ",\"words\":");
    json_text(b, words->data);
    LITERAL(b, ",\"db\":");
    buffer_fixed(b, s->db, 4);
    LITERAL(b, ",\"se_db\":");
    buffer_fixed(b, s->se_db, 4);
    LITERAL(b, ",\"range90_db\":");
    pair_of(b, s->low90_db, s->high90_db, 4);
    if (s->dial->present)
        write_dial(b, s);
    else
        LITERAL(b, ",\"range90_dial\":null");
    if (s->beyond)
        LITERAL(b, ",\"beyond_dial\":true}");
    else
        LITERAL(b, ",\"beyond_dial\":false}");
}

static void write_parts(struct buffer *b, const struct model_answer *a)
{
    LITERAL(b, ",\"parts\":[");
    for (int i = 0; i < a->part_count; i++) {
        if (i)
            buffer_char(b, ',');
        LITERAL(b, "{\"name\":");
        quoted(b, a->parts[i].name);
        LITERAL(b, ",\"bias_db\":");
        buffer_fixed(b, a->parts[i].value[BIAS], 4);
        LITERAL(b, ",\"level_db\":");
        buffer_fixed(b, a->parts[i].value[LEVEL], 4);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_basis(struct buffer *b, const struct model_answer *a)
{
    LITERAL(b, ",\"basis\":{\"kind\":");
    quoted(b, basis_kind_text(a->basis));
    LITERAL(b, ",\"pair\":");
    buffer_int(b, a->pair);
    LITERAL(b, ",\"deck\":");
    buffer_int(b, a->on_deck);
    LITERAL(b, ",\"stock\":");
    buffer_int(b, a->of_stock);
    LITERAL(b, ",\"club\":");
    buffer_int(b, a->club);
    LITERAL(b, ",\"members\":");
    buffer_int(b, a->members);
    buffer_char(b, '}');
}

static void write_cautions(struct buffer *b, const struct suggestion *s)
{
    LITERAL(b, ",\"cautions\":[");
    for (int i = 0; i < s->caution_count; i++) {
        if (i)
            buffer_char(b, ',');
        LITERAL(b, "{\"code\":");
        quoted(b, s->cautions[i].code);
        LITERAL(b, ",\"text\":");
        json_text(b, s->cautions[i].text);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

static void write_slopes(struct buffer *b, const struct model_answer *a)
{
    LITERAL(b, ",\"slopes\":{\"a\":");
    buffer_fixed(b, a->a, 4);
    LITERAL(b, ",\"a_se\":");
    buffer_fixed(b, a->a_se, 4);
    LITERAL(b, ",\"b\":");
    buffer_fixed(b, a->b, 4);
    LITERAL(b, ",\"b_se\":");
    buffer_fixed(b, a->b_se, 4);
    buffer_char(b, '}');
}

static void write_question(struct buffer *b, const struct model_question *m)
{
    LITERAL(b, "{\"deck\":");
    quoted(b, m->deck->id);
    if (m->stock) {
        LITERAL(b, ",\"stock\":");
        quoted(b, m->stock->id);
    }
    LITERAL(b, ",\"class\":");
    quoted(b, class_info(m->tape_class)->id);
    LITERAL(b, ",\"setup\":");
    quoted(b, m->setup[0] ? m->setup : "main");
    LITERAL(b, ",\"treble_db\":");
    buffer_fixed(b, m->treble_db, 4);
}

void suggestion_write(struct buffer *b, const struct suggestion *s)
{
    struct buffer words;
    buffer_init(&words, 1024);
    write_question(b, &s->question);
    LITERAL(b, ",\"bias\":");
    write_setting(b, &s->bias, true, &words);
    LITERAL(b, ",\"level\":");
    write_setting(b, &s->level, false, &words);
    buffer_free(&words);
    LITERAL(b, ",\"expect\":{\"low_db\":");
    buffer_fixed(b, s->expect_low_db, 2);
    LITERAL(b, ",\"high_db\":");
    buffer_fixed(b, s->expect_high_db, 2);
    buffer_char(b, '}');
    write_basis(b, &s->answer);
    write_parts(b, &s->answer);
    write_cautions(b, s);
    write_slopes(b, &s->answer);
    if (given(s->question.position_s)) {
        LITERAL(b, ",\"place_s\":");
        buffer_fixed(b, s->question.position_s, 1);
        LITERAL(b, ",\"place_tolerance_s\":");
        buffer_fixed(b, s->place_tolerance_s, 1);
    }
    LITERAL(b, ",\"model\":{\"as_of\":");
    buffer_int(b, s->as_of);
    LITERAL(b, ",\"fitted_at\":");
    if (s->fitted_at[0])
        json_text(b, s->fitted_at);
    else
        LITERAL(b, "null");
    LITERAL(b, "}}\n");
}

enum action_result action_suggestion(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"deck",
                                          "stock",
                                          "class",
                                          "setup",
                                          "channel",
                                          "batch",
                                          "tape",
                                          "recordings",
                                          "position_s",
                                          "position_turns",
                                          "position_counter",
                                          "position_part",
                                          "treble_db",
                                          "at",
                                          "low_hz",
                                          "high_hz",
                                          "for_noise_reduction",
                                          NULL};
    struct fault f;
    fault_clear(&f);
    struct suggestion local, *s = &local;
    memset(s, 0, offsetof(struct suggestion, cautions)); /* the cautions are large and counted */
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
