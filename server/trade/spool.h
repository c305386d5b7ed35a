/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Where on the reel: seconds from the start out of turns, counter or part, by spool geometry.
 * Take-up length after n turns L = 2π·r0·n + π·t·n²; time = L / speed. Good to about ±3 % (thickness and hubs vary).
 *
 * Where a stock does not say, usual values stand in (from memory: hub 22 mm on cassette, 60 mm on reel; thickness by playing time), and the
 * tolerance is wider.
 */
#ifndef BIASBOOK_TRADE_SPOOL_H
#define BIASBOOK_TRADE_SPOOL_H

#include "records.h"

#define SPOOL_TOLERANCE       0.03 /* relative, of a converted time; see docs/trade-facts.md */
#define SPOOL_TOLERANCE_GUESS 0.10 /* relative, where thickness and playing time are both unknown */

double spool_length_mm(double hub_radius_mm, double thickness_um, double turns);
double spool_turns(double hub_radius_mm, double thickness_um, double length_mm);
/* Time = A·c + B·c² through two timed readings; ABSENT when they do not rise. */
double counter_points_time_s(const struct counter_point *p, double c);

struct reel_place {
    double position_s;  /* ABSENT when it cannot be known, with the reason in `why` */
    double tolerance_s; /* about one sd; 0 for typed seconds */
    double part;        /* 0..1 of the side; ABSENT when the length is not known */
    const char *why;    /* static text, "" when known */
};
/* `typed` is in the kind's unit; a counter of kind `time` reads seconds. `stock` may be NULL (class question): then usual values by medium stand in for
 * thickness, hub and length where needed. */
struct reel_place place_on_reel(enum position_kind kind, double typed, const struct deck *deck, const struct setup *setup,
                                const struct stock *stock);
/* Seconds of a side: on cassette side_minutes (they are minutes at 47.625 mm/s) or length / speed; on reel length / speed or side_minutes as they are; else ABSENT. */
double side_seconds(const struct stock *stock, const struct setup *setup);
/* The tape speed of a setup, the medium's usual one when not typed. */
double setup_speed_mm_s(const struct deck *deck, const struct setup *setup);
#define CASSETTE_SPEED_MM_S 47.625 /* 1 7/8 in/s */
#define REEL_SPEED_MM_S     190.5  /* 7 1/2 in/s */
#endif
