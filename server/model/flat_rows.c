/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From dial readings to responses; once a calibration and fit.
 */
#include "flat_rows.h"

#include "../trade/check.h"
#include "../trade/flat.h"

#include <string.h>

void flat_memo_init(struct flat_memo *m)
{
    *m = (struct flat_memo){.deck = -1};
}

static bool same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

static void slopes_of(const struct facts *x, const struct fact_row *row, const struct equation_options *o, struct flat_memo *m)
{
    const struct deck *d = &x->decks[row->deck]->deck;
    int tape_class = x->stocks[row->stock]->tape_class;
    struct setup setup;
    double speed = deck_setup(d, words_text(&x->words, row->setup), &setup) ? setup.speed_mm_s : ABSENT;
    double low = given(row->low_hz) ? row->low_hz : deck_low_hz(d), high = given(row->high_hz) ? row->high_hz : deck_high_hz(d);
    if (m->deck == row->deck && m->tape_class == tape_class && same(m->speed, speed) && same(m->low_hz, low) && same(m->high_hz, high))
        return;
    struct slope_kind kind = {.tape_class = (enum tape_class)tape_class, .speed_mm_s = speed, .low_hz = low, .high_hz = high};
    slope_table_ask(o->slopes, d, kind, x->decks[row->deck]->shared, &m->at);
    m->deck = row->deck;
    m->tape_class = tape_class;
    m->speed = speed;
    m->low_hz = low;
    m->high_hz = high;
}

/* Which way the dial ran out, in dB: +1 = the tape wants more than the dial gives. */
static signed char stop_sign(const struct dial *dial, double reading, int stop)
{
    if (stop == STOP_NONE || !dial->present || !given(reading))
        return 0;
    double slope = dial_db_per_unit(dial, 1, reading);
    bool up = slope >= 0;
    return (signed char)(((stop == STOP_HIGH) == up) ? 1 : -1);
}

/* A calibration without readings says what its dials say; where there is no dial, nothing. */
static void without_readings(const struct fact_row *row, const struct deck *d, struct row_response *out)
{
    const struct dial *dials[RESPONSES] = {&d->bias_dial, &d->level_dial};
    const int stops[RESPONSES] = {row->bias_stop, row->level_stop};
    for (int r = 0; r < RESPONSES; r++) {
        bool set = dials[r]->present && given(row->reading[r]);
        out->kind[r] = set ? KIND_BLIND : KIND_NONE;
        out->stop[r] = set ? stop_sign(dials[r], row->reading[r], stops[r]) : 0;
    }
    if (out->stop[BIAS])
        out->s2[LEVEL] += STOP_LEVEL_SD * STOP_LEVEL_SD;
    if (out->kind[BIAS] == KIND_NONE)
        out->s2[LEVEL] += OPEN_LEVEL_SD * OPEN_LEVEL_SD;
}

double flat_noise(const struct slopes_at *at, double meter_step_db, enum response r)
{
    double sum = slopes_sum(&at->seen, NULL), part = at->seen.a / sum;
    double meter = given(meter_step_db) ? meter_step_db * meter_step_db / 12 : 0;
    double low = fmax(at->reading_sd[0] * at->reading_sd[0] - meter, 0), high = fmax(at->reading_sd[1] * at->reading_sd[1] - meter, 0);
    return r == BIAS ? (low + high) / (sum * sum) : (1 - part) * (1 - part) * low + part * part * high;
}

/* What stood on the dials and meters at one moment of a calibration. */
static struct flat_row flat_at(const struct fact_row *row, const struct fact_move *m, enum bias_method method, const struct deck *d,
                               const struct slopes_at *at)
{
    struct calibration c;
    memset(&c, 0, offsetof(struct calibration, moves));
    c.bias = m->reading[BIAS];
    c.level = m->reading[LEVEL];
    c.low_db = m->low_db;
    c.high_db = m->high_db;
    c.treble_db = row->treble_db;
    c.bias_method = method;
    return flat_row_of(&c, d, at);
}

/* What was written down last among the moves, and what was written down as left, are of one tape a minute apart: where the two lead to different flat settings,
 * one of them is a slip, and nobody knows which. */
static bool against_moves(const struct flat_result *left, const struct flat_result *moved, struct row_response *out)
{
    bool against = false;
    for (int r = 0; r < RESPONSES; r++) {
        double beyond = fabs(left->value[r] - moved->value[r]) - MOVES_AGREE;
        if (beyond > 0)
            out->s2[r] += beyond * beyond;
        against |= beyond > 0;
    }
    return against;
}

/* Moves are readings of the same tape: each leads to the flat setting as well, with an error of reading of its own, and one of the slopes that grows with how far
 * it stood from the setting as left. `own` is the variance of one reading's error in it. */
static void with_moves(const struct fact_row *row, const struct deck *d, const struct slopes_at *at, const struct flat_row *left,
                       const struct flat_result *result, const double own[RESPONSES], struct row_response *out)
{
    double now[RESPONSES] = {own[BIAS], own[LEVEL]};
    for (int k = 0; k < FACT_MOVES && given(row->moved[k].low_db); k++) {
        struct flat_row move = flat_at(row, &row->moved[k], METHOD_FLAT, d, at), apart = {.slopes = at->seen};
        struct flat_result moved, between;
        flat_equivalent(&move, &moved);
        if (k == 0 && against_moves(result, &moved, out))
            return;
        apart.low_db = move.low_db - left->low_db;
        apart.high_db = move.high_db - left->high_db;
        if (fabs(move.setting[BIAS] - left->setting[BIAS]) + fabs(move.setting[LEVEL] - left->setting[LEVEL]) < 1e-9)
            continue; /* the setting as left, written twice */
        flat_equivalent(&apart, &between);
        for (int r = 0; r < RESPONSES; r++) {
            double off = moved.value[r] - result->value[r];
            if (!(fabs(off) < 2 * MOVES_AGREE))
                continue;
            double share = now[r] / (now[r] + own[r] + between.variance[r] + 1e-12);
            out->y[r] += share * (moved.value[r] - (out->y[r] - out->fixed[r]));
            out->s2[r] -= share * now[r];
            now[r] -= share * now[r];
        }
    }
}

void row_respond(const struct facts *x, const struct fact_row *row, const struct equation_options *o, struct flat_memo *memo,
                 struct row_response *out)
{
    const struct fact_deck *d = x->decks[row->deck];
    const struct fact_stock *s = x->stocks[row->stock];
    slopes_of(x, row, o, memo);
    struct fact_move left = {{row->reading[BIAS], row->reading[LEVEL]}, row->low_db, row->high_db};
    struct flat_row flat = flat_at(row, &left, (enum bias_method)row->method, &d->deck, &memo->at);
    struct flat_result result;
    flat_equivalent(&flat, &result);
    double shift[RESPONSES];
    facts_shift(d, row->made_at_us, shift);
    memset(out, 0, sizeof *out);
    out->v = given(row->position_s) ? 1 + START_EXTRA * exp(-row->position_s / START_SECONDS) : 1;
    for (int r = 0; r < RESPONSES; r++) {
        out->fixed[r] = -shift[r] - (given(s->sheet[r]) ? SHEET_MEAN * s->sheet[r] : 0);
        out->y[r] = result.value[r] + out->fixed[r];
        out->s2[r] = result.variance[r];
        out->correction[r] = result.correction[r];
        out->kind[r] = KIND_READ;
    }
    for (int r = 0; r < RESPONSES && row->method == METHOD_BY_EAR; r++)
        out->s2[r] += BY_EAR_SD * BY_EAR_SD;
    if (result.read) {
        double own[RESPONSES];
        for (int r = 0; r < RESPONSES; r++) {
            double noise = flat_noise(&memo->at, d->deck.meter_step_db, (enum response)r);
            own[r] = noise + result.meter[r];
            out->s2[r] += noise;
        }
        with_moves(row, &d->deck, &memo->at, &flat, &result, own, out);
    }
    for (int r = 0; r < RESPONSES && row->tape == WORD_NONE; r++)
        out->s2[r] += UNNAMED_SD * UNNAMED_SD;
    if (!result.read)
        without_readings(row, &d->deck, out);
    for (int r = 0; r < RESPONSES; r++)
        if (!isfinite(out->y[r]) || !isfinite(out->s2[r])) {
            out->y[r] = out->s2[r] = 0; /* a reading outside the dial's own scale */
            out->kind[r] = KIND_NONE;
            out->stop[r] = 0;
        }
}
