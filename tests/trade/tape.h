/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A tape on a deck as the tests imagine it: output against bias as a broad hump at the low tone and a narrower one, at lower
 * bias, at the high tone. Not the estimator's straight lines and not its parabola either: three shapes of hump take turns.
 */
#ifndef BIASBOOK_TESTS_TRADE_TAPE_H
#define BIASBOOK_TESTS_TRADE_TAPE_H

#include "random.h"

enum hump { HUMP_PARABOLA, HUMP_SELF_ERASURE, HUMP_HYPERBOLA, HUMPS };

struct tape {
    double need[2]; /* bias, level at which both tones read 0 */
    double a, r;    /* low tone: slope at the need, and how it flattens per dB */
    double b, peak; /* high tone: fall at the need; its peak lies `peak` dB below */
    enum hump hump;
};

struct meter {
    double noise[2]; /* sd of a glance, low and high tone */
    double step_db;  /* segments; 0 = read to the tenth or better */
};

/* Slopes and shape at random; needs 0. */
struct tape tape_make(struct dice *dice);
/* True levels, tape minus source, at a setting in dB. */
void tape_levels(const struct tape *t, double bias, double level, double *low, double *high);
void meter_read(const struct meter *m, struct dice *dice, double *low, double *high);

#endif
