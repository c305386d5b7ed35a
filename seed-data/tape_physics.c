/* SPDX-License-Identifier: GPL-3.0-or-later
 * Coatings under a record gap: see tape_physics.h. */
#include "tape_physics.h"

#include <math.h>

#define PI     3.14159265358979323846
#define LAYERS 8
#define FIELDS 5
#define BLUR   0.16 /* relative softness of the frozen depth */
#define ZONE   0.40 /* a grain freezes over a stretch this part of its distance from the gap */

/* Gauss–Hermite for a normal spread of coercivity (Abramowitz and Stegun, table 25.10, n = 5, scaled to unit variance). */
static const double FIELD[FIELDS] = {-2.8569700138728056, -1.3556261799742659, 0.0, 1.3556261799742659, 2.8569700138728056};
static const double FIELD_WEIGHT[FIELDS] = {0.0112574113277207, 0.2220759220056126, 0.5333333333333333, 0.2220759220056126,
                                            0.0112574113277207};

struct coat tape_reference(enum tape_class c)
{
    static const struct coat reference[CLASS_COUNT] = {
        [CLASS_TYPE_1] = {0.0, 0.0, 4.8, 0.16, 0.22},
        [CLASS_TYPE_2] = {3.6, 0.0, 4.4, 0.13, 0.20},
        [CLASS_TYPE_3] = {1.0, 0.0, 5.2, 0.14, 0.24},
        [CLASS_TYPE_4] = {7.0, 0.0, 3.4, 0.12, 0.20},
        [CLASS_REEL_STANDARD] = {0.2, 0.0, 10.5, 0.25, 0.22},
        [CLASS_REEL_HIGH_OUTPUT] = {1.0, 1.4, 12.0, 0.22, 0.21},
        [CLASS_REEL_EXTRA_OUTPUT] = {1.7, 2.6, 13.5, 0.20, 0.20},
    };
    return reference[c];
}

double tape_wavelength_um(double speed_mm_s, double hz)
{
    return speed_mm_s * 1000.0 / hz;
}

double tape_output_db(const struct coat *c, double gap_um, double wavelength_um, double bias_db)
{
    double half = gap_um / 2.0, k = 2.0 * PI / wavelength_um, re = 0.0, im = 0.0;
    for (int q = 0; q < FIELDS; q++) {
        double over = pow(10.0, (bias_db - c->need_db) / 20.0) / (1.0 + FIELD[q] * c->spread);
        double u = over > 1.05 ? over : 1.05;
        double near = half * tan(PI / (2.0 * u)), reach = half * half / near; /* the contour spans −near … reach in depth */
        double blur = BLUR * reach;                                           /* no layer is frozen or not: softened */
        for (int i = 0; i < LAYERS; i++) {
            double t = (i + 0.5) / LAYERS,
                   y = c->spacing_um + c->thickness_um * t * t; /* closer together at the surface, where short waves live */
            double e = exp(fmin((reach - y) / blur, 40.0));
            double x2 = blur * log1p(e) * (y + near), kx = k * sqrt(x2);
            double m = FIELD_WEIGHT[q] * t * e / (1.0 + e) / u * exp(-k * y - 0.5 * ZONE * ZONE * k * k * x2);
            re += m * cos(kx);
            im += m * sin(kx);
        }
    }
    return 10.0 * log10((re * re + im * im) * c->thickness_um * c->thickness_um + 1e-30) + c->sensitivity_db;
}

double tape_preset_db(const struct coat *c, double gap_um, double low_wavelength_um, double slope)
{
    double low = c->need_db + 1.0, high = c->need_db + 40.0;
    for (int i = 0; i < 50; i++) { /* the slope falls with bias */
        double mid = 0.5 * (low + high);
        double here =
            (tape_output_db(c, gap_um, low_wavelength_um, mid + 0.1) - tape_output_db(c, gap_um, low_wavelength_um, mid - 0.1)) / 0.2;
        if (here > slope)
            low = mid;
        else
            high = mid;
    }
    return 0.5 * (low + high);
}

struct coat tape_worn(struct coat c, double recordings, double durability)
{
    double worn = (1.0 - exp(-recordings / 9.0)) / durability;
    c.spacing_um += 0.045 * worn; /* shed grains: treble goes first */
    c.need_db -= 0.18 * worn;
    c.sensitivity_db -= 0.12 * worn;
    return c;
}
