/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Records in which nothing was given yet. All zero bytes first, so that the unused rest of an array is the same in every
 * record and a record can be copied and compared without surprise.
 */
#include "records.h"

#include <string.h>

static void dial_init(struct dial *d)
{
    d->low = d->high = d->step = d->zero = d->db_per_unit = ABSENT;
    d->scale = SCALE_NONE;
}

void deck_init(struct deck *d)
{
    memset(d, 0, sizeof *d);
    d->medium = MEDIUM_NONE;
    d->heads = d->tracks = -1;
    dial_init(&d->bias_dial);
    dial_init(&d->level_dial);
    dial_init(&d->eq_dial);
    d->counter.turns_per_count = ABSENT;
    d->low_hz = d->high_hz = d->tone_db = d->reference_nwb_m = d->meter_step_db = d->warm_up_minutes = ABSENT;
}

void stock_init(struct stock *s)
{
    memset(s, 0, sizeof *s);
    s->tape_class = CLASS_NONE;
    s->medium = MEDIUM_NONE;
    s->side_minutes = s->length_m = s->thickness_um = s->hub_mm = s->sheet_bias_db = s->sheet_level_db = ABSENT;
}

void calibration_init(struct calibration *c)
{
    memset(c, 0, sizeof *c);
    c->made_at_us = CLOCK_NONE;
    c->position_typed = c->position_s = ABSENT;
    c->recordings = -1;
    c->bias = c->level = c->eq = ABSENT;
    c->drop_db = c->drop_hz = ABSENT;
    c->low_db = c->high_db = c->low_balance_db = c->high_balance_db = ABSENT;
    c->low_hz = c->high_hz = c->tone_db = c->treble_db = c->unsteady_db = c->peak_db = ABSENT;
    c->settled = true;
}

void service_init(struct service *s)
{
    memset(s, 0, sizeof *s);
    s->made_at_us = CLOCK_NONE;
    s->bias_shift_db = s->level_shift_db = ABSENT;
}

void deck_check_init(struct deck_check *c)
{
    memset(c, 0, sizeof *c);
    c->made_at_us = CLOCK_NONE;
    c->low_db = c->high_db = c->low_balance_db = c->high_balance_db = ABSENT;
}
