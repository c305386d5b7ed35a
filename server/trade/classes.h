/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The formulation classes: the IEC's four cassette types and three operating-level groups of open-reel tape; and the
 * equalisations that go with them.
 */
#ifndef BIASBOOK_TRADE_CLASSES_H
#define BIASBOOK_TRADE_CLASSES_H

#include "records.h"

struct class_info {
    const char *id;   /* "type-1" … */
    const char *name; /* for a person */
    enum medium medium;
    const char *equalisation; /* usual playback equalisation, e.g. "120us" */
};
const struct class_info *class_info(enum tape_class c); /* NULL out of range */
enum tape_class class_from_id(const char *id);          /* CLASS_NONE */
const char *medium_id(enum medium m);                   /* "cassette", "reel"; "" */
enum medium medium_from_id(const char *id);             /* MEDIUM_NONE */

/* The turnover of a time constant, f = 1/(2πτ): 120 µs is 1326 Hz. */
double equalisation_turnover_hz(double time_constant_us);
/* The time constant in a setup's equalisation: "120us", "70 us", "3180+50us" (the last one, which shapes the treble). ABSENT when it is not one. */
double equalisation_time_constant_us(const char *text);
/* For messages that say what can be chosen. */
#define CLASS_NAMES "type-1, type-2, type-3, type-4, reel-standard, reel-high-output, reel-extra-output"

#endif
