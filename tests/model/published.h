/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Tables of numbers whose restricted maximum likelihood results are in print.
 *
 * Data: O. L. Davies & P. L. Goldsmith (eds), Statistical Methods in Research and Production, 4th ed., 1972 (dyestuff, penicillin, pastes);
 * G. E. P. Box & G. C. Tiao, Bayesian Inference in Statistical Analysis, 1973 (the second dyestuff, simulated). Typed, and compared
 * once with the copies in the R package lme4.
 * Results: D. Bates, lme4: Mixed-effects Modeling with R (2010); D. Bates, M. Mächler, B. Bolker & S. Walker, J. Stat. Softw. 67(1), 2015. To the digits
 * in print (four decimals at most), and to more as that package (version 1.1-31) prints them.
 */
#ifndef TESTS_MODEL_PUBLISHED_H
#define TESTS_MODEL_PUBLISHED_H

#define PUBLISHED_GROUPS 2

struct published {
    const char *name;
    int rows, groups;
    const double *y;
    int levels[PUBLISHED_GROUPS];
    int (*level)(int group, int row);
    double variance[PUBLISHED_GROUPS], residual;                 /* in print */
    double closer[PUBLISHED_GROUPS], closer_residual, criterion; /* to more digits */
    double mean, mean_se;
};

static const double dyestuff_yields[] = {1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560,
                                         1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445};
static const double dyestuff_yields_simulated[] = {7.298, 3.846,  2.434,  9.566, 7.990, 5.220, 6.556, 0.608, 11.788, -0.892,
                                                   0.110, 10.386, 13.434, 5.510, 8.166, 2.212, 4.852, 7.092, 9.288,  4.980,
                                                   0.282, 9.014,  4.458,  9.446, 7.198, 1.722, 4.782, 8.106, 0.758,  3.758};
static const double penicillin_diameters[] = {
    27, 23, 26, 23, 23, 21, 27, 23, 26, 23, 23, 21, 25, 21, 25, 24, 24, 20, 26, 23, 25, 23, 23, 20, 25, 22, 26, 22, 23,
    20, 24, 22, 25, 23, 22, 19, 24, 20, 23, 21, 22, 19, 26, 22, 26, 24, 24, 21, 24, 21, 24, 22, 22, 20, 24, 21, 24, 23,
    22, 19, 26, 23, 26, 24, 24, 21, 25, 22, 26, 24, 24, 20, 26, 24, 26, 24, 25, 22, 26, 23, 26, 23, 23, 20, 26, 23, 25,
    24, 24, 22, 25, 22, 25, 23, 23, 20, 25, 21, 24, 23, 23, 20, 25, 22, 24, 23, 23, 19, 24, 21, 23, 21, 21, 19, 26, 23,
    26, 24, 24, 21, 25, 21, 24, 22, 22, 18, 25, 22, 25, 22, 22, 20, 24, 21, 24, 22, 24, 19, 24, 21, 24, 22, 21, 18};
static const double paste_strengths[] = {62.8, 62.6, 60.1, 62.3, 62.7, 63.1, 60.0, 61.4, 57.5, 56.9, 61.1, 58.9, 58.7, 57.5, 63.9,
                                         63.1, 65.4, 63.7, 57.1, 56.4, 56.9, 58.6, 64.7, 64.5, 55.1, 55.1, 54.7, 54.2, 58.8, 57.5,
                                         63.4, 64.9, 59.3, 58.1, 60.5, 60.0, 62.5, 62.6, 61.0, 58.7, 56.9, 57.7, 59.2, 59.4, 65.2,
                                         66.0, 64.8, 64.1, 54.8, 54.8, 64.0, 64.0, 57.7, 56.8, 58.3, 59.3, 59.2, 59.2, 58.9, 56.6};

static int batch_of_five(int group, int row)
{
    (void)group;
    return row / 5;
}
static int plate_or_sample(int group, int row)
{
    return group ? row % 6 : row / 6;
}
static int cask_or_batch(int group, int row)
{
    return group ? row / 6 : row / 2;
}

static const struct published published[] = {
    {"dyestuff", 30, 1, dyestuff_yields, {6}, batch_of_five, {1764.05}, 2451.25, {1764.05}, 2451.25, 319.6542768, 1527.5, 19.38341218},
    {"penicillin",
     144,
     2,
     penicillin_diameters,
     {24, 6},
     plate_or_sample,
     {0.7169, 3.7311},
     0.3024,
     {0.7169051409, 3.7311318427},
     0.3024149563,
     330.8605890,
     22.97222222,
     0.8085953614},
    {"pastes",
     60,
     2,
     paste_strengths,
     {30, 10},
     cask_or_batch,
     {8.434, 1.657},
     0.678,
     {8.4336679284, 1.6573079610},
     0.6779999483,
     246.9907459,
     60.05333333,
     0.6768700463},
    {"simulated dyestuff",
     30,
     1,
     dyestuff_yields_simulated,
     {6},
     batch_of_five,
     {0},
     13.81,
     {0},
     13.80630963,
     161.8282778,
     5.6656,
     0.6783880312},
};
#define PUBLISHED ((int)(sizeof published / sizeof *published))

#endif
