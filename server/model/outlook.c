/* SPDX-License-Identifier: GPL-3.0-or-later
 * See outlook.h. */
#include "outlook.h"

#include "../trade/check.h"
#include "../trade/spool.h"
#include "view.h"

#include <string.h>

void model_slopes(const struct model_view *v, const struct model_question *q, struct slopes_at *out)
{
    struct setup setup;
    struct dial_worth shared[RESPONSES] = {{0}};
    int deck = view_find(v, view_hash(KEY_DECK, view_text(q->deck->id), 0, 0));
    if (deck >= 0 && v->decks[deck].deck_effect >= 0)
        for (int r = 0; r < RESPONSES; r++)
            shared[r] = (struct dial_worth){.db_per_unit = v->decks[deck].worth[r], .se = v->decks[deck].worth_se[r]};
    struct slope_kind kind = {.tape_class = q->stock ? q->stock->tape_class : q->tape_class,
                              .speed_mm_s = deck_setup(q->deck, q->setup ? q->setup : "", &setup) ? setup.speed_mm_s : ABSENT,
                              .low_hz = given(q->low_hz) ? q->low_hz : deck_low_hz(q->deck),
                              .high_hz = given(q->high_hz) ? q->high_hz : deck_high_hz(q->deck)};
    slope_table_ask(v->slopes, q->deck, kind, shared, out);
}

/* ---- one calibration ---- */

struct model_question model_question_of(const struct calibration *c, const struct deck *d, const struct stock *s)
{
    struct setup setup;
    struct model_question q = {.deck = d, .stock = s, .tape_class = s->tape_class, .setup = c->setup, .batch = c->batch, .tape = c->tape,
                               .channel = c->channel, .recordings = c->recordings, .position_s = c->position_s, .part = ABSENT,
                               .low_hz = c->low_hz, .high_hz = c->high_hz, .at_us = c->made_at_us};
    if (given(c->position_s) && deck_setup(d, c->setup, &setup)) {
        double side_s = side_seconds(s, &setup);
        if (given(side_s) && side_s > 0)
            q.part = fmin(c->position_s / side_s, 1);
    }
    return q;
}

void model_flat(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s, struct flat_result *out)
{
    struct model_question q = model_question_of(c, d, s);
    struct slopes_at at;
    model_slopes(v, &q, &at);
    struct flat_row row = flat_row_of(c, d, &at);
    flat_equivalent(&row, out);
}

const char *model_left_out(const struct calibration *c, const struct stamp *stamp)
{
    if (stamp && stamp->is_void)
        return "void";
    if (c->noise_reduction)
        return "noise reduction";
    if (c->mpx_filter)
        return "MPX filter";
    return c->settled ? NULL : "did not settle";
}
