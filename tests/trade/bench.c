/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench.h"

#include <string.h>

struct dial bench_dial(double low, double high, double step)
{
    return (struct dial){
        .present = true, .low = low, .high = high, .step = step, .zero = 0, .plus = PLUS_MORE, .scale = SCALE_DB, .db_per_unit = 1.0};
}

struct next_move_question bench_question(const struct dial *bias, const struct dial *level)
{
    return (struct next_move_question){.dial = {bias, level},
                                       .worth = {1.0, 1.0},
                                       .slopes = slopes_prior((struct slope_kind){CLASS_TYPE_1, ABSENT, ABSENT, ABSENT}),
                                       .need_se = {0.35, 0.35},
                                       .meter_step_db = ABSENT,
                                       .treble_db = ABSENT,
                                       .drop_db = ABSENT};
}

struct tape bench_tape(struct dice *dice, struct next_move_question *q, bool mislabelled)
{
    struct tape t = tape_make(dice);
    for (int r = 0; r < 2; r++) {
        q->need[r] = (r ? 0.7 : 1.0) * dice_normal(dice);
        t.need[r] = q->need[r] + 0.35 * dice_normal(dice);
    }
    if (mislabelled && dice_uniform(dice) < 1.0 / 7.0) {
        t.need[0] += (dice_uniform(dice) < 0.5 ? -1.0 : 1.0) * (1.0 + 2.5 * dice_uniform(dice));
        t.need[1] += 3.0 * dice_uniform(dice) - 1.5;
    }
    return t;
}

static bool tried(const struct move *moves, int n, const double dial[2])
{
    for (int i = 0; i < n; i++) {
        if ((moves[i].bias == dial[0] || !given(dial[0])) && (moves[i].level == dial[1] || !given(dial[1]))) {
            return true;
        }
    }
    return false;
}

void bench_run(struct next_move_question *q, struct move *moves, const struct tape *t, const struct meter *m, struct dice *dice, int most,
               struct bench_end *end)
{
    double treble = given(q->treble_db) ? q->treble_db : 0.0, low, high;
    memset(end, 0, sizeof *end);
    q->moves = moves;
    for (q->move_count = 0;; q->move_count++) {
        struct next_move *nm = &end->last;
        next_move(q, nm);
        end->reasons[nm->reason]++;
        for (int r = 0; r < 2; r++) {
            const struct dial *d = q->dial[r];
            end->outside |= d && d->present && !(nm->set.dial[r] >= d->low - 1e-9 && nm->set.dial[r] <= d->high + 1e-9);
        }
        if (nm->settled || q->move_count == most) {
            break;
        }
        bool stuck = nm->reason == MOVE_AS_NEAR || nm->reason == MOVE_RUNS_OUT || nm->reason == MOVE_NO_DIAL;
        if (tried(moves, q->move_count, nm->set.dial)) {
            end->repeated |= !stuck && !nm->look_first;
            if (!nm->look_first) {
                break;
            }
        }
        struct move *mv = &moves[q->move_count];
        *mv = (struct move){nm->set.dial[0], nm->set.dial[1], 0, 0};
        tape_levels(t, nm->set.db[0], nm->set.db[1], &mv->low_db, &mv->high_db);
        meter_read(m, dice, &mv->low_db, &mv->high_db);
    }
    end->readings = q->move_count;
    end->settled = end->last.settled;
    tape_levels(t, end->last.set.db[0], end->last.set.db[1], &low, &high);
    end->right = fabs(low) <= end->last.tolerance[0] && fabs(high - treble) <= end->last.tolerance[1];
}
