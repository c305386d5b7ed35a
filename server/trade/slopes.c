/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is believed of the slopes before any move was logged. The figures are practice from memory, low confidence, and
 * therefore wide: near the working point a cassette's 315 Hz hardly answers to bias and 10 kHz falls 1 to 2 dB per dB, more
 * at shorter wavelengths, least on metal; open reel at 19 and 38 cm/s works past the peak of its 10 kHz.
 */
#include "slope_parts.h"

#define CENTRE_UM 4.7625 /* 10 kHz at 47.625 mm/s */

struct point {
    double wavelength_um, fall; /* dB the tone falls per dB of bias */
};
static const struct point cassette_points[] = {
    {2.4, 2.3},   {3.175, 2.1},  {3.81, 1.9}, {4.7625, 1.6}, {5.953, 1.35},   {7.56, 1.15},
    {9.525, 1.0}, {19.05, 0.75}, {47.6, 0.3}, {100.0, -0.1}, {151.19, -0.15}, {600.0, -0.15},
};
static const struct point reel_points[] = {
    {4.7625, 1.9}, {9.525, 1.6}, {19.05, 1.4}, {38.1, 1.2}, {76.2, 0.7}, {190.5, 0.1}, {605.0, -0.05}, {1210.0, -0.08},
};

static bool is_reel(struct slope_kind k)
{
    if (k.tape_class == CLASS_NONE) {
        return given(k.speed_mm_s) && k.speed_mm_s > 60.0; /* cassettes run at 47.6 mm/s */
    }
    return k.tape_class >= CLASS_REEL_STANDARD;
}

double slope_wavelength_um(struct slope_kind k, enum tone tone)
{
    double speed = given(k.speed_mm_s) && k.speed_mm_s > 0.0 ? k.speed_mm_s : is_reel(k) ? 190.5 : 47.625;
    double hz = tone == LOW_TONE ? k.low_hz : k.high_hz;
    if (!given(hz) || hz <= 0.0) {
        hz = tone == LOW_TONE ? 315.0 : 10000.0;
    }
    return speed / hz * 1000.0;
}

/* Straight lines over the logarithm of the wavelength, level beyond the ends. */
static double fall_at(const struct point *p, int n, double wavelength_um)
{
    if (wavelength_um <= p[0].wavelength_um) {
        return p[0].fall;
    }
    for (int i = 1; i < n; i++) {
        if (wavelength_um <= p[i].wavelength_um) {
            double part = log(wavelength_um / p[i - 1].wavelength_um) / log(p[i].wavelength_um / p[i - 1].wavelength_um);
            return p[i - 1].fall + part * (p[i].fall - p[i - 1].fall);
        }
    }
    return p[n - 1].fall;
}

void slope_tone_prior(enum tape_class c, double wavelength_um, enum tone tone, double *mean, double *sd)
{
    bool reel = c >= CLASS_REEL_STANDARD && c < CLASS_COUNT;
    double fall = reel ? fall_at(reel_points, (int)(sizeof reel_points / sizeof *reel_points), wavelength_um)
                       : fall_at(cassette_points, (int)(sizeof cassette_points / sizeof *cassette_points), wavelength_um);
    if (c == CLASS_TYPE_4 && fall > 0.0) {
        fall *= 0.85;
    }
    if (tone == LOW_TONE) {
        *mean = -fall;
        *sd = 0.15 + 0.05 * fabs(log2(wavelength_um / (reel ? 605.0 : 151.19)));
        if (*sd < 0.3125 * fabs(fall)) {
            *sd = 0.3125 * fabs(fall);
        }
    } else {
        *mean = fall;
        *sd = fmax(0.5 * fall / 1.6, 0.25) + (reel ? 0.1 : 0.0);
    }
}

int slope_cell(struct slope_kind k, enum tone tone)
{
    /* The offset keeps shorter wavelengths than the centre's inside; ends are clipped, they only share more. */
    double band = floor(3.0 * log2(slope_wavelength_um(k, tone) / CENTRE_UM) + 0.5) + 12.0;
    int i = band < 0.0 ? 0 : band > SLOPE_BANDS - 1 ? SLOPE_BANDS - 1 : (int)band;
    int c = k.tape_class >= 0 && k.tape_class < CLASS_COUNT ? (int)k.tape_class : CLASS_COUNT;
    return c * SLOPE_BANDS + i;
}

void slope_cell_prior(int cell, enum tone tone, double *mean, double *sd)
{
    int c = cell / SLOPE_BANDS, band = cell % SLOPE_BANDS - 12;
    slope_tone_prior(c == CLASS_COUNT ? CLASS_NONE : (enum tape_class)c, CENTRE_UM * exp2(band / 3.0), tone, mean, sd);
}

struct slopes slopes_prior(struct slope_kind k)
{
    enum tape_class c = k.tape_class == CLASS_NONE && is_reel(k) ? CLASS_REEL_STANDARD : k.tape_class;
    struct slopes s = {0};
    slope_tone_prior(c, slope_wavelength_um(k, LOW_TONE), LOW_TONE, &s.a, &s.a_se);
    slope_tone_prior(c, slope_wavelength_um(k, HIGH_TONE), HIGH_TONE, &s.b, &s.b_se);
    /* Between a straight line (0) and a parabola whose peak lies 5 dB below the working point (b/10). */
    s.bend = 0.06 * fmax(s.b, 0.5);
    s.bend_se = 0.05 * fmax(s.b, 0.5);
    return s;
}

double slopes_sum(const struct slopes *s, double *var)
{
    if (var) {
        *var = fmax(s->a_se * s->a_se + s->b_se * s->b_se + 2.0 * s->ab_cov, 0.0);
    }
    return fmax(s->a + s->b, SLOPES_SUM_MIN);
}

void slope_noise_prior(double meter_step_db, double sd[TONES])
{
    double step = given(meter_step_db) ? meter_step_db : 0.5; /* an ordinary bar meter read between its marks */
    sd[LOW_TONE] = sqrt(0.10 * 0.10 + step * step / 12.0);
    sd[HIGH_TONE] = sqrt(0.20 * 0.20 + step * step / 12.0);
}

#define NOISE_PRIOR_DOF 6.0

void slope_noise_sd(const double prior[TONES], const struct slope_noise *n, double sd[TONES])
{
    for (int t = 0; t < TONES; t++) {
        double rss = (double)n->rss[t] * SLOPE_QUANTUM;
        sd[t] = sqrt((NOISE_PRIOR_DOF * prior[t] * prior[t] + rss) / (NOISE_PRIOR_DOF + (double)n->dof[t]));
    }
}
