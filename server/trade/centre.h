/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Where should the technician put the inside preset? One shift for all, such that what the named tapes need lies inside the user's dial. Pure.
 */
#ifndef BIASBOOK_TRADE_CENTRE_H
#define BIASBOOK_TRADE_CENTRE_H

#include <stdbool.h>

/* What one tape needs on the user's dial as it is now: its setting and its range, dB; low <= need <= high. */
struct centre_need {
    double need, low, high;
    bool inside;       /* filled: after the shift its setting lies on the dial */
    bool whole_inside; /* filled: its whole range does */
    double short_db;   /* filled: what its setting lacks beyond the dial's end; + = more than the dial gives, 0 inside */
};

struct centre {
    double shift_db;       /* raise the inside preset by so much; 0 = leave it */
    double from_db, to_db; /* every shift in between keeps as much inside; equal when there is just one */
    int inside, whole_inside;
    double spare_db; /* least distance of a kept setting from the dial's ends after the shift */
};

/* `low`, `high`: ends of the dial, dB, low < high. Keeps as many settings inside as can be, among those shifts as many whole ranges, among those the one that leaves most
 * room for those kept; no shift when none keeps more and the present room is at least `enough_db`. */
void centre_find(double low, double high, struct centre_need *needs, int count, double enough_db, struct centre *out);

#endif
