/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the model was told, kept compactly: decks, stocks, services, calibrations. A later record under the same id replaces the earlier
 * one. Nothing here is computed but the place on the reel as a part of the side.
 */
#ifndef BIASBOOK_MODEL_FACTS_H
#define BIASBOOK_MODEL_FACTS_H

#include "../trade/dial.h"
#include "../trade/records.h"
#include "words.h"

#include <stddef.h>

struct fact_service {
    struct uuid id;
    int64_t made_at_us;
    bool resets;
    bool found;      /* nobody wrote it down: see breaks.h */
    double shift[2]; /* 0 where not known */
};

struct fact_deck {
    struct deck deck;            /* notes NULL */
    int model;                   /* word, WORD_NONE */
    struct dial_worth shared[2]; /* of `learn` dials, from tapes that other decks know (worths.h); se 0 = nothing known */
    int service_count, service_room;
    struct fact_service *services; /* by time, then id */
};

struct fact_stock {
    char id[LIMIT_SLUG + 1];
    enum tape_class tape_class;
    int family; /* word, WORD_NONE */
    double sheet[2];
    struct stock stock; /* notes NULL */
};

/* Why a calibration is kept and shown, but left out of the fit. */
enum row_state { ROW_USED, ROW_VOID, ROW_NOISE_REDUCTION, ROW_MPX, ROW_UNSETTLED, ROW_HELD_BACK, ROW_STATES };

#define FACT_MOVES 2
struct fact_move { /* as typed */
    double reading[2], low_db, high_db;
};
struct fact_row {
    struct uuid id;
    int64_t made_at_us;
    int deck, stock;                /* numbers of fact_deck, fact_stock */
    int setup, batch, tape, member; /* words; setup WORD_NONE = main */
    int16_t recordings;             /* −1 = not known */
    uint8_t channel, method, bias_stop, level_stop, state;
    bool for_noise_reduction;
    double position_s, part; /* ABSENT where not known */
    double reading[2];       /* dials, as typed */
    double low_db, high_db, treble_db, low_hz, high_hz;
    struct fact_move moved[FACT_MOVES]; /* the last with readings, the last one first; low_db ABSENT where there are fewer */
    float tau[2]; /* robust weight of the last solve, per response; 0 = not known. Where a solve starts, not what it ends with. */
};

struct facts {
    struct words words;
    int deck_count, deck_room, stock_count, stock_room, row_count, row_room;
    int used; /* rows in state ROW_USED */
    struct fact_deck **decks;
    struct fact_stock **stocks;
    struct fact_row *rows;
    size_t slots; /* of `index`: power of two; entry = row + 1 by id */
    int *index;
    int *deck_slot, *stock_slot; /* word of the id -> number + 1; as long as words.count allows */
    int deck_slot_room, stock_slot_room;
};

void facts_init(struct facts *x);
void facts_free(struct facts *x);
/* All: false when memory is out, nothing changed then. `*number` (may be NULL) tells which was put. */
bool facts_put_deck(struct facts *x, const struct deck *d, int *number);
bool facts_put_stock(struct facts *x, const struct stock *s, int *number);
bool facts_put_service(struct facts *x, const struct service *s, bool is_void);
/* −1 in *number when the deck or stock is not known (then ignored). */
bool facts_put_row(struct facts *x, const struct calibration *c, const struct stamp *stamp, int *number);
int facts_deck(const struct facts *x, const char *id);       /* −1 */
int facts_stock(const struct facts *x, const char *id);      /* −1 */
int facts_row(const struct facts *x, const struct uuid *id); /* −1 */
/* A copy that shares nothing. */
bool facts_copy(struct facts *to, const struct facts *from) __attribute__((warn_unused_result));

/* What the results themselves show: eras, and what marks are worth. Clearing takes out only that; copying takes that of `from` for the same decks. */
bool facts_put_break(struct facts *x, int deck, int64_t when);
void facts_clear_found(struct facts *x);
bool facts_copy_found(struct facts *to, const struct facts *from);
void facts_clear_weights(struct facts *x); /* so that an estimate is a function of the rows alone */

/* Known shifts up to and including `when`, added up; and how many resets came before or at it (the era). */
void facts_shift(const struct fact_deck *d, int64_t when, double shift[2]);
int facts_era(const struct fact_deck *d, int64_t when);

#endif
