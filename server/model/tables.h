/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The master of a view: its block with room to grow, and what each entry stands for, so that a new result can be worked in (tail.h) without drawing
 * everything anew. Owned by one thread. tables_layout.c draws the layout, tables_numbers.c the numbers.
 */
#ifndef BIASBOOK_MODEL_TABLES_H
#define BIASBOOK_MODEL_TABLES_H

#include "club_fit.h"

/* Room for what arrives before everything is drawn anew. */
#define ROOM_DECKS   16
#define ROOM_STOCKS  64
#define ROOM_BASES   96
#define ROOM_ERAS    32
#define ROOM_EFFECTS 1024
#define ROOM_COMBOS  512

struct combo {
    int deck, pair, other; /* deck; effects of PAIR and of TAPE or BATCH */
};
struct deck_effects { /* effects that belong to one deck, deck by deck */
    int *start, *effect;
};

struct tables {
    struct club_fit *fit;   /* borrowed */
    struct model_view view; /* owns its head; slopes NULL here */
    struct view_head *head;
    struct view_deck *decks;
    struct view_service *services;
    struct view_era *eras;
    struct view_base *bases;
    struct view_stock *stocks;
    struct view_effect *effects;
    float (*combos)[RESPONSES];
    float *covariance[RESPONSES];
    struct view_slot *slots;
    /* what entries stand for */
    int *base_deck;      /* base -> deck number, −1 = none */
    int *base_model;     /* base -> effect of MODEL, −1 */
    int *base_class;     /* base -> class, −1 */
    int *effect_base;    /* effect -> base its with_base is held against, −1 */
    int *effect_stock;   /* effect -> entry of stocks its with_stock is held against, −1 */
    struct combo *combo; /* by deck as far as drawn, then as added */
    int *combo_start;    /* deck -> first of its combos; decks + 1 */
    unsigned char *member_seen;
    int member_room;
};

/* Effects with the variances of `v` (and the weights the fit holds), and all tables. False: fault set; tables_free is due in any case. */
bool tables_build(struct tables *t, struct club_fit *fit, const struct facts *x, const struct variances *v, struct fault *f);
void tables_free(struct tables *t);
/* A frozen copy. */
struct model_view *tables_publish(const struct tables *t, const struct slope_table *slopes, int64_t as_of, struct fault *f)
    __attribute__((warn_unused_result));

/* A vector over columns with few entries. */
struct mixture {
    int count, column[8];
    double value[8];
};
void mixture_add(struct mixture *m, int column, double value); /* column < 0 or value 0: nothing */
void stock_mixture(const struct view_stock *s, enum response r, struct mixture *out);
/* `timed`: with the era and trend of the base's instant. */
void base_mixture(const struct tables *t, int base, bool timed, struct mixture *out);
static inline int column_of_effect(int effect)
{
    return effect < 0 ? -1 : effect + KNOWN_COLUMNS;
}

/* ---- layout ---- */
bool tables_lay_out(struct tables *t, const struct facts *x);
void tables_put_slot(struct tables *t, uint64_t hash, int value); /* there is room for everything that there is room for */
bool tables_group_by_deck(const struct tables *t, const struct facts *x, struct deck_effects *g);
/* ---- numbers ---- */
bool tables_numbers(struct tables *t, enum response r, const struct deck_effects *g, struct fault *f);

#define MANY_COLUMNS 12000 /* from so many on a base is solved a deck, not a deck and class */

#endif
