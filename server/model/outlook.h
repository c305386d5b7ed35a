/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a view can tell beside a suggestion: the slopes behind it, a calibration's flat equivalent, a stock and a deck each by itself, how two stocks
 * stand to each other on one deck. All from the view's tables: immutable, any thread, no solve, no allocation.
 *
 * dB, bias + = more bias = duller, level + = more record gain; index 0 bias, 1 level.
 */
#ifndef BIASBOOK_MODEL_OUTLOOK_H
#define BIASBOOK_MODEL_OUTLOOK_H

#include "../trade/flat.h"
#include "../trade/slopes.h"
#include "club.h"

/* How this deck answers to its dials with the tape, setup and tones of the question, as the view's suggestions use it. Of `q` only deck, stock or tape_class,
 * setup, low_hz and high_hz count. */
void model_slopes(const struct model_view *v, const struct model_question *q, struct slopes_at *out);

/* The question that a calibration answers: its own deck, stock, setup, channel, batch, tape, place, tones and instant; wanted treble 0. The texts are
 * borrowed from `c`. */
struct model_question model_question_of(const struct calibration *c, const struct deck *d, const struct stock *s);

/* The flat equivalents of a calibration by the view's slopes. */
void model_flat(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s, struct flat_result *out);

/* Whether the fit sees this calibration; else why not: "void", "noise reduction", "MPX filter", "did not settle". NULL = it does. */
const char *model_left_out(const struct calibration *c, const struct stamp *stamp);

#endif
