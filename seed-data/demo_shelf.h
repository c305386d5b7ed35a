/* SPDX-License-Identifier: GPL-3.0-or-later
 * The demo club's shelf: tapes of invented makers, the most used first. */
#ifndef BIASBOOK_SEED_DEMO_SHELF_H
#define BIASBOOK_SEED_DEMO_SHELF_H

#include "trade/records.h"

struct shelf_row {
    const char *id, *name, *family;
    enum tape_class tape_class, really;                  /* `really`: the class of what is inside */
    double side_minutes, length_m, thickness_um, hub_mm; /* 0 = not known */
    bool sheet;                                          /* a maker's sheet has been found */
    const char *wrapper, *made_from, *made_to, *alias;
};
#define SHELF_COUNT 46
extern const struct shelf_row SHELF_ROWS[SHELF_COUNT];
#endif
