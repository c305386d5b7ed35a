/* SPDX-License-Identifier: GPL-3.0-or-later
 * See label.h. */
#include "label.h"

#include "classes.h"

#include <stdlib.h>

#define PI          3.14159265358979323846
#define LABEL_FAR   3.0 /* sd: a group counts as no further out */
#define LABEL_START 99  /* groups whose median is where the mean starts */

double label_need_db(enum tape_class c)
{
    /* Common practice, from memory: Type II 140–160 %, Type III 105–115 %, Type IV 200–250 % of the bias of Type I; reel tape by operating level, rough. */
    static const double need[CLASS_COUNT] = {
        [CLASS_TYPE_1] = 0,        [CLASS_TYPE_2] = 3.5,           [CLASS_TYPE_3] = 1.0,           [CLASS_TYPE_4] = 7.0,
        [CLASS_REEL_STANDARD] = 0, [CLASS_REEL_HIGH_OUTPUT] = 1.0, [CLASS_REEL_EXTRA_OUTPUT] = 2.0};
    return c >= 0 && c < CLASS_COUNT ? need[c] : ABSENT;
}

static double square(double x)
{
    return x * x;
}

static double log_normal(double x, double variance)
{
    return -0.5 * (square(x) / variance + log(2 * PI * variance));
}

/* Density of scale·t with eight degrees of freedom at x: Γ(9/2)/(√(8π)·Γ(4)) = 0.386699. */
static double log_t8(double x, double variance)
{
    return log(0.386699) - 0.5 * log(variance) - 4.5 * log1p(square(x) / (8 * variance));
}

void label_weigh(enum tape_class label, const struct label_evidence *e, struct label_odds *out)
{
    const enum medium medium = class_info(label)->medium;
    double log_weight[CLASS_COUNT], most = -INFINITY, sum = 0;
    int others = 0;
    *out = (struct label_odds){.otherwise = CLASS_NONE};
    for (int c = 0; c < CLASS_COUNT; c++)
        others += c != (int)label && class_info((enum tape_class)c)->medium == medium;
    for (int c = 0; c < CLASS_COUNT; c++) {
        if (class_info((enum tape_class)c)->medium != medium)
            continue;
        double away = label_need_db((enum tape_class)c) - label_need_db(label);
        if (c == (int)label)
            log_weight[c] = log(1 - LABEL_WRONG) + log_t8(e->apart[0], e->variance[0] + square(e->spread[0])) +
                            log_t8(e->apart[1], e->variance[1] + square(e->spread[1]));
        else
            log_weight[c] = log(LABEL_WRONG / others) +
                            log_normal(e->apart[0] - away, e->variance[0] + square(e->spread[0]) + square(LABEL_NEED_SD_DB)) +
                            log_normal(e->apart[1], e->variance[1] + square(e->spread[1]) + square(LABEL_LEVEL_SD_DB));
        most = fmax(most, log_weight[c]);
    }
    for (int c = 0; c < CLASS_COUNT; c++)
        if (class_info((enum tape_class)c)->medium == medium)
            sum += out->as[c] = exp(log_weight[c] - most);
    for (int c = 0; c < CLASS_COUNT; c++) {
        out->as[c] /= sum;
        if (c != (int)label && out->as[c] > 0 && (out->otherwise == CLASS_NONE || out->as[c] > out->as[out->otherwise]))
            out->otherwise = (enum tape_class)c;
    }
    out->right = out->as[label];
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The mean with three quarters of the weight in the middle: groups far out are drawn in, twice over, from a start that they do not move. */
static double middle(const struct label_group *groups, int count, double usual)
{
    double mean = 0, few[LABEL_START];
    int n = count < LABEL_START ? count : LABEL_START;
    for (int i = 0; i < n; i++)
        few[i] = groups[(long)i * count / n].mean;
    /* cppcheck-suppress uninitvar ; there are two groups or more */
    qsort(few, (size_t)n, sizeof *few, rising);
    mean = 0.5 * (few[(n - 1) / 2] + few[n / 2]);
    for (int round = 0; round < 10; round++) {
        double weight = 0, sum = 0;
        for (int i = 0; i < count; i++) {
            double w = 1 / (groups[i].variance + square(usual) + 1e-9), most = LABEL_FAR * sqrt(1 / w), off = groups[i].mean - mean;
            weight += w;
            sum += w * fmin(fmax(off, -most), most);
        }
        mean += sum / weight;
    }
    return mean;
}

/* Groups far out are cut by what was found so far: where all differ more than is usual, that shows; one that is odd alone stays cut. */
double label_spread(const struct label_group *groups, int count, double usual)
{
    double spread = usual;
    if (count < 2)
        return usual;
    for (int round = 0; round < 4; round++) {
        double weight = 0, within = 0, between = 0, scale = fmax(spread, usual), mean = middle(groups, count, scale);
        for (int i = 0; i < count; i++) { /* a group of one result does not count like one of ten */
            double w = 1 / (groups[i].variance + square(scale) + 1e-9), most = LABEL_FAR * sqrt(1 / w), off = groups[i].mean - mean;
            weight += w;
            within += w * groups[i].variance;
            between += w * square(fmin(fmax(off, -most), most));
        }
        between = between / weight * count / (count - 1.0) - within / weight;
        spread = sqrt((LABEL_USUAL_GROUPS * square(usual) + (count - 1.0) * fmax(between, 0)) / (LABEL_USUAL_GROUPS + count - 1.0));
    }
    return spread;
}
