/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How a coating answers to bias, from the head's field: what the invented clubs are made of, and what the estimator is judged against.
 * Nothing here knows the estimator's equations.
 *
 * The record gap's field is Karlqvist's (Trans. Roy. Inst. Technol. Stockholm 86, 1954): along the tape H = H0·θ/π, θ the angle under which the gap is
 * seen. A particle's magnetisation freezes where the bias falls to its coercivity, on the trailing side of the circle θ = π·Hc/H0 through the gap's edges
 * (freezing on a contour: Bertram, "Theory of Magnetic Recording", 1994). Its signal is the signal field there, so it falls with bias; deep layers join as
 * bias grows. Summed over depth and over the spread of coercivities with the phase of each place and the loss exp(−2πy/λ) of depth and spacing (Wallace, Bell
 * Syst. Tech. J. 30, 1951) this gives the broad peak of a low tone, the earlier, narrower one of a high tone, and a treble that falls faster than the low tone.
 */
#ifndef BIASBOOK_SEED_TAPE_PHYSICS_H
#define BIASBOOK_SEED_TAPE_PHYSICS_H

#include "trade/records.h"

struct coat {
    double need_db;        /* coercivity, dB over the type 1 reference coating */
    double sensitivity_db; /* remanence, dB over its class's reference coating */
    double thickness_um;   /* of the coating alone */
    double spacing_um;     /* roughness: how far the coating stays from the head */
    double spread;         /* relative standard deviation of coercivity inside the coating */
};

/* The coating that decks are aligned with for this class. Relative bias by class and thickness: common practice, no source. */
struct coat tape_reference(enum tape_class c);

/* Playback of a tone recorded with constant current, dB (only differences mean anything). `bias_db` is the gap's field over the type 1 reference
 * coercivity. Smooth in everything; below a gap field equal to the coercivity it is held at that of 1.05 × it. */
double tape_output_db(const struct coat *c, double gap_um, double wavelength_um, double bias_db);

/* The bias at which the low tone rises by `slope` dB per dB of bias on the way up to its peak: how a maker sets a preset. */
double tape_preset_db(const struct coat *c, double gap_um, double low_wavelength_um, double slope);

/* What times of recording over do to a coating: the surface polishes and sheds, saturating. `durability` 1 is an ordinary tape, smaller wears faster. */
struct coat tape_worn(struct coat c, double recordings, double durability);

double tape_wavelength_um(double speed_mm_s, double hz);
#endif
