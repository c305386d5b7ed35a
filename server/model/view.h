/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The inside of a view: one block of bytes with a head and arrays at offsets, so that it is saved and loaded as it stands, and the table of
 * slopes. Nothing in it changes after view_build; slopes that were asked for are kept.
 *
 * A question's mean is a sum of effects. Its variance is that of
 *   base(deck, class) + stock side + extras (batch, tape, pair, channel, setup, time since the base's instant)
 * Of these, the covariance of every base with every stock side was solved for; that of an extra with its own base and stock side as well.
 *   base       = deck model + deck + deck×class + the deck's last era + its trend at its last result
 *   stock side = class + family + stock + sheet
 */
#ifndef BIASBOOK_MODEL_VIEW_H
#define BIASBOOK_MODEL_VIEW_H

#include "club.h"
#include "equation.h"
#include "slopes_memo.h"

#define VIEW_MARK    0x62627631u
#define VIEW_VERSION 6u

struct view_effect { /* one level */
    double mean[RESPONSES];
    float variance[RESPONSES];
    float with_base[RESPONSES];       /* covariance with its deck's base (pair: of its class) */
    float with_stock[RESPONSES];      /* covariance with its stock's side */
    float with_recordings[RESPONSES]; /* pair, batch, tape: covariance with times recorded over of its class */
    float with_place[RESPONSES];      /* … with the place on the reel */
    int32_t rows;
    int32_t spare;
};
struct view_service {
    int64_t made_at_us;
    double shift[RESPONSES]; /* cumulated, this one included */
    int32_t era;             /* era that runs from here on */
    int32_t found;           /* nobody wrote it down: the results show it */
};
struct view_era {
    int64_t middle_us, last_us;
    int32_t number;                   /* of the deck */
    int32_t era_effect, trend_effect; /* −1 = none */
    float trend_with_era[RESPONSES];
    int32_t spare;
};
struct view_deck {
    int64_t last_us;                   /* its last result; CLOCK_NONE */
    int32_t deck_effect, model_effect; /* −1 = none */
    int32_t service_first, service_count, era_first, era_count;
    int32_t base_era;                             /* index of the era of the bases, −1 */
    int32_t base[CLASS_COUNT + 1];                /* per class; last: a class not seen on it */
    int32_t class_effect[CLASS_COUNT];            /* deck×class, −1 */
    double worth[RESPONSES], worth_se[RESPONSES]; /* of `learn` dials, from shared tapes; se 0 = nothing known */
};
struct view_base {
    float variance[RESPONSES], timeless[RESPONSES]; /* timeless: without era and trend */
    float with_known[RESPONSES][KNOWN_COLUMNS];     /* covariance with times recorded over, place, … */
    double base_years;                              /* trend's argument in it */
};
struct view_stock {
    int32_t tape_class, family_effect, stock_effect, spare;
    float variance[RESPONSES], with_recordings[RESPONSES], with_place[RESPONSES];
    double sheet[RESPONSES]; /* maker's figure; ABSENT = none */
};
struct view_slot {
    uint64_t hash; /* 0 = empty */
    int32_t value, spare;
};
struct view_known { /* columns with a known prior */
    double mean[RESPONSES];
    double variance[RESPONSES];
};

struct view_head {
    uint32_t mark, version;
    uint64_t bytes; /* whole block */
    int64_t as_of, fitted_us, fitted_as_of;
    int64_t rows, rows_used, decks_known, stocks_known, members;
    double sigma[RESPONSES][KINDS];
    double sd[RESPONSES][BLOCKS];
    int64_t labelled_rows; /* rows that name their tape */
    double multiplier[RESPONSES][BASIS_KINDS];
    struct view_known known[KNOWN_COLUMNS];
    int32_t effect_first[BLOCKS], effect_count[BLOCKS];
    int32_t decks, services, eras, bases, stocks, effects, combos;               /* in use */
    int32_t deck_room, era_room, base_room, stock_room, effect_room, combo_room; /* laid out; covariance is base_room × stock_room */
    int32_t base_none;                                                           /* a deck of which nothing is known */
    int32_t class_first;                                                         /* entry of stocks of the first class alone */
    int32_t spare;
    uint64_t slots;
    uint64_t at_decks, at_services, at_eras, at_bases, at_stocks, at_effects, at_combos, at_covariance, at_slots;
    struct model_record_kept {
        double sd[BLOCKS];
        int32_t levels[BLOCKS], boundary[BLOCKS];
        int32_t reason;
        int32_t spare;
        int64_t evaluations;
    } record[RESPONSES];
    double place_with_recordings[RESPONSES][CLASS_COUNT]; /* covariance of the place with times recorded over of each class */
    double fixed_rows[KNOWN_COLUMNS];                     /* rows that touch each known column */
};

struct model_view {
    struct view_head *head; /* the block */
    struct slope_table *slopes;
    struct slopes_memo *memo; /* deck × (class or none) */
    /* into the block */
    const struct view_deck *decks;
    const struct view_service *services;
    const struct view_era *eras;
    const struct view_base *bases;
    const struct view_stock *stocks;
    const struct view_effect *effects;
    const float (*combos)[RESPONSES];   /* per pair and tape (or batch): covariance of the tape with base and pair */
    const float *covariance[RESPONSES]; /* base_room × stock_room, see view_covariance */
    const struct view_slot *slots;
};

/* What a slot's hash was made of. */
enum view_key {
    KEY_DECK = 1,
    KEY_MODEL,
    KEY_STOCK,
    KEY_FAMILY,
    KEY_BATCH,
    KEY_TAPE,
    KEY_CHANNEL,
    KEY_SETUP,
    KEY_PAIR,
    KEY_PAIR_BATCH,
    KEY_PAIR_TAPE,
    KEY_MODEL_BASE
};
uint64_t view_text(const char *text); /* hash of a text */
uint64_t view_hash(enum view_key k, uint64_t a, uint64_t b, uint64_t c);
static inline double view_covariance(const struct model_view *v, enum response r, int base, int stock)
{
    return (double)v->covariance[r][(size_t)base * (size_t)v->head->stock_room + (size_t)stock];
}
int view_find(const struct model_view *v, uint64_t hash); /* −1 */
/* Sets the pointers after `head`; false when offsets do not fit the block. */
bool view_attach(struct model_view *v);

#endif
