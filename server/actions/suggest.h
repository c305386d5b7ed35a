/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a question to a setting in dial marks: what GET /api/suggestion, the pages without scripts, the sheets and `biasbook suggest` share. No SQL, no
 * solve, no lock: the view's tables and arithmetic.
 */
#ifndef BIASBOOK_ACTIONS_SUGGEST_H
#define BIASBOOK_ACTIONS_SUGGEST_H

#include "../live/live.h"
#include "../trade/cautions.h"
#include "../trade/dial.h"
#include "exchange.h"

/* One dial's setting. Without a dial only the dB stand. */
struct setting {
    const struct dial *dial; /* the deck's; ->present tells whether there is one */
    double learned;          /* dB per unit of a `learn` dial */
    double db, se_db, low90_db, high90_db;
    double reading;                       /* rounded to the step, inside the dial */
    double low90_reading, high90_reading; /* ascending, inside the dial */
    double db_at_reading;                 /* what that reading gives; 0 without a dial */
    bool beyond;                          /* the wanted value lies outside the dial */
};

struct suggestion {
    struct model_question question;
    struct model_answer answer;
    int64_t as_of;         /* every change up to it is contained */
    const char *fitted_at; /* text, "" = never; lives as long as the view */
    struct setting bias, level;
    double expect_low_db, expect_high_db; /* at the readings given */
    enum position_kind place_kind;
    const char *place_why;    /* why a given place is not known; "" or NULL */
    bool for_noise_reduction; /* it will be recorded with noise reduction */
    double place_tolerance_s; /* of a converted place; 0 = typed in seconds or none */
    int caution_count;
    struct caution cautions[CAUTIONS_MAX];
};

void setting_make(const struct dial *dial, double learned, double db, double se, double low90, double high90, struct setting *out);
/* question is filled; the rest is worked out. */
void suggestion_make(const struct view *v, struct suggestion *s);
void setting_words(struct buffer *b, const struct setting *s, bool is_bias);
void suggestion_write(struct buffer *b, const struct suggestion *s); /* the contract's JSON object */

/* Reads deck, stock or class, setup, channel, batch, tape, recordings, place, treble_db, at from the parameters. What is named is looked up in `v`: 404 when unknown. */
bool question_read(const struct view *v, const struct request *q, struct suggestion *s, struct fault *f);

#endif
