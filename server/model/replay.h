/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The track record: for each calibration what the model would have suggested when it knew only what was made before that result's day.
 *
 * The rows are replayed in blocks of whole UTC days (made_at, whatever the day of entry), so nothing knows its own future. Effects are those of the rows
 * before the block; variances, slopes and what dials are worth are today's. Voided rows drop out, corrected ones count as corrected, and rows that the fit may not
 * see are not replayed.
 */
#ifndef BIASBOOK_MODEL_REPLAY_H
#define BIASBOOK_MODEL_REPLAY_H

#include "club.h"

struct replay_row {
    struct uuid id;
    int64_t made_at_us, known_before_us; /* everything made before the second instant was known */
    long known_rows;
    enum basis_kind basis;
    double mean[RESPONSES], se[RESPONSES]; /* flat: wanted treble 0 */
    double low90[RESPONSES], high90[RESPONSES];
    double observed[RESPONSES]; /* the flat equivalent of what was found */
    bool tells[RESPONSES];      /* false: this row says nothing of that response (no dial and no readings; the dial ran out) */
    bool read;                  /* logged with readings by the method of flatness: the kind of result that the range promises */
    double step_db[RESPONSES];  /* one step of the dial where it stands; 0 = no dial */
};
/* False from the callback ends the replay early (not a failure). */
typedef bool (*replay_callback)(void *user, const struct replay_row *row);

/* On the job's copy, on any thread; about `blocks` solves. Rows come in order of made_at, then id. `stop` (NULL allowed) gives up early: false without a fault. */
bool model_job_replay(struct model_job *j, int blocks, const atomic_bool *stop, replay_callback row, void *user, struct fault *f);

#endif
