/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The plain records that every room knows: what a club writes down, as it was typed. Nothing here is computed.
 *
 * Conventions: a double that was not given is NaN (`absent`), a count that was not given is -1, an instant CLOCK_NONE, a
 * text "" (long texts NULL). Fixed arrays hold the text inside the record; `const char *` members belong to the arena the
 * record was read into and live as long as it. All levels are dB; other units are in the name.
 *
 * Signs (printed everywhere): bias + = more bias = duller treble; level + = more record gain = louder on playback.
 */
#ifndef BIASBOOK_TRADE_RECORDS_H
#define BIASBOOK_TRADE_RECORDS_H

#include "../ground/clock.h"
#include "../ground/limits.h"
#include "../ground/uuid.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

#define ABSENT ((double)NAN)
static inline bool given(double x)
{
    return !isnan(x);
}

/* ---- formulation classes; order is fixed, it is stored and indexed ---- */
enum tape_class {
    CLASS_TYPE_1,
    CLASS_TYPE_2,
    CLASS_TYPE_3,
    CLASS_TYPE_4,
    CLASS_REEL_STANDARD,
    CLASS_REEL_HIGH_OUTPUT,
    CLASS_REEL_EXTRA_OUTPUT,
    CLASS_COUNT,
    CLASS_NONE = -1
};
enum medium { MEDIUM_CASSETTE, MEDIUM_REEL, MEDIUM_NONE = -1 };

/* ---- deck ---- */
enum dial_plus { PLUS_MORE, PLUS_LESS }; /* what a larger reading does */
enum dial_scale { SCALE_DB, SCALE_PERCENT, SCALE_RATIO, SCALE_POINTS, SCALE_LEARN, SCALE_NONE = -1 };

struct dial {
    bool present;                    /* false: the deck has no such dial for the user (JSON null) */
    char unit[LIMIT_SHORT_TEXT + 1]; /* "mark", "step", "%", "o'clock", … ; "" = "mark" */
    double low, high;                /* end readings, low < high */
    double step;                     /* finest setting one can repeat, in the dial's unit; ABSENT = what the unit suggests (dial_step) */
    double zero;                     /* centre, detent or preset reading; ABSENT = 0 */
    enum dial_plus plus;
    enum dial_scale scale;
    double db_per_unit;                  /* SCALE_DB only, > 0 */
    int point_count;                     /* SCALE_POINTS only, >= 2, readings strictly rising */
    double points[LIMIT_DIAL_POINTS][2]; /* reading, dB */
};

enum direction { DIRECTION_FORWARD, DIRECTION_REVERSE };
struct setup {
    char id[LIMIT_SLUG + 1];
    double speed_mm_s;                       /* ABSENT = 47.625 on cassette, 190.5 on reel */
    char equalisation[LIMIT_SHORT_TEXT + 1]; /* "120us", …; "" = by class */
    char selector[LIMIT_SHORT_TEXT + 1];
    enum direction direction;
};

enum counter_kind { COUNTER_NONE, COUNTER_TIME, COUNTER_TURNS, COUNTER_POINTS };
struct counter_point {
    double side_minutes; /* tape length the two points belong to */
    double c1, t1_s, c2, t2_s;
};
struct counter {
    enum counter_kind kind;
    double turns_per_count; /* COUNTER_TURNS */
    int point_count;        /* COUNTER_POINTS */
    struct counter_point points[LIMIT_COUNTER_POINTS];
};

struct deck {
    char id[LIMIT_SLUG + 1];
    char name[LIMIT_NAME + 1];
    char model[LIMIT_NAME + 1]; /* decks of one model share an effect; "" = none */
    enum medium medium;
    int heads;  /* 2 or 3; -1 = not given, taken as 3 */
    int tracks; /* -1 = not given */
    struct dial bias_dial, level_dial, eq_dial;
    bool per_channel;
    int setup_count; /* 0 as typed = just "main"; see deck_setup() */
    struct setup setups[LIMIT_SETUPS];
    struct counter counter;
    double low_hz, high_hz, tone_db, reference_nwb_m, meter_step_db, warm_up_minutes; /* ABSENT = 315, 10000, -20, none, none, none */
    const char *notes;
};

/* ---- stock ---- */
struct stock {
    char id[LIMIT_SLUG + 1];
    char name[LIMIT_NAME + 1];
    char family[LIMIT_SHORT_TEXT + 1]; /* labels that carry the same coating; "" = none */
    enum tape_class tape_class;
    enum medium medium; /* MEDIUM_NONE as typed = by class */
    int alias_count;
    char aliases[LIMIT_ALIASES][LIMIT_NAME + 1];
    char wrapper[LIMIT_WRAPPER + 1];
    char made_from[LIMIT_SHORT_TEXT + 1], made_to[LIMIT_SHORT_TEXT + 1]; /* as typed: a year or year-month */
    double side_minutes, length_m, thickness_um, hub_mm;
    double sheet_bias_db, sheet_level_db;
    const char *notes;
};

/* ---- calibration ---- */
enum channel { CHANNEL_BOTH, CHANNEL_LEFT, CHANNEL_RIGHT };
enum side { SIDE_NONE, SIDE_A, SIDE_B };
enum stop { STOP_NONE, STOP_LOW, STOP_HIGH };
enum bias_method { METHOD_FLAT, METHOD_OVERBIAS, METHOD_DISTORTION, METHOD_BY_EAR, METHOD_AUTOMATIC, METHOD_COUNT };
enum position_kind { POSITION_NONE, POSITION_S, POSITION_TURNS, POSITION_COUNTER, POSITION_PART };

struct move {
    double bias, level;     /* dial readings; ABSENT where the deck has no such dial */
    double low_db, high_db; /* tape minus source; ABSENT = not read */
};
struct proof {
    double hz, left_db, right_db;
};

struct calibration {
    struct uuid id;
    char deck[LIMIT_SLUG + 1], stock[LIMIT_SLUG + 1], setup[LIMIT_SLUG + 1]; /* setup "" as typed = "main" */
    enum channel channel;
    enum side side;
    char batch[LIMIT_SHORT_TEXT + 1], tape[LIMIT_SHORT_TEXT + 1];
    int64_t made_at_us;
    int made_at_offset_minutes;
    enum position_kind position_kind;
    double position_typed;  /* in the kind's unit */
    double position_s;      /* computed from it (spool geometry); ABSENT = not known */
    int recordings;         /* -1 = not known */
    double bias, level, eq; /* final dial readings; ABSENT where the deck has no dial */
    enum stop bias_stop, level_stop;
    enum bias_method bias_method;
    double drop_db, drop_hz; /* METHOD_OVERBIAS */
    double low_db, high_db;
    double low_balance_db, high_balance_db;
    double low_hz, high_hz, tone_db; /* ABSENT = the deck's */
    double treble_db;                /* ABSENT as typed = 0 */
    double unsteady_db;
    bool settled; /* true when not given */
    bool noise_reduction, mpx_filter, for_noise_reduction;
    int move_count;
    struct move moves[LIMIT_MOVES];
    int proof_count;
    struct proof proof[LIMIT_PROOF];
    double peak_db;
    const char *notes;
};

/* ---- service and check ---- */
struct service {
    struct uuid id;
    char deck[LIMIT_SLUG + 1];
    int64_t made_at_us;
    int made_at_offset_minutes;
    char kind[LIMIT_SHORT_TEXT + 1];      /* see trade/check.h for the list */
    bool resets;                          /* an era begins; known shifts are subtracted first */
    double bias_shift_db, level_shift_db; /* ABSENT = not known */
    const char *notes;
};
enum check_kind { CHECK_PLAYBACK, CHECK_CONTROL_TAPE };
struct deck_check {
    struct uuid id;
    char deck[LIMIT_SLUG + 1];
    int64_t made_at_us;
    int made_at_offset_minutes;
    enum check_kind kind;
    double low_db, high_db, low_balance_db, high_balance_db;
    const char *notes;
};

/* ---- what the store adds to a record ---- */
struct stamp {
    int64_t seq;                 /* number of the change that made this state */
    int revision;                /* 1 = as first written */
    int64_t stored_us;           /* commit time */
    char member[LIMIT_NAME + 1]; /* who wrote this revision; "" in an open club */
    char author[LIMIT_NAME + 1]; /* who wrote the first revision: the one who may correct it */
    bool is_void;
    char void_reason[LIMIT_REASON + 1];
    char origin[LIMIT_SLUG + 1]; /* club it came from; "" = this one */
    char etag[48];               /* without the quotes */
};

/* ---- who ---- */
enum role { ROLE_NONE, ROLE_READER, ROLE_LOGGER, ROLE_STEWARD }; /* each may do what those before it may */

void calibration_init(struct calibration *c); /* everything not given, settled true */
void deck_init(struct deck *d);
void stock_init(struct stock *s);
void service_init(struct service *s);
void deck_check_init(struct deck_check *c);

#endif
