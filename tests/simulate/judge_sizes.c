/* SPDX-License-Identifier: GPL-3.0-or-later
 * Clubs of one size judged together: see judge_sizes.h. */
#include "judge_sizes.h"

const struct judge_size JUDGE_SIZE[JUDGE_SIZES] = {
    {150, 150, 25, 8, 24, 6, 1.0, false, 0.38},
    {800, 400, 50, 20, 60, 12, 1.5, false, 0.30},
    {4000, 1000, 250, 40, 120, 25, 2.5, false, 0.27},
};

static struct estimator *each(const struct club *c, int which)
{
    return which < PLAIN_COUNT ? plain_new(c, (enum plain)which) : club_model_new(c);
}

static double share(long part, long whole)
{
    return whole > 0 ? (double)part / (double)whole : 0.0;
}

bool judge_size(const struct judge_size *z, uint64_t seed, int clubs, struct judge_total *out)
{
    struct judge_score s[PLAIN_COUNT + 1] = {{0}};
    for (int i = 0; i < clubs; i++) {
        struct judge_case k = {seed + (uint64_t)i, z->decks, z->stocks, z->members, z->years, z->rows, z->later, z->everything, z->block};
        if (!judge(&k, each, PLAIN_COUNT + 1, s))
            return false;
    }
    const struct judge_score *m = &s[PLAIN_COUNT];
    *out = (struct judge_total){.pairs = m->pairs, .tested = m->later, .worst = m->worst, .seconds = m->seconds / clubs};
    for (int i = 0; i <= PLAIN_COUNT; i++)
        out->rmse[i] = judge_rmse(s[i].bias_sq, s[i].pairs);
    out->ratio = out->rmse[PLAIN_COUNT] / out->rmse[PLAIN_STOCK];
    out->level_rmse = judge_rmse(m->level_sq, m->level_pairs);
    out->next = share(m->next_inside, m->next);
    out->later = share(m->later_inside, m->later);
    out->clean = share(m->clean_inside, m->clean);
    return true;
}
