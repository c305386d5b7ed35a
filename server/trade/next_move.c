/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The decision at the bench: look at the readings, find what the tape wants, then stop, or name the setting that is most
 * likely right among those not tried. Called once a reading.
 */
#include "bench_parts.h"

#include "flat.h"
#include "slope_parts.h"

#include <string.h>

#define GRID_STEPS    4    /* dial steps looked at either side of the best setting */
#define PEAK_MOVE_DB  2.5  /* how far to come up when below the peak */
#define AS_NEAR_GAIN  0.03 /* a setting that is better by less than this is not worth a reading */
#define AS_NEAR_LEAST 0.75

/* How sure one must be to stop. Patience is finite: found by simulation, see tests/trade/test_next_move.c. */
static double sure_enough(int readings)
{
    return readings <= 2 ? 0.80 : readings == 3 ? 0.77 : readings == 4 ? 0.72 : 0.65;
}

const char *next_move_reason_code(enum next_move_reason r)
{
    static const char *const codes[MOVE_REASONS] = {
        "start",         "move",         "settled", "as-near-as-it-gets", "below-the-peak", "surprise", "unlike-its-label", "wander",
        "dial-runs-out", "no-bias-dial", "no-dial", "up-to-the-peak",     "past-the-peak",
    };
    return r >= 0 && r < MOVE_REASONS ? codes[r] : "";
}

double bench_db(const struct bench *b, int r, double reading)
{
    return b->has[r] && given(reading) ? dial_to_db(b->q->dial[r], b->q->worth[r], reading) : 0.0;
}

double bench_reading(const struct bench *b, int r, double db, bool *beyond)
{
    *beyond = false;
    if (!b->has[r]) {
        return ABSENT;
    }
    const struct dial *d = b->q->dial[r];
    double reading = dial_set(d, b->q->worth[r], db, beyond), towards = dial_zero(d) > reading ? dial_step(d) : -dial_step(d);
    /* the very end of a percent or ratio dial is no bias at all: not a setting one can reckon with */
    return isfinite(bench_db(b, r, reading)) ? reading : reading + towards;
}

static bool same_reading(const struct bench *b, int r, double x, double y)
{
    return !b->has[r] || !given(x) || !given(y) || fabs(x - y) <= 1e-3 * dial_step(b->q->dial[r]);
}

bool bench_tried(const struct bench *b, const double dial[2])
{
    for (int i = 0; i < b->tried_count; i++) {
        if (same_reading(b, 0, dial[0], b->tried[i][0]) && same_reading(b, 1, dial[1], b->tried[i][1])) {
            return true;
        }
    }
    return false;
}

void bench_setting(const struct bench *b, const struct posterior *p, const double dial[2], struct next_setting *out)
{
    double x[2];
    for (int r = 0; r < 2; r++) {
        out->dial[r] = b->has[r] ? dial[r] : ABSENT;
        out->db[r] = x[r] = bench_db(b, r, dial[r]);
    }
    struct pair_normal n = posterior_predict(p, x);
    out->low_db = n.low;
    out->high_db = n.high;
    out->chance = posterior_chance(b, p, x);
}

static void bench_make(const struct next_move_question *q, struct bench *b)
{
    memset(b, 0, sizeof *b);
    b->q = q;
    b->treble = given(q->treble_db) ? q->treble_db : 0.0;
    b->tolerance[0] = TOLERANCE_LOW_DB;
    b->tolerance[1] = q->for_noise_reduction ? TOLERANCE_HIGH_NR_DB : TOLERANCE_HIGH_DB;
    double usual[TONES];
    slope_noise_prior(q->meter_step_db, usual);
    for (int r = 0; r < 2; r++) {
        double step = given(q->meter_step_db) ? q->meter_step_db : 0.0, least = sqrt(0.05 * 0.05 + step * step / 12.0);
        b->has[r] = q->dial[r] && q->dial[r]->present;
        b->noise[r] = fmax(q->reading_sd[r] > 0.0 ? q->reading_sd[r] : usual[r], least); /* NaN: usual */
    }
    for (int i = 0; i < q->move_count && i < LIMIT_MOVES; i++) {
        const struct move *m = &q->moves[i];
        b->tried[b->tried_count][0] = m->bias;
        b->tried[b->tried_count++][1] = m->level;
        double x[2] = {bench_db(b, 0, m->bias), bench_db(b, 1, m->level)};
        if (given(m->low_db) && given(m->high_db) && isfinite(x[0]) && isfinite(x[1])) {
            b->point[b->count++] = (struct bench_point){{x[0], x[1]}, {m->bias, m->level}, m->low_db, m->high_db, true};
        }
    }
}

/* Being right counts; where nothing nearby is, being less wrong does. */
static double merit(const struct bench *b, const struct next_setting *s)
{
    double low = s->low_db / b->tolerance[0], high = (s->high_db - b->treble) / b->tolerance[1];
    if (!b->has[1]) {
        low = 0.0;
        high = (s->high_db - s->low_db - b->treble) / b->tolerance[1];
    }
    return s->chance - 0.01 * fmin(low * low + (b->has[0] ? high * high : 0.0), 100.0);
}

/* The best setting not tried among the steps around `centre` (dB); keeps the better of it and *best. */
static void look_around(const struct bench *b, const struct posterior *p, const double centre[2], struct next_setting *best, bool *found)
{
    double middle[2], step[2] = {0.0, 0.0};
    int reach[2] = {0, 0};
    bool beyond;
    for (int r = 0; r < 2; r++) {
        middle[r] = bench_reading(b, r, centre[r], &beyond);
        if (b->has[r]) {
            step[r] = dial_step(b->q->dial[r]);
            reach[r] = GRID_STEPS;
        }
    }
    for (int i = -reach[0]; i <= reach[0]; i++) {
        for (int k = -reach[1]; k <= reach[1]; k++) {
            double dial[2] = {middle[0] + i * step[0], middle[1] + k * step[1]};
            bool inside = true;
            for (int r = 0; r < 2; r++) {
                inside = inside && (!b->has[r] || (dial[r] >= b->q->dial[r]->low - 1e-9 && dial[r] <= b->q->dial[r]->high + 1e-9));
            }
            if (!inside || bench_tried(b, dial)) {
                continue;
            }
            struct next_setting s;
            bench_setting(b, p, dial, &s);
            if (!isfinite(s.db[0]) || !isfinite(s.db[1])) { /* a percent dial's very end */
                continue;
            }
            if (!*found || merit(b, &s) > merit(b, best)) {
                *best = s;
                *found = true;
            }
        }
    }
}

/* The setting to stop at among those read: the last one unless an earlier one is clearly better. */
static bool best_read(const struct bench *b, const struct posterior *p, struct next_setting *out)
{
    for (int i = b->count - 1; i >= 0; i--) {
        struct next_setting s;
        bench_setting(b, p, b->point[i].dial, &s);
        if (i == b->count - 1 || merit(b, &s) > merit(b, out) + 0.05) {
            *out = s;
        }
    }
    return b->count > 0;
}

static void start(const struct bench *b, const struct posterior *p, struct next_move *out)
{
    double x[2], dial[2];
    flat_to_setting(&b->q->slopes, b->q->need, b->treble, x);
    if (!b->has[0]) {
        x[0] = 0.0;
        x[1] = b->q->need[1] + b->q->slopes.a * b->q->need[0]; /* the low tone's own part: bias stands off by −need */
    }
    for (int r = 0; r < 2; r++) {
        dial[r] = bench_reading(b, r, x[r], &out->beyond[r]);
    }
    bench_setting(b, p, dial, &out->set);
    out->reason = out->beyond[0] || out->beyond[1] ? MOVE_RUNS_OUT : MOVE_START;
}

static void come_up(const struct bench *b, const struct posterior *p, struct next_move *out)
{
    double x[2] = {b->peak_top + PEAK_MOVE_DB, 0.0}, dial[2];
    x[1] = b->count ? b->point[b->count - 1].x[1] : 0.0; /* leave the level: one thing at a time */
    for (int r = 0; r < 2; r++) {
        dial[r] = bench_reading(b, r, x[r], &out->beyond[r]);
    }
    out->reason = MOVE_BELOW_PEAK;
    if (bench_tried(b, dial)) {
        out->reason = MOVE_RUNS_OUT; /* already at the end, still below the peak */
        best_read(b, p, &out->set);
    } else {
        bench_setting(b, p, dial, &out->set);
    }
}

/* `hold`: the last reading is not to be built on yet. */
static void decide(const struct bench *b, const struct posterior *p, bool hold, struct next_move *out)
{
    struct next_setting next = {{ABSENT, ABSENT}, {0, 0}, 0, 0, 0}, read = next;
    bool any_next = false, any_read = best_read(b, p, &read);
    double target[2];
    for (int k = p->count - 1; k >= 0; k--) {
        if (p->fit[k].weight > 0.02) {
            fit_target(b, &p->fit[k], target);
            look_around(b, p, target, &next, &any_next);
        }
    }
    for (int r = 0; r < 2; r++) { /* by the likelier member, which was last */
        bench_reading(b, r, target[r], &out->beyond[r]);
    }
    if (!any_next && !any_read) { /* the dials have no setting left to try and none was read */
        start(b, p, out);
        return;
    }
    bool sure = any_read && read.chance >= sure_enough(b->count);
    bool as_near = any_read && (!any_next || merit(b, &next) < merit(b, &read) + AS_NEAR_GAIN);
    if (!hold && (sure || (as_near && read.chance >= AS_NEAR_LEAST))) {
        out->set = read;
        out->settled = true;
        out->reason = MOVE_SETTLED;
        return;
    }
    out->reason = MOVE_FOLLOW;
    out->set = next;
    if (!any_next || (as_near && !hold)) {
        out->set = read;
        out->reason = MOVE_AS_NEAR;
        out->settled = !hold && read.chance >= 0.5;
    }
    if ((out->beyond[0] || out->beyond[1]) && out->set.chance < 0.5) {
        out->reason = MOVE_RUNS_OUT;
    }
}

/* Nothing to turn: what the tones will read is all there is to say. */
static void without_dials(const struct bench *b, const struct posterior *p, struct next_move *out)
{
    bench_setting(b, p, (double[2]){ABSENT, ABSENT}, &out->set);
    out->reason = MOVE_NO_DIAL;
    out->settled = b->count > 0 && out->set.chance >= 0.5;
}

static void tell_what_is_known(const struct posterior *p, struct next_move *out)
{
    const struct bench_fit *f = &p->fit[0];
    for (int r = 0; r < 2; r++) {
        double mean = 0.0, var = 0.0;
        for (int k = 0; k < p->count; k++) {
            mean += p->fit[k].weight * p->fit[k].at[r];
        }
        for (int k = 0; k < p->count; k++) {
            double off = p->fit[k].at[r] - mean;
            var += p->fit[k].weight * (p->fit[k].cov[r][r] + off * off);
        }
        out->need[r] = mean;
        out->need_se[r] = sqrt(var);
    }
    out->slope_a = f->at[SLOPE_A];
    out->slope_b = f->at[SLOPE_B];
}

/* MOVE_FOLLOW, or why the last reading should not be built on yet. One that lands within tolerance may surprise as it likes. */
static enum next_move_reason look_at_readings(const struct bench *b)
{
    if (b->count == 0 || !b->point[b->count - 1].used) {
        return MOVE_FOLLOW;
    }
    const struct bench_point *last = &b->point[b->count - 1];
    bool first = false;
    if (b->count > 1 && bench_wanders(b)) {
        return MOVE_WANDER;
    }
    if (!bench_surprised(b, &first) ||
        (fabs(last->low) <= 0.5 * b->tolerance[0] && fabs(last->high - b->treble) <= 0.5 * b->tolerance[1])) {
        return MOVE_FOLLOW;
    }
    return first ? MOVE_UNLIKE_LABEL : MOVE_SURPRISE;
}

void next_move(const struct next_move_question *q, struct next_move *out)
{
    struct bench b;
    struct posterior p;
    memset(out, 0, sizeof *out);
    bench_make(q, &b);
    memcpy(out->tolerance, b.tolerance, sizeof out->tolerance);
    if (b.has[0] && given(q->drop_db) && q->drop_db > 0.0) {
        posterior_find(&b, 0, &p);
        tell_what_is_known(&p, out);
        overbias_move(&b, &p, out);
        bench_words(&b, out);
        return;
    }
    if (b.has[0]) {
        bench_find_peak(&b);
    }
    posterior_find(&b, b.count, &p);
    tell_what_is_known(&p, out);
    bool in_doubt = b.below_peak;
    for (int i = 0; i < b.count; i++) {
        in_doubt = in_doubt && !b.point[i].used;
    }
    if (!b.has[0] && !b.has[1]) {
        without_dials(&b, &p, out);
    } else if (!b.tried_count) {
        start(&b, &p, out);
    } else if (in_doubt) {
        come_up(&b, &p, out);
    } else {
        enum next_move_reason looks = look_at_readings(&b);
        decide(&b, &p, looks != MOVE_FOLLOW, out);
        if (looks != MOVE_FOLLOW) {
            out->reason = looks;
            out->look_first = true;
        }
    }
    out->chance_right = out->set.chance;
    if (!b.has[0] && b.has[1] && out->settled && fabs(out->set.high_db - b.treble) > b.tolerance[1]) {
        out->reason = MOVE_NO_BIAS_DIAL;
    }
    if (q->ladder && !out->settled && (b.has[0] || b.has[1])) {
        ladder_make(&b, &p, out);
    }
    bench_words(&b, out);
}
