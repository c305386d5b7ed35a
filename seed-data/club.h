/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * An invented club: who belongs to it, what stands on its benches and shelves. demo_club.c holds the one that ships with the demo, written by hand;
 * random_club.c invents clubs of any size from a seed, to judge and to load the product.
 */
#ifndef BIASBOOK_SEED_CLUB_H
#define BIASBOOK_SEED_CLUB_H

#include "member.h"

#define CLUB_DEMO_SEED 20241055u /* chosen so that each case of README.md has results enough */
#define CLUB_DEMO_ROWS 1080
#define CLUB_SERVICES  64
#define CLUB_CHECKS    64

struct club {
    uint64_t seed;
    int deck_count, stock_count, member_count;
    struct bench_deck *decks;
    struct bench_stock *stocks;
    struct member *members;
    int *owner; /* of each deck: a member, or -1 for a deck of the club */
    int service_count, check_count;
    struct service services[CLUB_SERVICES]; /* these and the checks in order of time */
    struct deck_check checks[CLUB_CHECKS];
    int64_t from_us, to_us; /* the time the diary covers */
};

struct club_size {
    int decks, stocks, members;
    int64_t from_us, to_us;
    bool tabulated; /* readings from tables: for very large clubs */
};

struct club *club_demo(uint64_t seed);                              /* NULL: out of memory */
struct club *club_random(uint64_t seed, const struct club_size *s); /* NULL: out of memory */
void club_free(struct club *c);

struct club *club_new(uint64_t seed, int decks, int stocks, int members); /* zeroed, records initialised; NULL: out of memory */
/* Physical chance of a deck and of a stock whose record is filled in: presets, drift, wear; coating round its class. */
void club_deck_physics(struct club *c, int deck);
void club_stock_physics(struct club *c, int stock, int like);             /* like = another stock of the same family, -1 = none */
void club_sort(struct club *c);                                           /* services and checks */
struct uuid club_uuid(struct chance *chance, int64_t at_us, int version); /* version 7 with the instant, or 4 */
#endif
