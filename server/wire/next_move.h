/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The body of POST /api/next-move: which tape on which deck, what is wanted, and all readings of this tape so far.
 */
#ifndef BIASBOOK_WIRE_NEXT_MOVE_H
#define BIASBOOK_WIRE_NEXT_MOVE_H

#include "../ground/fault.h"
#include "../ground/memory.h"
#include "../trade/records.h"

enum next_move_plan { PLAN_SINGLE, PLAN_LADDER };

struct next_move_body {
    /* deck, stock ("" when a class is asked), setup, channel, batch, tape, position_kind and position_typed, recordings, treble_db, for_noise_reduction,
     * low_hz, high_hz, tone_db, bias_method, drop_db, drop_hz, moves: as in a calibration, the rest not given */
    struct calibration ask;
    enum tape_class tape_class; /* CLASS_NONE unless a class is asked */
    enum next_move_plan plan;   /* PLAN_SINGLE when not given */
};
/* Exactly one of `stock` and `class`; `deck` is required. Whether the readings make sense on the deck is check_bench's business (trade/check.h). */
bool wire_read_next_move(const char *json, size_t n, struct arena *a, struct next_move_body *out, struct fault *f);

#endif
