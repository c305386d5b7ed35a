/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What this tape wants, given its readings so far: Gauss–Newton on six unknowns from two starting beliefs, "as its label says"
 * and "something else", weighed by how well each foretold the readings (Laplace).
 */
#include "bench_parts.h"

#include <string.h>

#define NOT_AS_LABELLED (1.0 / 7.0) /* share of tapes that are something else; chosen */
#define ELSE_BIAS_SD    2.5         /* how far off those are, dB */
#define ELSE_LEVEL_SD   1.5
#define BEND_LOW_MEAN   0.02 /* the low tone's broad peak, dB per dB²; memory */
#define BEND_LOW_SD     0.02
#define PEAK_TO_NEED    3.5 /* the working point above the highest bias seen below the peak, dB; memory, wide */
#define PEAK_TO_NEED_SD 2.0
#define NOISE_DOF       8.0 /* weight of the noise said beforehand against the readings' own scatter */
#define STEPS           25

struct belief {
    double mean[THETA], precision[THETA][THETA], log_det;
};

/* Cholesky factor of symmetric positive definite m into l; false when it is not. */
static bool factor(double m[THETA][THETA], double l[THETA][THETA])
{
    memset(l, 0, sizeof(double) * THETA * THETA);
    for (int j = 0; j < THETA; j++) {
        for (int i = j; i < THETA; i++) {
            double s = m[i][j];
            for (int k = 0; k < j; k++) {
                s -= l[i][k] * l[j][k];
            }
            if (i == j && !(s > 0.0)) {
                return false;
            }
            l[i][j] = i == j ? sqrt(s) : s / l[j][j];
        }
    }
    return true;
}

static void solve(double l[THETA][THETA], const double *rhs, double *x)
{
    for (int i = 0; i < THETA; i++) {
        x[i] = rhs[i];
        for (int k = 0; k < i; k++) {
            x[i] -= l[i][k] * x[k];
        }
        x[i] /= l[i][i];
    }
    for (int i = THETA - 1; i >= 0; i--) {
        for (int k = i + 1; k < THETA; k++) {
            x[i] -= l[k][i] * x[k];
        }
        x[i] /= l[i][i];
    }
}

static double log_det(double l[THETA][THETA])
{
    double s = 0.0;
    for (int i = 0; i < THETA; i++) {
        s += 2.0 * log(l[i][i]);
    }
    return s;
}

static void belief_make(const struct bench *b, bool as_labelled, struct belief *out)
{
    const struct next_move_question *q = b->q;
    const struct slopes *s = &q->slopes;
    double l[THETA][THETA], sd[2] = {ELSE_BIAS_SD, ELSE_LEVEL_SD};
    memset(out, 0, sizeof *out);
    for (int r = 0; r < 2; r++) {
        double var = fmax(q->need_se[r] * q->need_se[r], 1e-6) + (as_labelled ? 0.0 : sd[r] * sd[r]);
        out->mean[r] = q->need[r];
        out->precision[r][r] = 1.0 / var;
    }
    if (b->below_peak) {
        out->mean[NEED_BIAS] = b->peak_top + PEAK_TO_NEED;
        out->precision[NEED_BIAS][NEED_BIAS] = 1.0 / (PEAK_TO_NEED_SD * PEAK_TO_NEED_SD);
    }
    double va = fmax(s->a_se * s->a_se, 1e-6), vb = fmax(s->b_se * s->b_se, 1e-6);
    double most = 0.98 * sqrt(va * vb), c = s->ab_cov > most ? most : s->ab_cov < -most ? -most : s->ab_cov;
    double det = va * vb - c * c;
    out->mean[SLOPE_A] = s->a;
    out->mean[SLOPE_B] = s->b;
    out->precision[SLOPE_A][SLOPE_A] = vb / det;
    out->precision[SLOPE_B][SLOPE_B] = va / det;
    out->precision[SLOPE_A][SLOPE_B] = out->precision[SLOPE_B][SLOPE_A] = -c / det;
    out->mean[BEND_HIGH] = s->bend;
    out->precision[BEND_HIGH][BEND_HIGH] = 1.0 / fmax(s->bend_se * s->bend_se, 1e-6);
    out->mean[BEND_LOW] = BEND_LOW_MEAN;
    out->precision[BEND_LOW][BEND_LOW] = 1.0 / (BEND_LOW_SD * BEND_LOW_SD);
    out->log_det = factor(out->precision, l) ? log_det(l) : 0.0;
}

static void tones(const double at[THETA], const double x[2], double y[2], double j[2][THETA])
{
    double d = x[0] - at[NEED_BIAS], l = x[1] - at[NEED_LEVEL];
    y[0] = l + at[SLOPE_A] * d - at[BEND_LOW] * d * d;
    y[1] = l - at[SLOPE_B] * d - at[BEND_HIGH] * d * d;
    memset(j, 0, sizeof(double) * 2 * THETA);
    j[0][NEED_BIAS] = -at[SLOPE_A] + 2.0 * at[BEND_LOW] * d;
    j[1][NEED_BIAS] = at[SLOPE_B] + 2.0 * at[BEND_HIGH] * d;
    j[0][NEED_LEVEL] = j[1][NEED_LEVEL] = -1.0;
    j[0][SLOPE_A] = d;
    j[1][SLOPE_B] = -d;
    j[0][BEND_LOW] = j[1][BEND_HIGH] = -d * d;
}

/* Misfit of prior and readings; also the normal equations when m and g are given. */
static double misfit(const struct bench *b, int points, const struct belief *p, const double noise[2], const double at[THETA],
                     double m[THETA][THETA], double *g, double *readings)
{
    double total = 0.0, seen = 0.0;
    if (m) {
        memcpy(m, p->precision, sizeof p->precision);
    }
    for (int i = 0; i < THETA; i++) {
        double s = 0.0;
        for (int k = 0; k < THETA; k++) {
            s += p->precision[i][k] * (p->mean[k] - at[k]);
        }
        total += s * (p->mean[i] - at[i]);
        if (m) {
            g[i] = s;
        }
    }
    for (int n = 0; n < points; n++) {
        double y[2], j[2][THETA], read[2] = {b->point[n].low, b->point[n].high};
        if (!b->point[n].used) {
            continue;
        }
        tones(at, b->point[n].x, y, j);
        for (int t = 0; t < 2; t++) {
            double w = 1.0 / (noise[t] * noise[t]), r = read[t] - y[t];
            seen += w * r * r;
            for (int i = 0; m && i < THETA; i++) {
                g[i] += w * j[t][i] * r;
                for (int k = 0; k < THETA; k++) {
                    m[i][k] += w * j[t][i] * j[t][k];
                }
            }
        }
    }
    if (readings) {
        *readings = seen;
    }
    return total + seen;
}

/* Descends from `at`; returns the misfit there, with covariance and the log evidence. */
static double descend(const struct bench *b, int points, const struct belief *p, const double noise[2], struct bench_fit *f,
                      double *evidence)
{
    double m[THETA][THETA], l[THETA][THETA], g[THETA], step[THETA], now = misfit(b, points, p, noise, f->at, m, g, NULL);
    for (int i = 0; i < STEPS && factor(m, l); i++) {
        double next[THETA], then = now, part = 1.0, largest = 0.0;
        solve(l, g, step);
        for (int half = 0; half < 12; half++, part *= 0.5) {
            for (int k = 0; k < THETA; k++) {
                next[k] = f->at[k] + part * step[k];
            }
            then = misfit(b, points, p, noise, next, NULL, NULL, NULL);
            if (then <= now) {
                break;
            }
        }
        if (!(then <= now)) {
            break;
        }
        for (int k = 0; k < THETA; k++) {
            largest = fmax(largest, fabs(next[k] - f->at[k]));
            f->at[k] = next[k];
        }
        now = misfit(b, points, p, noise, f->at, m, g, NULL);
        if (largest < 1e-9) {
            break;
        }
    }
    if (!factor(m, l)) { /* cannot happen: the prior's precision alone is positive definite */
        memcpy(m, p->precision, sizeof m);
        factor(m, l);
    }
    for (int c = 0; c < THETA; c++) {
        double unit[THETA] = {0}, column[THETA];
        unit[c] = 1.0;
        solve(l, unit, column);
        for (int i = 0; i < THETA; i++) {
            f->cov[i][c] = column[i];
        }
    }
    *evidence = -0.5 * now - 0.5 * log_det(l) + 0.5 * p->log_det;
    return now;
}

static int readings_used(const struct bench *b, int points)
{
    int n = 0;
    for (int i = 0; i < points; i++) {
        n += b->point[i].used;
    }
    return n;
}

static void find_with(const struct bench *b, int points, const double noise[2], struct posterior *out)
{
    double evidence[2], most;
    out->count = b->below_peak ? 1 : 2;
    for (int k = 0; k < out->count; k++) {
        struct belief p;
        /* A bent curve can be met on either side, so the free belief is started from three places. */
        static const double from[3] = {0.0, 3.0, -3.0};
        double best = INFINITY, e;
        belief_make(b, k == 0 && !b->below_peak, &p);
        for (int s = 0; s < (k == 0 && !b->below_peak ? 1 : 3); s++) {
            struct bench_fit f = {.weight = 1.0};
            memcpy(f.at, p.mean, sizeof f.at);
            f.at[NEED_BIAS] += from[s];
            double reached = descend(b, points, &p, noise, &f, &e);
            if (reached < best) {
                best = reached;
                out->fit[k] = f;
                evidence[k] = e;
            }
        }
    }
    if (out->count == 2) {
        evidence[0] += log(1.0 - NOT_AS_LABELLED);
        evidence[1] += log(NOT_AS_LABELLED);
        most = fmax(evidence[0], evidence[1]);
        double w0 = exp(evidence[0] - most), w1 = exp(evidence[1] - most);
        out->fit[0].weight = w0 / (w0 + w1);
        out->fit[1].weight = w1 / (w0 + w1);
        if (w1 > w0) {
            struct bench_fit swap = out->fit[0];
            out->fit[0] = out->fit[1];
            out->fit[1] = swap;
        }
    }
}

void posterior_find(const struct bench *b, int points, struct posterior *out)
{
    double noise[2] = {b->noise[0], b->noise[1]};
    int used = readings_used(b, points);
    out->noise_scale = 1.0;
    find_with(b, points, noise, out);
    if (used < 2) {
        return;
    }
    /* Readings that disagree among themselves are worth less than the meter promises. */
    double scatter = 0.0;
    struct belief none = {.log_det = 0.0};
    misfit(b, points, &none, noise, out->fit[0].at, NULL, NULL, &scatter);
    double scale2 = (NOISE_DOF + scatter) / (NOISE_DOF + 2.0 * used);
    if (scale2 > 1.0) {
        out->noise_scale = sqrt(scale2);
        noise[0] *= out->noise_scale;
        noise[1] *= out->noise_scale;
        find_with(b, points, noise, out);
    }
}

struct pair_normal bench_predict(const struct bench_fit *f, const double x[2])
{
    double y[2], j[2][THETA], v[2][2] = {{0}};
    tones(f->at, x, y, j);
    for (int s = 0; s < 2; s++) {
        for (int t = 0; t < 2; t++) {
            for (int i = 0; i < THETA; i++) {
                for (int k = 0; k < THETA; k++) {
                    v[s][t] += j[s][i] * f->cov[i][k] * j[t][k];
                }
            }
        }
    }
    return (struct pair_normal){y[0], y[1], v[0][0], v[1][1], v[0][1]};
}

struct pair_normal posterior_predict(const struct posterior *p, const double x[2])
{
    struct pair_normal part[2], m = {0};
    for (int k = 0; k < p->count; k++) {
        part[k] = bench_predict(&p->fit[k], x);
        m.low += p->fit[k].weight * part[k].low;
        m.high += p->fit[k].weight * part[k].high;
    }
    for (int k = 0; k < p->count; k++) {
        double l = part[k].low - m.low, h = part[k].high - m.high, w = p->fit[k].weight;
        m.var_low += w * (part[k].var_low + l * l);
        m.var_high += w * (part[k].var_high + h * h);
        m.cov += w * (part[k].cov + l * h);
    }
    return m;
}

static double normal_below(double z)
{
    return 0.5 * erfc(-z / sqrt(2.0));
}

static double normal_inside(double mean, double var, double limit)
{
    double sd = sqrt(fmax(var, 1e-12));
    return normal_below((limit - mean) / sd) - normal_below((-limit - mean) / sd);
}

/* P(|low| ≤ tl, |high| ≤ th) of two correlated normals: Simpson over the low tone, the high tone given it in closed form. */
static double rectangle(const struct pair_normal *n, double tl, double th)
{
    enum { PIECES = 32 };
    double sd = sqrt(fmax(n->var_low, 1e-12)), from = fmax(-tl, n->low - 7.0 * sd), to = fmin(tl, n->low + 7.0 * sd), sum = 0.0;
    if (from >= to) {
        return 0.0;
    }
    double h = (to - from) / PIECES, slope = n->cov / (sd * sd), rest = n->var_high - slope * n->cov;
    for (int i = 0; i <= PIECES; i++) {
        double u = from + h * i, z = (u - n->low) / sd;
        double weight = i == 0 || i == PIECES ? 1.0 : i % 2 ? 4.0 : 2.0;
        sum += weight * exp(-0.5 * z * z) * normal_inside(n->high + slope * (u - n->low), rest, th);
    }
    return fmin(sum * h / 3.0 / (sd * sqrt(2.0 * 3.14159265358979323846)), 1.0);
}

double posterior_chance(const struct bench *b, const struct posterior *p, const double x[2])
{
    double chance = 0.0;
    for (int k = 0; k < p->count; k++) {
        struct pair_normal n = bench_predict(&p->fit[k], x);
        double one;
        if (b->has[0] && !b->has[1]) {
            one = normal_inside(n.high - n.low - b->treble, n.var_high + n.var_low - 2.0 * n.cov, b->tolerance[1]);
        } else if (!b->has[0] && b->has[1]) {
            one = normal_inside(n.low, n.var_low, b->tolerance[0]);
        } else {
            n.high -= b->treble;
            one = rectangle(&n, b->tolerance[0], b->tolerance[1]);
        }
        chance += p->fit[k].weight * one;
    }
    return chance;
}

void fit_target(const struct bench *b, const struct bench_fit *f, double x[2])
{
    /* (a + b)·d + (q − r)·d² = −T by Newton from the straight line; a bend that leaves no root keeps the line's. */
    double sum = fmax(f->at[SLOPE_A] + f->at[SLOPE_B], SLOPES_SUM_MIN), bend = f->at[BEND_HIGH] - f->at[BEND_LOW], line = -b->treble / sum,
           d = line;
    for (int i = 0; i < 20; i++) {
        double slope = sum + 2.0 * bend * d;
        if (slope < 0.25 * sum) {
            d = line;
            break;
        }
        d -= (sum * d + bend * d * d + b->treble) / slope;
    }
    x[0] = b->has[0] ? f->at[NEED_BIAS] + d : 0.0;
    d = x[0] - f->at[NEED_BIAS];
    x[1] = b->has[1] ? f->at[NEED_LEVEL] - f->at[SLOPE_A] * d + f->at[BEND_LOW] * d * d : 0.0;
}
