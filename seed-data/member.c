/* SPDX-License-Identifier: GPL-3.0-or-later
 * A member at the bench: see member.h. */
#include "member.h"

#include "trade/check.h"
#include "trade/dial.h"

#include <math.h>

struct knob {
    const struct dial *dial;
    double learned, reading;
};

static double rounded(double x, double step)
{
    return step > 0 ? round(x / step) * step : x;
}

/* A number as it is written down, so that the text and the record are the same number. */
static double written(double x)
{
    return round(x * 1000.0) / 1000.0 + 0.0;
}

static double clipped(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

static struct knob knob_of(const struct bench_deck *d, int which, double start_db)
{
    struct knob k = {which == BENCH_BIAS ? &d->record.bias_dial : &d->record.level_dial, d->dial[which].learned, 0.0};
    if (k.dial->present)
        k.reading = written(dial_set(k.dial, k.learned, start_db, &(bool){false}));
    return k;
}

static double knob_db(const struct knob *k)
{
    return k->dial->present ? dial_to_db(k->dial, k->learned, k->reading) : 0.0;
}

/* Turns by about `db`; what the dial does not allow is left. True when it moved. `stop` says at which end it ran out. */
static bool knob_turn(struct knob *k, double db, enum stop *stop)
{
    *stop = STOP_NONE;
    if (!k->dial->present)
        return false;
    double want = dial_from_db(k->dial, k->learned, knob_db(k) + db);
    if (isnan(want))
        want = (db > 0) == (k->dial->plus == PLUS_MORE) ? k->dial->high : k->dial->low;
    double step = dial_step(k->dial), zero = dial_zero(k->dial);
    double to = zero + rounded(want - zero, step), old = k->reading;
    if (to > k->dial->high - 1e-9)
        *stop = want > k->dial->high + 0.5 * step ? STOP_HIGH : STOP_NONE;
    if (to < k->dial->low + 1e-9)
        *stop = want < k->dial->low - 0.5 * step ? STOP_LOW : STOP_NONE;
    k->reading = clipped(written(to), k->dial->low, k->dial->high);
    return fabs(k->reading - old) > 1e-9;
}

struct look {
    double low, high;
};

/* One glance at both meters: what is there, the wander of this stretch of tape, the meter's step. */
static struct look glance(const struct member *m, const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p,
                          const double set_db[2], const double stretch[2], struct chance *chance)
{
    double sd[2], seen[2], step = given(d->record.meter_step_db) ? d->record.meter_step_db * m->coarse : 0.1;
    bench_wander_db(d, p, sd);
    for (int tone = 0; tone < 2; tone++) {
        double x = bench_tone_db(d, t, p, tone, set_db[0], set_db[1]) + stretch[tone] + chance_normal(chance, 0, sd[tone] * 0.7);
        seen[tone] = clipped(written(rounded(x, step)), -24.0, 12.0); /* the meter's scale ends */
    }
    return (struct look){seen[0], seen[1]};
}

static bool sits(const struct look *l, double treble_db, bool level_dial, const double tolerance[2])
{
    if (!level_dial)
        return fabs(l->high - l->low - treble_db) <= tolerance[1];
    return fabs(l->low) <= tolerance[0] && fabs(l->high - treble_db) <= tolerance[1];
}

/* Slips of the pen in the bias reading, kept inside the dial as the log's check would. */
static bool slip(struct calibration *c, const struct bench_deck *d, struct chance *chance, enum misentry *kind)
{
    const struct dial *b = &d->record.bias_dial;
    if (!b->present)
        return false;
    double zero = dial_zero(b), off = c->bias - zero, to = NAN;
    if (chance_hit(chance, 0.6)) {
        *kind = ENTRY_SIGN;
        to = zero - off;
    } else {
        *kind = ENTRY_TENFOLD;
        to = b->scale == SCALE_PERCENT || b->scale == SCALE_RATIO
                 ? zero + off / 10.0
                 : (fabs(off) * 10 <= b->high - zero ? zero + off * 10 : zero + off / 10.0);
    }
    if (fabs(off) < 2.5 * dial_step(b) || to < b->low || to > b->high)
        return false;
    c->bias = written(to);
    return true;
}

static void set_by_ear(const struct member *m, const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p,
                       struct knob knob[2], struct chance *chance, struct calibration *c)
{
    double flat[2];
    bench_truth(d, t, p, m->taste_db + chance_normal(chance, 0.2, 0.7), flat); /* ears compare noise with noise: a dB or so */
    flat[1] += chance_normal(chance, 0, 0.5);
    for (int i = 0; i < 2; i++)
        (void)knob_turn(&knob[i], flat[i] - knob_db(&knob[i]), i ? &c->level_stop : &c->bias_stop);
    c->bias_method = METHOD_BY_EAR;
}

/* Methods that do not aim at two equal readings: the deck's own search, or a drop past the peak. */
static bool other_method(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, struct knob knob[2],
                         struct chance *chance, struct calibration *c)
{
    double flat[2];
    if (d->automatic && chance_hit(chance, d->automatic_share)) {
        bench_truth(d, t, p, 0.0, flat);
        flat[0] += d->automatic_db + chance_normal(chance, 0, 0.2);
        flat[1] += chance_normal(chance, 0, 0.15);
        c->bias_method = METHOD_AUTOMATIC;
    } else if (d->overbias_drop_db > 0 && chance_hit(chance, d->overbias_share)) {
        flat[0] = bench_overbias_db(d, t, p, d->overbias_drop_db) + chance_normal(chance, 0, 0.15);
        flat[1] = -bench_tone_db(d, t, p, BENCH_LOW, flat[0], 0);
        c->bias_method = METHOD_OVERBIAS;
        c->drop_db = d->overbias_drop_db;
        c->drop_hz = deck_high_hz(&d->record);
    } else {
        return false;
    }
    for (int i = 0; i < 2; i++)
        (void)knob_turn(&knob[i], flat[i] - knob_db(&knob[i]), i ? &c->level_stop : &c->bias_stop);
    return true;
}

void member_calibrate(const struct member *m, const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *place,
                      const double start[2], struct chance *chance, struct calibration *c, struct bench_fact *fact)
{
    struct knob knob[2] = {knob_of(d, BENCH_BIAS, start[0]), knob_of(d, BENCH_LEVEL, start[1])};
    bool three = d->record.heads != 2, level_dial = knob[1].dial->present, ear = !three && chance_hit(chance, m->by_ear);
    double tolerance[2] = {0.3 * m->tight, 0.5 * m->tight}, treble = m->taste_db, stretch[2], sd[2];
    int most = three ? (int)m->patient : (int)fmax(2.0, m->patient / 2.0);
    *fact = (struct bench_fact){ENTRY_RIGHT, {0, 0}, 0};
    bench_wander_db(d, place, sd);
    for (int tone = 0; tone < 2; tone++)
        stretch[tone] = chance_normal(chance, 0, sd[tone] * 0.7); /* what this stretch of tape does for as long as one stays on it */
    if (m->says_taste && fabs(treble) > 0.01)
        c->treble_db = treble;

    struct look seen = {0, 0};
    bool other = other_method(d, t, place, knob, chance, c);
    if (other)
        ear = false;
    if (!ear && !other) {
        for (int look = 0;; look++) {
            /* a hand meets the mark to a sixth of a step */
            double set[2];
            for (int i = 0; i < 2; i++) {
                set[i] = knob_db(&knob[i]);
                if (knob[i].dial->present)
                    set[i] += chance_normal(chance, 0, 0.15 * dial_step(knob[i].dial)) *
                              dial_db_per_unit(knob[i].dial, knob[i].learned, knob[i].reading);
            }
            seen = glance(m, d, t, place, set, stretch, chance);
            fact->looks++;
            if (c->move_count < LIMIT_MOVES)
                c->moves[c->move_count++] = (struct move){knob[0].dial->present ? knob[0].reading : ABSENT,
                                                          level_dial ? knob[1].reading : ABSENT, seen.low, seen.high};
            if (sits(&seen, treble, level_dial, tolerance)) {
                c->bias_stop = c->level_stop = STOP_NONE;
                break;
            }
            if (look + 1 >= most)
                break;
            double bias_by = (seen.high - seen.low - treble) / m->slope_guess;
            bool bias_moved = knob_turn(&knob[0], bias_by, &c->bias_stop);
            bool level_moved = knob_turn(&knob[1], -seen.low, &c->level_stop);
            if (!bias_moved && !level_moved)
                break; /* the dials are as near as they go */
        }
        double miss = level_dial ? fmax(fabs(seen.low) / 0.5, fabs(seen.high - treble)) : fabs(seen.high - seen.low - treble);
        c->settled = miss < 2.0 || c->bias_stop != STOP_NONE || c->level_stop != STOP_NONE || !knob[0].dial->present;
        if (!knob[0].dial->present && !level_dial)
            c->move_count = 0; /* nothing was turned */
    } else if (ear) {
        set_by_ear(m, d, t, place, knob, chance, c);
    } else {
        seen = glance(m, d, t, place, (double[2]){knob_db(&knob[0]), knob_db(&knob[1])}, stretch, chance);
    }
    for (int i = 0; i < 2; i++)
        fact->set_db[i] = knob_db(&knob[i]);
    c->bias = knob[0].dial->present ? knob[0].reading : ABSENT;
    c->level = level_dial ? knob[1].reading : ABSENT;
    bool fixed = !knob[0].dial->present && !level_dial; /* then the readings are all there is to write */
    if (!ear && (fixed || chance_hit(chance, m->reads))) {
        c->low_db = seen.low;
        c->high_db = seen.high;
    }
    if (!chance_hit(chance, m->writes_moves) || isnan(c->low_db))
        c->move_count = 0;
    if (chance_hit(chance, m->slips) && slip(c, d, chance, &fact->misentry))
        c->bias_stop = STOP_NONE;
    else
        fact->misentry = ENTRY_RIGHT;
}
