/* SPDX-License-Identifier: GPL-3.0-or-later
 * Decks and tapes as they physically are: see workbench.h. */
#include "workbench.h"

#include "ground/memory.h"
#include "trade/check.h"

#include <math.h>

static double tone_hz(const struct bench_deck *d, int tone)
{
    return tone == BENCH_LOW ? deck_low_hz(&d->record) : deck_high_hz(&d->record);
}

/* Reels have one preset; the class of the tape is met with the dial. */
static enum tape_class aligned_with(enum tape_class selector)
{
    return selector >= CLASS_REEL_STANDARD ? CLASS_REEL_STANDARD : selector;
}

static double wavelength(const struct bench_deck *d, int setup, int tone)
{
    return tape_wavelength_um(d->setup[setup].speed_mm_s, tone_hz(d, tone));
}

void bench_deck_ready(struct bench_deck *d)
{
    d->setup_count = d->record.setup_count > 0 ? d->record.setup_count : 1;
    for (int s = 0; s < d->setup_count; s++) {
        (void)deck_setup(&d->record, d->record.setup_count > 0 ? d->record.setups[s].id : "main", &d->setup[s]);
        for (int c = 0; c < CLASS_COUNT; c++) {
            bool reel = c >= CLASS_REEL_STANDARD;
            if (reel != (d->record.medium == MEDIUM_REEL) || (enum tape_class)c != aligned_with((enum tape_class)c))
                continue;
            struct coat reference = tape_reference((enum tape_class)c);
            reference.spacing_um *= d->contact;
            d->preset_db[s][c] = tape_preset_db(&reference, d->gap_um, wavelength(d, s, BENCH_LOW), d->preset_slope);
            for (int tone = 0; tone < 2; tone++) /* record equalisation and level set so that the reference tape is flat at its preset */
                d->gain_db[s][c][tone] = -tape_output_db(&reference, d->gap_um, wavelength(d, s, tone), d->preset_db[s][c]);
        }
    }
}

#define TABLE_POINTS 113
#define TABLE_STEP   0.25
#define TABLE_BELOW  13.0 /* dB below the preset at which a table begins */

struct bench_table {
    float output_db[BENCH_SETUPS][CLASS_COUNT][2][TABLE_POINTS];
};

bool bench_deck_tabulate(struct bench_deck *d)
{
    d->table = mem_zero(1, sizeof *d->table);
    for (int s = 0; d->table && s < d->setup_count; s++)
        for (int c = 0; c < CLASS_COUNT; c++) {
            if (aligned_with((enum tape_class)c) != (enum tape_class)c || (c >= CLASS_REEL_STANDARD) != (d->record.medium == MEDIUM_REEL))
                continue;
            struct coat reference = tape_reference((enum tape_class)c);
            reference.spacing_um *= d->contact;
            for (int tone = 0; tone < 2; tone++)
                for (int i = 0; i < TABLE_POINTS; i++)
                    d->table->output_db[s][c][tone][i] = (float)tape_output_db(&reference, d->gap_um, wavelength(d, s, tone),
                                                                               d->preset_db[s][c] - TABLE_BELOW + i * TABLE_STEP);
        }
    return d->table != NULL;
}

void bench_deck_release(struct bench_deck *d)
{
    mem_free(d->table);
    d->table = NULL;
}

static double tabulated_db(const struct bench_deck *d, int setup, enum tape_class c, int tone, const struct coat *coat, double bias_db)
{
    struct coat reference = tape_reference(c);
    double at = (bias_db - coat->need_db + reference.need_db - d->preset_db[setup][c] + TABLE_BELOW) / TABLE_STEP;
    int i = at <= 0 ? 0 : at >= TABLE_POINTS - 2 ? TABLE_POINTS - 2 : (int)at;
    const float *t = d->table->output_db[setup][c][tone];
    double output = (double)t[i] + (at - i) * ((double)t[i + 1] - (double)t[i]);
    return output + coat->sensitivity_db - reference.sensitivity_db -
           54.6 * (coat->spacing_um - reference.spacing_um * d->contact) / wavelength(d, setup, tone);
}

struct bench_tape bench_tape_of(const struct bench_stock *s, uint64_t seed, int stock, int batch, int tape)
{
    struct bench_tape t = {s->coat, s->durability, {s->slope_along[0], s->slope_along[1]}, 0.0};
    double off[3] = {0, 0, 0};
    if (batch >= 0) {
        struct chance c = chance_of(seed, 0x1000000u + (uint64_t)stock, (uint64_t)batch);
        for (int i = 0; i < 3; i++)
            off[i] += chance_normal(&c, 0, s->batch_sd[i]);
    }
    if (tape >= 0) {
        struct chance c = chance_of(seed, 0x2000000u + (uint64_t)stock, (uint64_t)tape);
        for (int i = 0; i < 3; i++)
            off[i] += chance_normal(&c, 0, s->tape_sd[i]);
        t.slope_along[0] += chance_normal(&c, 0, 0.08);
        t.slope_along[1] += chance_normal(&c, 0, 0.08);
        t.weave = chance_between(&c, 0, 6.28);
    }
    t.coat.need_db += off[0];
    t.coat.sensitivity_db += off[1];
    /* 54.6 dB a wavelength of spacing (Wallace 1951), at the cassette's 10 kHz wavelength */
    t.coat.spacing_um = fmax(0.02, t.coat.spacing_um + off[2] * 4.7625 / 54.6);
    return t;
}

double bench_real_db(const struct bench_deck *d, int dial, double nominal_db)
{
    const struct bench_dial *l = &d->dial[dial];
    return nominal_db * (1.0 + l->stretch) + l->wave * (sin(nominal_db * 1.3 + l->turn) - sin(l->turn));
}

/* What time has done to the deck: bias, level, treble. */
static void aged(const struct bench_deck *d, int64_t at_us, double off[3])
{
    int64_t wear_from = d->born_us;
    off[0] = off[1] = off[2] = 0;
    for (int i = 0; i < d->change_count && d->change[i].at_us <= at_us; i++) {
        off[0] += d->change[i].bias_db;
        off[1] += d->change[i].level_db;
        off[2] += d->change[i].treble_db;
        if (d->change[i].restarts_wear)
            wear_from = d->change[i].at_us;
    }
    double years = clock_years_between(d->born_us, at_us), worn = clock_years_between(wear_from, at_us);
    off[0] += d->drift_bias_db_year * years;
    off[2] += d->drift_treble_db_year * years - (worn > 0 ? d->wear_db * pow(worn, 1.5) : 0.0);
}

/* `tone` is the one that `hz` is, −1 when it is another. */
static double played_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, int tone, double hz,
                        double gain_db, double bias_db, double level_db)
{
    enum tape_class c = aligned_with(p->selector);
    struct coat coat = p->recordings > 0 ? tape_worn(t->coat, p->recordings, t->durability) : t->coat;
    double off[3], along = p->part - 0.5;
    aged(d, p->at_us, off);
    if (p->channel != CHANNEL_BOTH)
        for (int i = 0; i < 3; i++)
            off[i] += d->channel_db[p->channel == CHANNEL_LEFT ? 0 : 1][i];
    coat.need_db += t->slope_along[0] * along + 0.05 * sin(9.0 * p->part + t->weave);
    coat.sensitivity_db += t->slope_along[1] * along + 0.05 * cos(7.0 * p->part + t->weave);
    if (p->position_s < 60.0)
        coat.spacing_um += 0.03 * exp(-p->position_s / 12.0); /* the hub's splice still lifts the first turns */
    coat.spacing_um *= d->contact;
    double bias = d->preset_db[p->setup][c] + d->bias_error_db[p->setup][p->selector] + off[0] + bench_real_db(d, BENCH_BIAS, bias_db);
    double level = d->level_error_db[p->setup][p->selector] + off[1] + bench_real_db(d, BENCH_LEVEL, level_db);
    double pitch = hz / deck_high_hz(&d->record); /* errors of the treble equalisers: all at the high tone, a third an octave below */
    double treble = (d->treble_error_db[p->setup][p->selector] + off[2]) * pitch * pitch / (0.2 + 0.8 * pitch);
    double output = d->table && tone >= 0 ? tabulated_db(d, p->setup, c, tone, &coat, bias)
                                          : tape_output_db(&coat, d->gap_um, tape_wavelength_um(d->setup[p->setup].speed_mm_s, hz), bias);
    return output + gain_db + level + treble;
}

double bench_hz_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double hz, double bias_db,
                   double level_db)
{
    enum tape_class c = aligned_with(p->selector);
    struct coat reference = tape_reference(c);
    reference.spacing_um *= d->contact;
    double gain = -tape_output_db(&reference, d->gap_um, tape_wavelength_um(d->setup[p->setup].speed_mm_s, hz), d->preset_db[p->setup][c]);
    return played_db(d, t, p, -1, hz, gain, bias_db, level_db);
}

double bench_tone_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, int tone, double bias_db,
                     double level_db)
{
    if (p->hz[tone] > 0)
        return bench_hz_db(d, t, p, p->hz[tone], bias_db, level_db);
    return played_db(d, t, p, tone, tone_hz(d, tone), d->gain_db[p->setup][aligned_with(p->selector)][tone], bias_db, level_db);
}

double bench_overbias_db(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double drop_db)
{
    double best = -1e9, at = -10.0;
    for (; at < 14.0; at += 0.25) { /* coming up from below, as practice has it */
        double high = bench_tone_db(d, t, p, BENCH_HIGH, at, 0);
        best = fmax(best, high);
        if (high < best - drop_db)
            break;
    }
    return at;
}

void bench_wander_db(const struct bench_deck *d, const struct bench_place *p, double sd[2])
{
    double start = sqrt(1.0 + 3.0 * exp(-p->position_s / 18.0)) * d->unsteadiness;
    double short_wave = wavelength(d, p->setup, BENCH_HIGH);
    sd[BENCH_LOW] = 0.06 * start;
    sd[BENCH_HIGH] = (0.10 + 0.35 / (1.0 + short_wave / 3.0)) * start;
}

void bench_truth(const struct bench_deck *d, const struct bench_tape *t, const struct bench_place *p, double treble_db, double truth[2])
{
    truth[0] = truth[1] = 0.0;
    if (d->record.bias_dial.present) {
        double low = -12.0, high = 12.0; /* treble against the low tone falls with bias */
        for (int i = 0; i < 32; i++) {
            double mid = 0.5 * (low + high);
            double tilt = bench_tone_db(d, t, p, BENCH_HIGH, mid, 0) - bench_tone_db(d, t, p, BENCH_LOW, mid, 0);
            if (tilt > treble_db)
                low = mid;
            else
                high = mid;
        }
        truth[0] = 0.5 * (low + high);
    }
    if (d->record.level_dial.present) {
        double want = -bench_tone_db(d, t, p, BENCH_LOW, truth[0], 0), level = want;
        for (int i = 0; i < 8; i++) /* the dial's law is close to a straight line */
            level += want - bench_real_db(d, BENCH_LEVEL, level);
        truth[1] = level;
    }
}
