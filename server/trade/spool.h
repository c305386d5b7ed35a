/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Where on the reel: seconds from the start out of turns, counter or part, by spool geometry.
 * Take-up length after n turns L = 2π·r0·n + π·t·n²; time = L / speed. Good to about ±3 % (thickness and hubs vary).
 */
#ifndef BIASBOOK_TRADE_SPOOL_H
#define BIASBOOK_TRADE_SPOOL_H

#include "records.h"

#define SPOOL_TOLERANCE 0.03 /* relative, of a converted time; see docs/trade-facts.md */

double spool_length_mm(double hub_radius_mm, double thickness_um, double turns);
double spool_turns(double hub_radius_mm, double thickness_um, double length_mm);
/* Time = A·c + B·c² through two timed readings; ABSENT when they do not rise. */
double counter_points_time_s(const struct counter_point *p, double c);

struct reel_place {
    double position_s;   /* ABSENT when it cannot be known, with the reason in `why` */
    double tolerance_s;  /* about one sd; 0 for typed seconds */
    double part;         /* 0..1 of the side; ABSENT when the length is not known */
    const char *why;     /* static text, "" when known */
};
/* `stock` may be NULL (class question): then usual values by medium stand in for thickness, hub and length where needed. */
struct reel_place place_on_reel(enum position_kind kind, double typed, const struct deck *deck, const struct setup *setup, const struct stock *stock);
/* Seconds of a side: side_minutes, else length / speed, else ABSENT. */
double side_seconds(const struct stock *stock, const struct setup *setup);
#endif
