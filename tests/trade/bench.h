/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A member at the bench, for the tests: asks for the next move, sets it, reads a simulated tape, until it is said to sit.
 */
#ifndef BIASBOOK_TESTS_TRADE_BENCH_H
#define BIASBOOK_TESTS_TRADE_BENCH_H

#include "tape.h"
#include "trade/next_move.h"

struct bench_end {
    int readings;
    bool settled, right;       /* right: truly within tolerance at the setting it stopped at */
    bool repeated, outside;    /* broke a promise: an unsettled move to a setting tried before, or outside a dial */
    int reasons[MOVE_REASONS]; /* how often each was given */
    struct next_move last;
};

struct dial bench_dial(double low, double high, double step); /* 1 dB per unit */
/* Question on this tape with prior slopes and two dials; fields may be changed. */
struct next_move_question bench_question(const struct dial *bias, const struct dial *level);
/* `label` = the club's numbers are right to 0.35 dB about them, se said; `mislabelled`: one tape in seven is off by 1 to 3.5 dB besides. */
struct tape bench_tape(struct dice *dice, struct next_move_question *q, bool mislabelled);
/* At most `most` readings. moves has room for LIMIT_MOVES. */
void bench_run(struct next_move_question *q, struct move *moves, const struct tape *t, const struct meter *m, struct dice *dice, int most,
               struct bench_end *end);
#endif
