/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A decoded calibration made whole: looked up, checked against its deck and stock, its place on the reel turned into seconds. Used by the
 * single PUT, the form and the import alike, so that the same input meets the same fault.
 */
#ifndef BIASBOOK_ACTIONS_PLACE_H
#define BIASBOOK_ACTIONS_PLACE_H

#include "../ground/fault.h"
#include "../trade/records.h"

/* `deck`, `stock` NULL = not known to the club (said as a fault). Fills c->position_s. */
bool calibration_complete(struct calibration *c, const struct deck *deck, const struct stock *stock, int64_t latest_us, struct fault *f);

#endif
