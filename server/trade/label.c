/* SPDX-License-Identifier: GPL-3.0-or-later
 * See label.h. */
#include "label.h"

#include "classes.h"

#define PI 3.14159265358979323846

double label_need_db(enum tape_class c)
{
    /* Common practice, from memory: Type II 140–160 %, Type III 105–115 %, Type IV 200–250 % of the bias of Type I; reel tape by operating level, rough. */
    static const double need[CLASS_COUNT] = {[CLASS_TYPE_1] = 0,        [CLASS_TYPE_2] = 3.5,           [CLASS_TYPE_3] = 1.0,           [CLASS_TYPE_4] = 7.0,
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

/* Density of scale·t₄ at x: Γ(5/2)/(√(4π)·Γ(2)) = 3/8. */
static double log_t4(double x, double variance)
{
    return log(0.375) - 0.5 * log(variance) - 2.5 * log1p(square(x) / (4 * variance));
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
            log_weight[c] = log(1 - LABEL_WRONG) + log_t4(e->apart[0], e->variance[0] + square(e->spread[0])) +
                            log_t4(e->apart[1], e->variance[1] + square(e->spread[1]));
        else
            log_weight[c] = log(LABEL_WRONG / others) + log_normal(e->apart[0] - away, e->variance[0] + square(e->spread[0]) + square(LABEL_NEED_SD_DB)) +
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

double label_spread(const struct label_group *groups, int count, double usual)
{
    double weight = 0, mean = 0, within = 0, between = 0;
    if (count < 2)
        return usual;
    /* Weights by the usual spread, so that a group of one result does not count like one of ten. */
    for (int i = 0; i < count; i++) {
        double w = 1 / (groups[i].variance + square(usual) + 1e-9);
        weight += w;
        mean += w * groups[i].mean;
    }
    mean /= weight;
    for (int i = 0; i < count; i++) {
        double w = 1 / (groups[i].variance + square(usual) + 1e-9) / weight;
        within += w * groups[i].variance;
        between += w * square(groups[i].mean - mean);
    }
    between = between * count / (count - 1.0) - within;
    return sqrt((LABEL_USUAL_GROUPS * square(usual) + (count - 1.0) * fmax(between, 0)) / (LABEL_USUAL_GROUPS + count - 1.0));
}
