/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A ladder for two-head decks: three to seven settings recorded one after the other and read in one rewind. The rungs span
 * where the right bias may be, near enough to each other that one of them is within tolerance; each has the record level that
 * would be right if its bias were.
 */
#include "bench_parts.h"

#define SPAN_SD      1.7 /* of the need's doubt, either side */
#define LEAST_GAP_DB 0.3
#define RUNGS_LEAST  3

static double doubt(const struct posterior *p, int r, double *mean)
{
    double var = 0.0;
    *mean = 0.0;
    for (int k = 0; k < p->count; k++) {
        *mean += p->fit[k].weight * p->fit[k].at[r];
    }
    for (int k = 0; k < p->count; k++) {
        double off = p->fit[k].at[r] - *mean;
        var += p->fit[k].weight * (p->fit[k].cov[r][r] + off * off);
    }
    return sqrt(var);
}

/* Adds a rung unless it was tried or is there already. */
static bool add(const struct bench *b, const struct posterior *p, const double x[2], struct next_move *out)
{
    double dial[2];
    bool beyond;
    for (int r = 0; r < 2; r++) {
        dial[r] = bench_reading(b, r, x[r], &beyond);
    }
    if (out->ladder_count == LIMIT_LADDER || bench_tried(b, dial)) {
        return false;
    }
    for (int i = 0; i < out->ladder_count; i++) {
        bool same = true;
        for (int r = 0; r < 2; r++) {
            same = same && (!b->has[r] || fabs(out->ladder[i].dial[r] - dial[r]) < 1e-3 * dial_step(b->q->dial[r]));
        }
        if (same) {
            return false;
        }
    }
    bench_setting(b, p, dial, &out->ladder[out->ladder_count++]);
    return true;
}

static void sort_rungs(const struct bench *b, struct next_move *out)
{
    int by = b->has[0] ? 0 : 1; /* come up in bias, in level where there is no other dial */
    for (int i = 1; i < out->ladder_count; i++) {
        struct next_setting s = out->ladder[i];
        int k = i;
        for (; k > 0 && (out->ladder[k - 1].db[by] > s.db[by] + 1e-9 ||
                         (fabs(out->ladder[k - 1].db[by] - s.db[by]) <= 1e-9 && out->ladder[k - 1].db[1] > s.db[1]));
             k--) {
            out->ladder[k] = out->ladder[k - 1];
        }
        out->ladder[k] = s;
    }
}

void ladder_make(const struct bench *b, const struct posterior *p, struct next_move *out)
{
    int main_dial = b->has[0] ? 0 : 1;
    const struct bench_fit *f = &p->fit[0];
    double mean, sd = doubt(p, main_dial, &mean),
                 step = fabs(dial_db_per_unit(b->q->dial[main_dial], b->q->worth[main_dial], out->set.dial[main_dial])) *
                        dial_step(b->q->dial[main_dial]);
    int rungs = sd < 0.3 ? 3 : sd < 0.8 ? 5 : LIMIT_LADDER;
    double gap = fmax(fmax(2.0 * SPAN_SD * sd / (rungs - 1), LEAST_GAP_DB), step);
    /* what the level should be if this bias were the right one */
    double level_by_bias = f->cov[NEED_BIAS][NEED_BIAS] > 0.0 ? f->cov[NEED_LEVEL][NEED_BIAS] / f->cov[NEED_BIAS][NEED_BIAS] : 0.0;
    double centre[2] = {out->set.db[0], out->set.db[1]};
    out->ladder_count = 0;
    add(b, p, centre, out);
    for (int i = 1; i <= 3 * LIMIT_LADDER && out->ladder_count < rungs; i++) {
        for (int side = -1; side <= 1; side += 2) {
            double off = side * i * gap, x[2] = {centre[0], centre[1]};
            x[main_dial] += off;
            if (main_dial == 0) {
                x[1] += level_by_bias * off;
            }
            if (out->ladder_count < rungs) {
                add(b, p, x, out);
            }
        }
    }
    /* a dial with few marks: let the level fill the ladder */
    for (int i = 1; b->has[1] && out->ladder_count < RUNGS_LEAST && i < 20; i++) {
        add(b, p, (double[2]){centre[0], centre[1] + LEAST_GAP_DB * i}, out);
        if (out->ladder_count < RUNGS_LEAST) {
            add(b, p, (double[2]){centre[0], centre[1] - LEAST_GAP_DB * i}, out);
        }
    }
    sort_rungs(b, out);
}
