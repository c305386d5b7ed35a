/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Seeded random numbers of the tests in this folder: the same on every machine.
 */
#ifndef BIASBOOK_TESTS_TRADE_RANDOM_H
#define BIASBOOK_TESTS_TRADE_RANDOM_H

#include <math.h>
#include <stdint.h>

struct dice {
    uint64_t state;
};

static inline uint64_t dice_bits(struct dice *d) /* splitmix64, public domain algorithm by S. Vigna */
{
    uint64_t z = d->state += 0x9e3779b97f4a7c15u;
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9u;
    z = (z ^ z >> 27) * 0x94d049bb133111ebu;
    return z ^ z >> 31;
}

static inline double dice_uniform(struct dice *d) /* [0, 1) */
{
    return (double)(dice_bits(d) >> 11) * 0x1p-53;
}

static inline double dice_normal(struct dice *d) /* Box–Muller */
{
    double u = 1.0 - dice_uniform(d), v = dice_uniform(d);
    return sqrt(-2.0 * log(u)) * cos(2.0 * 3.14159265358979323846 * v);
}

#endif
