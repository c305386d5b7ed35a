/* SPDX-License-Identifier: GPL-3.0-or-later
 * Repeatable chance: see random.h. */
#include "random.h"

#include <math.h>

#define GOLDEN 0x9e3779b97f4a7c15ULL

struct chance chance_new(uint64_t seed)
{
    struct chance c = {seed};
    (void)chance_bits(&c); /* neighbouring seeds part at once */
    return c;
}

uint64_t chance_bits(struct chance *c)
{
    uint64_t z = (c->state += GOLDEN);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31);
}

struct chance chance_of(uint64_t seed, uint64_t a, uint64_t b)
{
    struct chance c = {seed ^ (a + 1) * 0xd1342543de82ef95ULL};
    c.state = chance_bits(&c) ^ (b + 1) * 0xaf251af3b0f025b5ULL;
    c.state = chance_bits(&c);
    return c;
}

double chance_uniform(struct chance *c)
{
    return (double)(chance_bits(c) >> 11) * 0x1p-53;
}

double chance_between(struct chance *c, double low, double high)
{
    return low + (high - low) * chance_uniform(c);
}

double chance_normal(struct chance *c, double mean, double sd)
{
    double u = 1.0 - chance_uniform(c), v = chance_uniform(c); /* Box and Muller 1958 */
    return mean + sd * sqrt(-2.0 * log(u)) * cos(6.283185307179586 * v);
}

int chance_index(struct chance *c, int n)
{
    return (int)(chance_uniform(c) * n);
}

bool chance_hit(struct chance *c, double probability)
{
    return chance_uniform(c) < probability;
}
