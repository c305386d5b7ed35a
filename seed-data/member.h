/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A member at the bench: starts somewhere, reads two tones, turns two dials by rule of thumb until it sits or patience ends, and writes a calibration
 * down by habit. What is written is what such a person would write, slips included; nothing is computed from the truth.
 */
#ifndef BIASBOOK_SEED_MEMBER_H
#define BIASBOOK_SEED_MEMBER_H

#include "workbench.h"

struct member {
    char name[LIMIT_NAME + 1];
    double taste_db; /* likes the high tone this much above flat */
    bool says_taste; /* writes it down as treble_db */
    double reads;    /* share of results for which as-left readings are written */
    double writes_moves, writes_place, counts_recordings;
    double coarse;      /* multiplies the meter's step when reading */
    double patient;     /* looks before giving up, on a three-head deck */
    double slope_guess; /* dB of treble thought to change per dB of bias */
    double tight;       /* multiplies the tolerance at which it is called settled */
    double by_ear;      /* share of results set by ear, without meters */
    double slips;       /* share of misentries */
};

enum misentry { ENTRY_RIGHT, ENTRY_SIGN, ENTRY_TENFOLD, ENTRY_OTHER_DECK };

/* What was really done, beside what was written. */
struct bench_fact {
    enum misentry misentry;
    double set_db[2]; /* nominal dB really left on the dials */
    int looks;        /* readings taken */
};

/* `start` = nominal dB to begin with (0 = the detent). Fills bias, level, stops, method, readings, moves, settled, treble_db; the caller has filled who, what and where
 * (`place` physically, `c`'s members as written). A misentry of the dial reading is made here with the member's share; ENTRY_OTHER_DECK is the caller's. */
void member_calibrate(const struct member *m, const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *place,
                      const double start[2], struct chance *chance, struct calibration *c, struct bench_fact *fact);
#endif
