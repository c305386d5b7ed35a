/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Flat equivalents: what the setting would have been for a flat result, out of the setting and the two as-left readings.
 *
 *   reading low  ℓ = (level − level_flat) + a·(bias − bias_flat)
 *   reading high h = (level − level_flat) − b·(bias − bias_flat)
 * hence
 *   bias_flat  = bias + (h − ℓ)/(a + b)
 *   level_flat = level − ℓ − a·(h − ℓ)/(a + b)
 *
 * and backwards for a wanted treble T: ℓ = 0, h = T. All dB; index 0 bias, 1 level. Pure.
 */
#ifndef BIASBOOK_TRADE_FLAT_H
#define BIASBOOK_TRADE_FLAT_H

#include "slopes.h"

struct flat_row {
    double setting[2];       /* bias, level as set, dB on the dials; 0 where the deck has no such dial */
    double low_db, high_db;  /* as left, tape minus source; either ABSENT = no readings, then ℓ = 0 and h = treble_db */
    double treble_db;        /* wanted; ABSENT = 0 */
    enum bias_method method; /* only METHOD_FLAT is corrected */
    double meter_step_db;    /* ABSENT = not known, counts as 0 */
    double dial_step_db[2];  /* what the finest step of each dial is worth there; 0 = no dial */
    double worth_rel_se[2];  /* of a `learn` dial: se/worth; else 0 */
    struct slopes slopes;    /* the deck's `seen` slopes at the tones used */
};
struct flat_result {
    double value[2]; /* flat equivalents, dB */
    double variance
        [2]; /* s² of each, dB²: slopes (delta method), meter step, dial step (uniform: step²/12), learned dial; the reading's own noise is not in it */
    double meter[2];      /* of it: the meter's step, of these readings alone */
    double correction[2]; /* value − setting */
    bool read;            /* readings were used */
};
void flat_equivalent(const struct flat_row *row, struct flat_result *out);

/* Row of a calibration on its deck (dials, meter step, defaults); `at` are what slope_table_ask says. A deck without a dial has setting 0 there. */
struct flat_row flat_row_of(const struct calibration *c, const struct deck *d, const struct slopes_at *at);

/* Backwards: the settings that give ℓ = 0 and h = treble_db. */
void flat_to_setting(const struct slopes *s, const double flat[2], double treble_db, double setting[2]);
/* The two readings to expect `bias_off`, `level_off` dB above the flat settings; flat_equivalent's inverse. */
void flat_expect(const struct slopes *s, double bias_off, double level_off, double *low_db, double *high_db);
#endif
