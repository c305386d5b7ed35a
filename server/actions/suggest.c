/* SPDX-License-Identifier: GPL-3.0-or-later
 * See suggest.h: the arithmetic and the sentences. */
#include "suggest.h"

#include "../trade/check.h"
#include "../trade/flat.h"
#include "../wire/wire.h"

#include <math.h>
#include <string.h>

static double inside(const struct dial *d, double reading)
{
    return fmin(fmax(reading, d->low), d->high);
}

/* A range's end on the dial, to a fifth of a step: finer says more than the range knows. */
static double range_end(const struct dial *d, double learned, double db)
{
    double reading = dial_from_db(d, learned, db);
    if (isnan(reading)) /* a percent or ratio dial that no reading brings so low */
        return d->plus == PLUS_MORE ? d->low : d->high;
    double fifth = dial_step(d) / 5;
    return inside(d, round(reading / fifth) * fifth);
}

void setting_make(const struct dial *dial, double learned, double db, double se, double low90, double high90, struct setting *out)
{
    *out = (struct setting){.dial = dial, .learned = learned, .db = db, .se_db = se, .low90_db = low90, .high90_db = high90};
    if (!dial->present)
        return;
    out->reading = dial_set(dial, learned, db, &out->beyond);
    out->db_at_reading = dial_to_db(dial, learned, out->reading);
    double a = range_end(dial, learned, low90), b = range_end(dial, learned, high90);
    out->low90_reading = fmin(a, b);
    out->high90_reading = fmax(a, b);
}

/* Within the dial the two tones come out as wanted, to the step; what is left is said only when a dial ends or there is none. */
static void expect(struct suggestion *s)
{
    const struct model_answer *a = &s->answer;
    struct slopes slopes = {.a = a->a, .a_se = a->a_se, .b = a->b, .b_se = a->b_se};
    double bias_off = 0, level_off = 0;
    if (!s->bias.dial->present || s->bias.beyond)
        bias_off = s->bias.db_at_reading - s->bias.db;
    if (!s->level.dial->present || s->level.beyond)
        level_off = s->level.db_at_reading - s->level.db;
    double low, high;
    flat_expect(&slopes, bias_off, level_off, &low, &high); /* linear: off the wanted setting as off the flat one */
    s->expect_low_db = low;
    s->expect_high_db = high + s->question.treble_db;
}

static void mind(struct suggestion *s)
{
    const struct model_question *q = &s->question;
    const struct model_answer *a = &s->answer;
    struct caution_facts c;
    caution_facts_init(&c);
    c.deck = q->deck;
    c.tape_class = q->tape_class;
    c.class_only = !q->stock || a->of_stock == 0;
    c.position_kind = s->place_kind;
    c.position_s = q->position_s;
    c.position_why = s->place_why;
    c.recordings = q->recordings;
    c.treble_db = q->treble_db;
    c.for_noise_reduction = s->for_noise_reduction;
    c.bias_beyond = s->bias.beyond;
    c.level_beyond = s->level.beyond;
    c.left_low_db = s->expect_low_db;
    c.left_high_db = s->expect_high_db - q->treble_db;
    c.of_stock = a->of_stock;
    c.on_deck = a->on_deck;
    c.club = a->club;
    for (int r = 0; r < RESPONSES; r++)
        c.worth_rel_se[r] = a->worth_se[r] > 0 ? a->worth_se[r] / fabs(a->worth[r]) : 0;
    s->caution_count = cautions_of(&c, s->cautions);
}

void suggestion_make(const struct view *v, struct suggestion *s)
{
    const struct deck *d = s->question.deck;
    const struct model_answer *a = &s->answer;
    model_ask(v->model, &s->question, &s->answer);
    s->as_of = v->as_of;
    s->fitted_at = v->fitted_at;
    setting_make(&d->bias_dial, a->worth[BIAS], a->mean[BIAS], a->se[BIAS], a->low90[BIAS], a->high90[BIAS], &s->bias);
    setting_make(&d->level_dial, a->worth[LEVEL], a->mean[LEVEL], a->se[LEVEL], a->low90[LEVEL], a->high90[LEVEL], &s->level);
    expect(s);
    mind(s);
}

void setting_words(struct buffer *b, const struct setting *s, bool is_bias)
{
    if (!s->dial->present)
        buffer_text(b, is_bias ? "no bias dial on this deck: its own bias stays" : "no record trim on this deck: its own level stays");
    else
        dial_words(b, s->dial, s->reading, is_bias);
}
