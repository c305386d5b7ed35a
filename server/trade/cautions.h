/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What to say beside a number: where it is weaker than it looks, and what at the bench spoils it. Pure: facts in, sentences out, in the order in
 * which they matter. Codes are stable; docs/cautions.md lists them with their evidence.
 *
 *   dial-runs-out        the wanted setting lies beyond the dial's end: what is left over is told
 *   no-bias-dial         the deck's bias is fixed: treble comes out as it comes
 *   no-level-dial        level cannot be trimmed and noise reduction will be used: its tracking is off by the low tone's error
 *   noise-reduction-on   it was on while calibrating: kept, left out of the fit
 *   mpx-filter-on        likewise the 19 kHz filter
 *   no-results           nothing was logged yet: the number is the trade's rule of thumb
 *   class-only           nothing is known of this stock: its class answers
 *   few-results          the deck or the stock was logged fewer than CAUTION_FEW times
 *   old-result           the deck's newest result is older than CAUTION_OLD_YEARS
 *   start-of-tape        the first CAUTION_START_S seconds waver
 *   recordings-many      recorded over CAUTION_RECORDINGS times or more
 *   position-converted   the place was computed from turns or counter: good to about 3 %
 *   position-unknown     a place was given that cannot be turned into seconds
 *   dial-worth-learned   what a mark of this dial is worth is itself uncertain
 *   lift-by-underbias    a lift of 3 dB and more by underbias distorts
 *   type-3-equalisation  decks differ about the equalisation of Type III
 */
#ifndef BIASBOOK_TRADE_CAUTIONS_H
#define BIASBOOK_TRADE_CAUTIONS_H

#include "records.h"

#define CAUTION_START_S    30.0 /* s: common practice, no source */
#define CAUTION_RECORDINGS 10   /* times: common practice, no source */
#define CAUTION_FEW        3    /* results */
#define CAUTION_OLD_YEARS  2.0  /* years */
#define CAUTION_LIFT_DB    3.0  /* dB by underbias: a user's report of 1983, low confidence */
#define CAUTION_WORTH      0.25 /* relative se of a learned dial's worth */
#define CAUTIONS_MAX       16

struct caution_facts {
    const struct deck *deck;
    enum tape_class tape_class;
    /* asked */
    bool class_only; /* a class was asked, or a stock that nobody logged */
    enum position_kind position_kind;
    double position_s;        /* computed; ABSENT not known */
    const char *position_why; /* why it is not known; NULL or "" */
    int recordings;           /* -1 not known */
    double treble_db;         /* wanted */
    bool for_noise_reduction; /* it will be recorded with noise reduction */
    /* answered */
    bool bias_beyond, level_beyond;
    double left_low_db,
        left_high_db; /* what the two tones will be off by at the dials given (wanted treble taken off); ABSENT = not worked out */
    long of_stock, on_deck, club; /* results the number rests on */
    double newest_years;          /* age of the deck's newest result; ABSENT = none or not asked */
    double worth_rel_se[2];       /* bias, level: se/worth of a learned dial; 0 else */
    /* a result that is shown */
    bool noise_reduction, mpx_filter;
};
void caution_facts_init(struct caution_facts *facts); /* nothing asked, nothing wrong */

struct caution {
    const char *code; /* static */
    char text[240];   /* one or two sentences, UTF-8 */
};
/* Fills `out` and returns how many, at most CAUTIONS_MAX. */
int cautions_of(const struct caution_facts *facts, struct caution out[CAUTIONS_MAX]);

#endif
