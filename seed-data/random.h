/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Repeatable chance for the invented clubs: the same seed gives the same club on every machine.
 * SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014): one 64-bit word of state.
 */
#ifndef BIASBOOK_SEED_RANDOM_H
#define BIASBOOK_SEED_RANDOM_H

#include <stdbool.h>
#include <stdint.h>

struct chance {
    uint64_t state;
};

struct chance chance_new(uint64_t seed);
/* A stream of its own for thing `b` of kind `a`, so that adding a deck does not change the tapes. */
struct chance chance_of(uint64_t seed, uint64_t a, uint64_t b);
uint64_t chance_bits(struct chance *c);
double chance_uniform(struct chance *c); /* 0 <= u < 1 */
double chance_between(struct chance *c, double low, double high);
double chance_normal(struct chance *c, double mean, double sd);
int chance_index(struct chance *c, int n); /* 0 … n-1 */
bool chance_hit(struct chance *c, double probability);
#endif
