/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a unit of a `learn` dial is worth. Moves show only slope × worth: with the bias dial's unit worth e^ω times what was
 * first thought, a tone answers to one nominal dB with e^ω·a or −e^ω·b, and to a nominal dB of the level dial with e^λ in both
 * tones. Unknowns ω, λ and the deck's two slopes are found together by Gauss–Newton on the sums, from their priors, so that
 * the share of the slopes in the doubt about the worth is kept.
 */
#include "slope_parts.h"

enum { W_BIAS, W_LEVEL, Z_LOW, Z_HIGH, UNKNOWNS };

#define ITERATIONS 30
#define LOG_STEP   0.7 /* most that a worth moves in one iteration: a factor of two */
#define LOG_BOUND  3.0 /* and in all: a factor of twenty either way */

struct system {
    double m[UNKNOWNS][UNKNOWNS], g[UNKNOWNS];
};

/* Solves by Gauss–Jordan and leaves the inverse in m; the matrix is symmetric positive definite, so no pivoting. */
static void solve(struct system *s, double x[UNKNOWNS])
{
    double inv[UNKNOWNS][UNKNOWNS] = {{0}};
    for (int i = 0; i < UNKNOWNS; i++) {
        inv[i][i] = 1.0;
    }
    for (int c = 0; c < UNKNOWNS; c++) {
        double pivot = s->m[c][c];
        for (int j = 0; j < UNKNOWNS; j++) {
            s->m[c][j] /= pivot;
            inv[c][j] /= pivot;
        }
        for (int i = 0; i < UNKNOWNS; i++) {
            double f = i == c ? 0.0 : s->m[i][c];
            for (int j = 0; j < UNKNOWNS && f != 0.0; j++) {
                s->m[i][j] -= f * s->m[c][j];
                inv[i][j] -= f * inv[c][j];
            }
        }
    }
    for (int i = 0; i < UNKNOWNS; i++) {
        x[i] = 0.0;
        for (int j = 0; j < UNKNOWNS; j++) {
            s->m[i][j] = inv[i][j];
            x[i] += inv[i][j] * s->g[j];
        }
    }
}

static void add_prior(struct system *s, const double at[UNKNOWNS], int i, double mean, double var)
{
    s->m[i][i] += 1.0 / var;
    s->g[i] += (mean - at[i]) / var;
}

/* One cell's sums: y = A·x + λ·l + noise, with A = ± e^ω·(centre + spread·z). */
static void add_sums(struct system *s, const struct slope_sums *sums, const double at[UNKNOWNS], double var)
{
    double mean, sd, q = SLOPE_QUANTUM / var;
    int z = sums->tone == LOW_TONE ? Z_LOW : Z_HIGH;
    double sign = sums->tone == LOW_TONE ? 1.0 : -1.0;
    slope_cell_prior(sums->cell, (enum tone)sums->tone, &mean, &sd);
    double ew = exp(at[W_BIAS]), el = exp(at[W_LEVEL]), a = sign * ew * (mean + sd * at[z]);
    double sxx = (double)sums->s[SXX] * q, sxl = (double)sums->s[SXL] * q, sll = (double)sums->s[SLL] * q;
    double rx = (double)sums->s[SXY] * q - a * sxx - el * sxl, rl = (double)sums->s[SLY] * q - a * sxl - el * sll;
    double jx[UNKNOWNS] = {0}, jl[UNKNOWNS] = {0};
    jx[W_BIAS] = a;
    jx[z] = sign * ew * sd;
    jl[W_LEVEL] = el;
    for (int i = 0; i < UNKNOWNS; i++) {
        s->g[i] += jx[i] * rx + jl[i] * rl;
        for (int j = 0; j < UNKNOWNS; j++) {
            s->m[i][j] += jx[i] * jx[j] * sxx + (jx[i] * jl[j] + jl[i] * jx[j]) * sxl + jl[i] * jl[j] * sll;
        }
    }
}

/* Prior of log worth about the nominal one of the sums; a dial whose scale is given hardly may move. */
static void worth_log_prior(const struct slope_worth_question *q, int r, double nominal, double *mean, double *var)
{
    *mean = 0.0;
    *var = 1e-8;
    if (!q->learn[r]) {
        return;
    }
    double rel = q->prior[r].se / q->prior[r].db_per_unit;
    *var = log1p(rel * rel);
    *mean = log(q->prior[r].db_per_unit / nominal);
    const struct dial_worth *s = &q->shared[r];
    if (s->db_per_unit > 0.0 && s->se > 0.0) { /* NaN fails too */
        double v = log1p(s->se / s->db_per_unit * (s->se / s->db_per_unit)), m = log(s->db_per_unit / nominal);
        *mean = (*mean / *var + m / v) / (1.0 / *var + 1.0 / v);
        *var = 1.0 / (1.0 / *var + 1.0 / v);
    }
}

static double clip(double x, double most)
{
    return x > most ? most : x < -most ? -most : x;
}

void slope_worth_find(const struct slope_worth_question *q, const struct slope_deck *d, const struct slope_sums *sums,
                      const double reading_sd[TONES], struct slopes_at *out)
{
    double nominal[2], mean[2], var[2], at[UNKNOWNS], step[UNKNOWNS];
    struct system s;
    for (int r = 0; r < 2; r++) {
        nominal[r] = sums && d->learn[r] ? d->worth0[r] : q->learn[r] ? q->prior[r].db_per_unit : 1.0;
        worth_log_prior(q, r, nominal[r], &mean[r], &var[r]);
        at[r] = mean[r];
    }
    at[Z_LOW] = q->z_mean[LOW_TONE];
    at[Z_HIGH] = q->z_mean[HIGH_TONE];
    for (int i = 0; i < ITERATIONS; i++) {
        s = (struct system){0};
        add_prior(&s, at, W_BIAS, mean[0], var[0]);
        add_prior(&s, at, W_LEVEL, mean[1], var[1]);
        add_prior(&s, at, Z_LOW, q->z_mean[LOW_TONE], q->z_var[LOW_TONE]);
        add_prior(&s, at, Z_HIGH, q->z_mean[HIGH_TONE], q->z_var[HIGH_TONE]);
        for (int c = 0; sums && c < d->cell_count; c++) {
            add_sums(&s, &sums[c], at, reading_sd[sums[c].tone] * reading_sd[sums[c].tone]);
        }
        solve(&s, step);
        double largest = 0.0;
        for (int u = 0; u < UNKNOWNS; u++) {
            double by = clip(step[u], u < Z_LOW ? LOG_STEP : 2.0);
            at[u] = clip(at[u] + by, u < Z_LOW ? LOG_BOUND : 20.0);
            largest = fmax(largest, fabs(by));
        }
        if (largest < 1e-10) {
            break;
        }
    }
    double a_sd = q->slopes.a_se, b_sd = q->slopes.b_se;
    struct slopes *t = &out->slopes, *seen = &out->seen;
    *t = q->slopes;
    t->a += a_sd * at[Z_LOW];
    t->b += b_sd * at[Z_HIGH];
    t->a_se = a_sd * sqrt(s.m[Z_LOW][Z_LOW]);
    t->b_se = b_sd * sqrt(s.m[Z_HIGH][Z_HIGH]);
    t->ab_cov = a_sd * b_sd * s.m[Z_LOW][Z_HIGH];
    for (int r = 0; r < 2; r++) {
        if (q->learn[r]) {
            out->worth[r].db_per_unit = nominal[r] * exp(at[r]);
            out->worth[r].se = out->worth[r].db_per_unit * sqrt(s.m[r][r]);
        }
    }
    /* slope × (worth / its best value): small changes of both add */
    double ww = s.m[W_BIAS][W_BIAS], wl = a_sd * s.m[W_BIAS][Z_LOW], wh = b_sd * s.m[W_BIAS][Z_HIGH];
    *seen = *t;
    seen->a_se = sqrt(fmax(t->a_se * t->a_se + 2.0 * t->a * wl + t->a * t->a * ww, 0.0));
    seen->b_se = sqrt(fmax(t->b_se * t->b_se + 2.0 * t->b * wh + t->b * t->b * ww, 0.0));
    seen->ab_cov = t->ab_cov + t->a * wh + t->b * wl + t->a * t->b * ww;
}
