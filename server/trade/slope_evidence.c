/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What one calibration's moves say about the slopes and about the noise of a reading. Pure: the same moves and dials give the
 * same whole numbers, so that the learner can take them out again.
 *
 * Levels, not differences, are what is summed: each tape has its own intercept, removed by centring its products. A tape's
 * own slope strays from its deck's, therefore one tape with many moves does not count without end: its products are weighed
 * by 1/(1 + Sxx·stray²/noise²).
 */
#include "slope_parts.h"

#include "check.h"

#include <string.h>

#define WINDOW_BIAS_DB  4.0 /* moves further from the final setting are on another part of the curve */
#define WINDOW_LEVEL_DB 20.0
#define STRAY_LOW       0.08 /* sd of one tape's slope about its deck's, dB per dB; memory */
#define STRAY_HIGH      0.20
#define UNBELIEVABLE_SD 4.0 /* a tape's own slope further off than this is a misentry or was below the peak */
#define NOISE_CAP_DB2   1.0 /* most that one degree of freedom may say about noise */

static bool may_count(const struct calibration *c)
{
    return c->settled && !c->noise_reduction && !c->mpx_filter && c->bias_method != METHOD_OVERBIAS && given(c->bias);
}

/* The moves with readings, then the setting as left unless it repeats the last of them. Zero when there are fewer than two settings to compare. */
int slope_moves_of(const struct calibration *c, struct move out[LIMIT_MOVES + 1])
{
    int n = 0;
    if (!may_count(c)) {
        return 0;
    }
    for (int i = 0; i < c->move_count && i < LIMIT_MOVES; i++) {
        if (given(c->moves[i].low_db) && given(c->moves[i].high_db) && given(c->moves[i].bias)) {
            out[n++] = c->moves[i];
        }
    }
    struct move left = {c->bias, c->level, c->low_db, c->high_db};
    const struct move *m = n ? &out[n - 1] : NULL;
    bool same_setting = m && m->bias == left.bias && (m->level == left.level || !given(left.level));
    bool same_reading = m && m->low_db == left.low_db && m->high_db == left.high_db;
    if (!same_setting || (given(left.low_db) && !same_reading)) {
        out[n++] = left; /* also without readings: it is where the others are measured from */
    }
    return n >= 2 ? n : 0;
}

struct products {
    double n, sxx, sxl, sll, sxy, sly, syy;
};

struct seen_point {
    double x, l, low, high;
};

static int points_in_db(const struct slope_moves *e, const struct deck *d, struct seen_point *out)
{
    double worth[2] = {dial_worth_prior(&d->bias_dial).db_per_unit,
                       d->level_dial.present ? dial_worth_prior(&d->level_dial).db_per_unit : 0.0};
    const struct move *last = &e->points[e->count - 1];
    double x0 = dial_to_db(&d->bias_dial, worth[0], last->bias);
    double l0 = d->level_dial.present && given(last->level) ? dial_to_db(&d->level_dial, worth[1], last->level) : 0.0;
    int n = 0;
    for (int i = 0; i < e->count; i++) {
        const struct move *m = &e->points[i];
        struct seen_point p = {dial_to_db(&d->bias_dial, worth[0], m->bias) - x0, 0.0, m->low_db, m->high_db};
        if (d->level_dial.present) {
            p.l = dial_to_db(&d->level_dial, worth[1], m->level) - l0;
        }
        if (given(p.low) && given(p.high) && fabs(p.x) <= WINDOW_BIAS_DB && fabs(p.l) <= WINDOW_LEVEL_DB) { /* NaN fails too */
            out[n++] = p;
        }
    }
    return n;
}

/* Centred twice, so that large common offsets cost no digits. */
static struct products products_of(const struct seen_point *p, int n, enum tone tone, double bend, bool level_known)
{
    double y[LIMIT_MOVES + 1], mx = 0.0, ml = 0.0, my = 0.0;
    struct products s = {.n = n};
    for (int i = 0; i < n; i++) {
        y[i] = tone == LOW_TONE ? p[i].low : p[i].high + bend * p[i].x * p[i].x;
        y[i] -= level_known ? p[i].l : 0.0;
        mx += p[i].x / n;
        ml += p[i].l / n;
        my += y[i] / n;
    }
    for (int i = 0; i < n; i++) {
        double x = p[i].x - mx, l = p[i].l - ml, v = y[i] - my;
        s.sxx += x * x;
        s.sxl += x * l;
        s.sll += l * l;
        s.sxy += x * v;
        s.sly += l * v;
        s.syy += v * v;
    }
    return s;
}

static int64_t quanta(double v)
{
    return (int64_t)llrint(v / SLOPE_QUANTUM);
}

/* Scatter about the tape's own line, if the level did not need to be learned. */
static void noise_of(const struct products *s, bool level_known, enum tone tone, struct slope_noise *out)
{
    if (!level_known && s->sll > 1e-9) {
        return;
    }
    bool moved = s->sxx > 1e-3;
    int dof = (int)s->n - (moved ? 2 : 1);
    if (dof < 1) {
        return;
    }
    double rss = fmax(s->syy - (moved ? s->sxy * s->sxy / s->sxx : 0.0), 0.0);
    out->rss[tone] = quanta(fmin(rss, NOISE_CAP_DB2 * dof));
    out->dof[tone] = dof;
}

static bool believable(const struct products *s, enum tone tone, int cell, double noise, double stray, bool bias_known)
{
    double mean, sd;
    slope_cell_prior(cell, tone, &mean, &sd);
    if (s->sxx < 1e-6) {
        return false;
    }
    double own = (tone == LOW_TONE ? 1.0 : -1.0) * s->sxy / s->sxx;
    double spread = sqrt(sd * sd + stray * stray + noise * noise / s->sxx);
    if (!bias_known) { /* the mark may be worth four times as much or as little */
        return fabs(own) <= 4.0 * fabs(mean) + UNBELIEVABLE_SD * spread && own > -UNBELIEVABLE_SD * spread;
    }
    return fabs(own - mean) <= UNBELIEVABLE_SD * spread;
}

static struct slope_kind kind_of(const struct slope_moves *e, const struct deck *d)
{
    struct slope_kind k = e->kind;
    struct setup setup;
    k.low_hz = given(k.low_hz) ? k.low_hz : deck_low_hz(d);
    k.high_hz = given(k.high_hz) ? k.high_hz : deck_high_hz(d);
    k.speed_mm_s = deck_setup(d, e->setup, &setup) ? setup.speed_mm_s : ABSENT;
    return k;
}

void slope_evidence_of(const struct slope_moves *e, const struct deck *d, struct slope_evidence *out)
{
    memset(out, 0, sizeof *out);
    struct seen_point p[LIMIT_MOVES + 1];
    int n = d->bias_dial.present ? points_in_db(e, d, p) : 0;
    if (n < 2) {
        return;
    }
    bool level_known = !d->level_dial.present || d->level_dial.scale != SCALE_LEARN;
    bool bias_known = d->bias_dial.scale != SCALE_LEARN;
    struct slope_kind kind = kind_of(e, d);
    struct slopes prior = slopes_prior(kind);
    double noise[TONES];
    slope_noise_prior(d->meter_step_db, noise);
    bool fine = true;
    for (int t = 0; t < TONES; t++) {
        double stray = t == LOW_TONE ? STRAY_LOW : STRAY_HIGH;
        struct products s = products_of(p, n, (enum tone)t, prior.bend, level_known);
        int cell = slope_cell(kind, (enum tone)t);
        fine = fine && (s.sxx < 0.01 || !level_known || believable(&s, (enum tone)t, cell, noise[t], stray, bias_known));
        noise_of(&s, level_known, (enum tone)t, &out->noise);
        double f = 1.0 / (1.0 + s.sxx * stray * stray / (noise[t] * noise[t]));
        out->sums[t] = (struct slope_sums){
            {quanta(f * s.sxx), quanta(f * s.sxl), quanta(f * s.sll), quanta(f * s.sxy), quanta(f * s.sly)}, cell, t, 1};
    }
    out->counts = fine;
}
