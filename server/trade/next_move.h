/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * At the bench: which way to turn next. Pure: what is known before, the readings of this tape so far → the next setting, what
 * to expect there, and whether to stop.
 *
 * Unknown are the tape's two needs, the two slopes and how much they bend; before the first reading they are what the club
 * says, with one tape in seven allowed to be something else than its label says. Readings enter by Gauss–Newton. The move
 * takes the low tone to 0 and the high tone to the wanted treble, in whole steps, inside the dials, never twice to one setting.
 * Index 0 bias, 1 level; dB unless named otherwise.
 */
#ifndef BIASBOOK_TRADE_NEXT_MOVE_H
#define BIASBOOK_TRADE_NEXT_MOVE_H

#include "records.h"
#include "slopes.h"

#define TOLERANCE_LOW_DB     0.5 /* low tone, always */
#define TOLERANCE_HIGH_DB    1.0 /* high tone; hobby rule from memory, see docs/trade-facts.md */
#define TOLERANCE_HIGH_NR_DB 0.5 /* high tone when it will be recorded with noise reduction */

struct next_move_question {
    const struct dial *dial[2]; /* bias, level; NULL or not present: the deck has no such dial */
    double worth[2];            /* dB per unit of `learn` dials (slopes_at.worth); ignored for others */
    struct slopes slopes;       /* slopes_at.seen: per dB as converted with `worth` */
    double need[2], need_se[2]; /* the suggestion for a flat result (wanted treble 0) on the dials' scale, for one new tape */
    double reading_sd[2];       /* noise of one reading, low and high tone; 0 or ABSENT = usual */
    double meter_step_db;       /* ABSENT = not known */
    double treble_db;           /* wanted lift; ABSENT = 0 */
    bool for_noise_reduction;
    double drop_db; /* overbias: fall of the high tone past its peak, > 0; ABSENT = flat */
    bool ladder;    /* also a ladder of settings for one rewind */
    int move_count; /* readings so far, in order; those without both levels are settings seen but not read */
    const struct move *moves;
};

enum next_move_reason {
    MOVE_START,        /* "start": no reading yet */
    MOVE_FOLLOW,       /* "move" */
    MOVE_SETTLED,      /* "settled": within tolerance; log it */
    MOVE_AS_NEAR,      /* "as-near-as-it-gets": no setting of the dials comes nearer */
    MOVE_BELOW_PEAK,   /* "below-the-peak": treble rises with bias */
    MOVE_SURPRISE,     /* "surprise": a reading the earlier ones did not foretell */
    MOVE_UNLIKE_LABEL, /* "unlike-its-label": the first reading is far from what this kind of tape should give */
    MOVE_WANDER,       /* "wander": readings contradict each other by more than the move */
    MOVE_RUNS_OUT,     /* "dial-runs-out" */
    MOVE_NO_BIAS_DIAL, /* "no-bias-dial" */
    MOVE_NO_DIAL,      /* "no-dial" */
    MOVE_UP_TO_PEAK,   /* "up-to-the-peak": overbias, still rising or not yet seen to fall */
    MOVE_PAST_PEAK,    /* "past-the-peak": overbias, down to the drop */
    MOVE_REASONS
};
const char *next_move_reason_code(enum next_move_reason r);

struct next_setting {
    double dial[2];         /* readings to set; ABSENT where there is no dial */
    double db[2];           /* the same in dB; 0 where there is no dial */
    double low_db, high_db; /* to expect there, tape minus source */
    double chance;          /* that it is within tolerance there */
};

#define MOVE_TEXT 400
struct next_move {
    struct next_setting set;
    bool beyond[2];      /* the wanted setting lies outside this dial */
    bool settled;        /* the setting in `set` was read and is within tolerance: log it */
    double chance_right; /* = set.chance: truly within tolerance there, meter step and noise allowed for */
    bool look_first;     /* check what `text` names before following the move */
    enum next_move_reason reason;
    char text[MOVE_TEXT];                     /* one or two sentences for a person */
    char note[MOVE_TEXT];                     /* what a missing dial leaves, and what it does to noise reduction; "" mostly */
    double tolerance[2];                      /* low, high */
    double need[2], need_se[2];               /* what this tape wants for a flat result, as known now */
    double slope_a, slope_b;                  /* as known now */
    int ladder_count;                         /* 0 unless asked for and not settled */
    struct next_setting ladder[LIMIT_LADDER]; /* rising bias; distinct settings not tried before */
};
void next_move(const struct next_move_question *q, struct next_move *out);
#endif
