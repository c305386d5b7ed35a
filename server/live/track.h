/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The track record as it is served: for each calibration what would have been suggested before it. Made by the estimator thread after a fit when
 * nothing more urgent waits; frozen, counted; also stored with the calibrations (store/prior.h).
 */
#ifndef BIASBOOK_LIVE_TRACK_H
#define BIASBOOK_LIVE_TRACK_H

#include "../model/replay.h"

#include <stdatomic.h>
#include <stddef.h>

struct track {
    atomic_long holders;
    int64_t as_of; /* rows up to this change were replayed */
    size_t count, room;
    struct replay_row *rows; /* by made_at */
};
struct live;
struct track *live_take_track(struct live *l); /* NULL: none was made yet */
void track_drop(struct track *t);              /* NULL allowed */

/* ---- for live/ alone ---- */
struct track *track_make(struct model_job *job, int64_t as_of, const atomic_bool *stop, struct fault *f);
bool track_store(struct live *l, const struct track *t, struct fault *f);
void track_publish(struct live *l, struct track *t); /* takes t */

#endif
