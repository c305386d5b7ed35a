/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * From a table to a fit: columns centred and scaled for the numbers' sake, moment starts, REML or the mode, estimates turned back.
 */
#include "fit.h"

#include "../ground/clock.h"
#include "../ground/memory.h"
#include "reml.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define MOST_EVALUATIONS 80
#define SAME_COLUMN      1e-10 /* relative pivot below which a covariate is made up of others */
#define PREDICT_TOGETHER 32

struct fit {
    struct design design;
    struct normal *normal;
    struct estimate e;
    double *y, *v, *known_sd, *weight;
    unsigned char *kind;
    int rows, groups, fixed, first_fixed; /* fixed with the intercept */
    bool intercept, flat, inverted;
    int group_first[FIT_GROUPS], group_size[FIT_GROUPS];
    double *centre, *unit;   /* of each fixed column; the intercept's are 0 and 1 */
    double y_centre, y_unit; /* y is fitted as (y − centre)/unit */
    double *estimate, *se;
    double seconds;
};

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while fitting");
}

void fit_free(struct fit *k)
{
    if (!k)
        return;
    estimate_free(&k->e);
    normal_free(k->normal);
    design_free(&k->design);
    void *all[] = {k->y, k->v, k->known_sd, k->weight, k->kind, k->centre, k->unit, k->estimate, k->se};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        mem_free(all[i]);
    mem_free(k);
}

/* ---- columns ---- */

static double weight_of(const struct fit_table *t, int i)
{
    return t->w ? t->w[i] : 1;
}

static double weighted_mean(const struct fit_table *t, const double *x)
{
    double sum = 0, weights = 0;
    for (int i = 0; i < t->rows; i++) {
        sum += weight_of(t, i) * x[i];
        weights += weight_of(t, i);
    }
    return sum / weights;
}

static double spread(const struct fit_table *t, const double *x, double centre)
{
    double sum = 0, weights = 0;
    for (int i = 0; i < t->rows; i++) {
        sum += weight_of(t, i) * (x[i] - centre) * (x[i] - centre);
        weights += weight_of(t, i);
    }
    return sqrt(sum / weights);
}

/* Centring by a column of ones and scaling change nothing but the numbers' size. */
static bool scale_columns(struct fit *k, const struct fit_table *t, const struct fit_names *names, struct fault *f)
{
    k->y_centre = k->intercept ? weighted_mean(t, t->y) : 0;
    k->y_unit = spread(t, t->y, k->y_centre);
    double largest = 0;
    for (int i = 0; i < t->rows; i++)
        largest = fmax(largest, fabs(t->y[i]));
    if (!(k->y_unit > 1e-13 * largest))
        return fault_add(f, FAULT_UNACCEPTABLE, "response", "does-not-vary",
                         "the response is the same in every row; there is nothing to fit");
    for (int c = 0; c < t->fixed_count; c++) {
        int j = c + k->intercept;
        k->centre[j] = k->intercept ? weighted_mean(t, t->fixed[c]) : 0;
        k->unit[j] = spread(t, t->fixed[c], k->centre[j]);
        double most = 0;
        for (int i = 0; i < t->rows; i++)
            most = fmax(most, fabs(t->fixed[c][i]));
        if (!(k->unit[j] > 1e-13 * most))
            return fault_add(f, FAULT_UNACCEPTABLE, names->fixed[c], "does-not-vary",
                             "column %s is the same in every row; leave it out, or leave out the intercept", names->fixed[c]);
    }
    return true;
}

static double fixed_value(const struct fit *k, const struct fit_table *t, int j, int i)
{
    return k->intercept && j == 0 ? 1 : (t->fixed[j - k->intercept][i] - k->centre[j]) / k->unit[j];
}

/* Pivoted Cholesky of XᵀWX: a pivot that is nearly 0 belongs to a covariate made up of others. */
static bool check_rank(const struct fit *k, const struct fit_table *t, const struct fit_names *names, struct fault *f)
{
    int p = k->fixed, rank = p;
    double *a = mem_zero((size_t)p * (size_t)p + 1, sizeof *a), *work = mem_zero((size_t)p * 2 + 1, sizeof *work);
    lapack_int *pivot = mem_zero((size_t)p + 1, sizeof *pivot);
    bool ok = a && work && pivot;
    for (int i = 0; ok && i < t->rows; i++)
        for (int j = 0; j < p; j++)
            for (int l = j; l < p; l++)
                a[(size_t)j * (size_t)p + (size_t)l] += weight_of(t, i) * fixed_value(k, t, j, i) * fixed_value(k, t, l, i);
    if (ok && p)
        LAPACKE_dpstrf_work(LAPACK_COL_MAJOR, 'L', p, a, p, pivot, &rank, SAME_COLUMN * a[0] * 10, work);
    if (!ok)
        out_of_memory(f);
    else if (rank < p) {
        int j = pivot[rank] - 1 - k->intercept;
        fault_add(f, FAULT_UNACCEPTABLE, j < 0 ? "" : names->fixed[j], "made-up-of-others",
                  "column %s is made up of the other covariates; leave it out", j < 0 ? "(intercept)" : names->fixed[j]);
    }
    mem_free(a);
    mem_free(work);
    mem_free(pivot);
    return ok && rank == p;
}

/* ---- groups ---- */

static bool check_table(const struct fit_table *t, const struct fit_names *names, bool flat, struct fault *f)
{
    int p = t->fixed_count + t->intercept;
    if (t->rows <= p)
        return fault_add(f, FAULT_UNACCEPTABLE, "", "too-few-rows", "the table has %d rows; %d fixed effects need more", t->rows, p);
    for (int g = 0; g < t->group_count; g++) {
        if (t->levels[g] < 2)
            return fault_add(f, FAULT_UNACCEPTABLE, names->group[g], "one-level",
                             "column %s has only one level; a variance between levels needs two or more", names->group[g]);
        if (flat && t->levels[g] >= t->rows)
            return fault_add(f, FAULT_UNACCEPTABLE, names->group[g], "level-a-row",
                             "column %s has a level of its own in every row; it cannot be told from the residual", names->group[g]);
    }
    return true;
}

static bool build_design(struct fit *k, const struct fit_table *t)
{
    int columns = 0;
    for (int g = 0; g < t->group_count; g++) {
        k->group_first[g] = columns;
        k->group_size[g] = t->levels[g];
        columns += t->levels[g];
    }
    k->first_fixed = columns;
    design_init(&k->design, columns + k->fixed);
    for (int i = 0; i < t->rows; i++) {
        for (int g = 0; g < t->group_count; g++)
            design_add(&k->design, k->group_first[g] + t->level[g][i], 1);
        for (int j = 0; j < k->fixed; j++)
            design_add(&k->design, columns + j, fixed_value(k, t, j, i));
        design_end_row(&k->design);
        k->y[i] = (t->y[i] - k->y_centre) / k->y_unit;
        k->v[i] = 1 / weight_of(t, i);
        k->weight[i] = weight_of(t, i);
    }
    return design_close(&k->design);
}

/* One-way analysis of variance of each factor alone gives a start that is mostly right to a factor of two. */
static void moment_start(const struct fit *k, const struct fit_table *t, int g, double *sums, double *weights, double *sd, double *within)
{
    double total = 0, square = 0, mean = 0, between = 0, all = 0;
    memset(sums, 0, (size_t)t->levels[g] * sizeof *sums);
    memset(weights, 0, (size_t)t->levels[g] * sizeof *weights);
    for (int i = 0; i < t->rows; i++) {
        sums[t->level[g][i]] += k->weight[i] * k->y[i];
        weights[t->level[g][i]] += k->weight[i];
        total += k->weight[i];
        mean += k->weight[i] * k->y[i];
        all += k->weight[i] * k->y[i] * k->y[i];
    }
    mean /= total;
    for (int l = 0; l < t->levels[g]; l++)
        if (weights[l] > 0) {
            double off = sums[l] / weights[l] - mean;
            between += weights[l] * off * off;
            square += weights[l] * weights[l];
        }
    all -= total * mean * mean;
    *within = (all - between) / fmax(t->rows - t->levels[g], 1);
    double variance = (between - (t->levels[g] - 1) * *within) / fmax(total - square / total, 1e-300);
    *sd = sqrt(fmax(variance, 0.02 * *within));
}

static bool start(const struct fit *k, const struct fit_table *t, struct estimate_input *in)
{
    int most = 1;
    for (int g = 0; g < t->group_count; g++)
        most = t->levels[g] > most ? t->levels[g] : most;
    double *sums = mem_zero((size_t)most, sizeof *sums), *weights = mem_zero((size_t)most, sizeof *weights), least = 1, within,
           explained = 0;
    bool ok = sums && weights;
    for (int g = 0; ok && g < t->group_count; g++) {
        moment_start(k, t, g, sums, weights, &in->start[g], &within);
        least = fmin(least, within);
        explained += in->start[g] * in->start[g];
    }
    double mean_v = 0;
    for (int i = 0; i < t->rows; i++)
        mean_v += k->v[i] / t->rows;
    in->sigma_start = sqrt(fmax(fmin(least, 1 / mean_v - explained / mean_v), 0.05 * least));
    mem_free(sums);
    mem_free(weights);
    return ok;
}

static bool set_up(struct fit *k, const struct fit_table *t, struct fault *f)
{
    unsigned char *absorb = mem_zero((size_t)k->design.columns + 1, 1);
    k->known_sd = mem_zero((size_t)k->design.columns + 1, sizeof *k->known_sd);
    if (!absorb || !k->known_sd) {
        mem_free(absorb);
        return out_of_memory(f);
    }
    int largest = -1;
    for (int g = 0; g < t->group_count; g++)
        if (largest < 0 || t->levels[g] > t->levels[largest])
            largest = g;
    if (largest >= 0)
        memset(absorb + k->group_first[largest], 1, (size_t)t->levels[largest]);
    k->normal = normal_new(&k->design, absorb, f);
    mem_free(absorb);
    if (!k->normal)
        return false;
    struct estimate_input in = {.design = &k->design,
                                .normal = k->normal,
                                .blocks = t->group_count,
                                .known_sd = k->known_sd,
                                .y = k->y,
                                .v = k->v,
                                .kind = k->kind,
                                .kinds = 1};
    for (int g = 0; g < t->group_count; g++) {
        in.first[g] = k->group_first[g];
        in.size[g] = k->group_size[g];
        in.prior[g] = k->flat ? 0 : 1; /* the response has sd 1 here */
    }
    in.sigma_prior = k->flat ? 0 : 1;
    if (!k->flat)
        in.robust = robust_usual();
    if (!start(k, t, &in) || !estimate_init(&k->e, &in))
        return out_of_memory(f);
    return true;
}

/* ---- answers ---- */

/* Fixed effects back in the table's units; their covariance from solves with unit vectors. */
static bool turn_back(struct fit *k, struct fault *f)
{
    size_t columns = (size_t)k->design.columns;
    double *x = mem_zero(columns + 1, sizeof *x);
    if (!x)
        return out_of_memory(f);
    const struct estimate *e = &k->e;
    double *beta = k->estimate;
    for (int j = 0; j < k->fixed; j++) {
        /* row of the map from fitted to table units: the intercept gathers −centre/unit of the others */
        memset(x, 0, columns * sizeof *x);
        beta[j] = 0;
        for (int l = 0; l < k->fixed; l++) {
            double m = l == j ? 1 / k->unit[l] : k->intercept && j == 0 ? -k->centre[l] / k->unit[l] : 0;
            size_t at = (size_t)(k->first_fixed + l);
            beta[j] += m * e->effect[at];
            x[at] = m * e->scale[at];
        }
        double *copy = mem_zero(columns + 1, sizeof *copy), sum = 0;
        if (!copy) {
            mem_free(x);
            return out_of_memory(f);
        }
        memcpy(copy, x, columns * sizeof *x);
        bool ok = normal_solve(k->normal, copy, 1);
        for (size_t c = (size_t)k->first_fixed; c < columns; c++)
            sum += copy[c] * x[c];
        mem_free(copy);
        if (!ok) {
            mem_free(x);
            return out_of_memory(f);
        }
        k->se[j] = sqrt(fmax(sum, 0)) * k->y_unit;
        beta[j] = beta[j] * k->y_unit + (k->intercept && j == 0 ? k->y_centre : 0);
    }
    mem_free(x);
    return true;
}

static bool run(struct fit *k, struct fault *f)
{
    bool ok = k->flat ? reml_run(&k->e, MOST_EVALUATIONS, f) : estimate_run(&k->e, MOST_EVALUATIONS, NULL, f);
    return ok && turn_back(k, f);
}

struct fit *fit_new(const struct fit_table *t, const struct fit_names *names, bool flat, struct fault *f)
{
    int64_t begun = clock_monotonic_us();
    if (!check_table(t, names, flat, f))
        return NULL;
    struct fit *k = mem_zero(1, sizeof *k);
    if (!k) {
        out_of_memory(f);
        return NULL;
    }
    k->rows = t->rows;
    k->groups = t->group_count;
    k->intercept = t->intercept;
    k->fixed = t->fixed_count + t->intercept;
    k->flat = flat;
    size_t n = (size_t)t->rows + 1, p = (size_t)k->fixed + 1;
    k->y = mem_zero(n, sizeof *k->y);
    k->v = mem_zero(n, sizeof *k->v);
    k->weight = mem_zero(n, sizeof *k->weight);
    k->kind = mem_zero(n, 1);
    k->centre = mem_zero(p, sizeof *k->centre);
    k->unit = mem_zero(p, sizeof *k->unit);
    k->estimate = mem_zero(p, sizeof *k->estimate);
    k->se = mem_zero(p, sizeof *k->se);
    bool ok = k->y && k->v && k->weight && k->kind && k->centre && k->unit && k->estimate && k->se;
    if (!ok)
        out_of_memory(f);
    else {
        k->unit[0] = 1;
        ok = scale_columns(k, t, names, f) && check_rank(k, t, names, f);
    }
    if (ok && !build_design(k, t))
        ok = out_of_memory(f);
    ok = ok && set_up(k, t, f) && run(k, f);
    if (!ok) {
        fit_free(k);
        return NULL;
    }
    k->seconds = (double)(clock_monotonic_us() - begun) * 1e-6;
    return k;
}

/* log|RᵀR| and the response were in other units: y/unit shifts n − p logarithms, columns x/unit one each. */
static double criterion(const struct fit *k)
{
    double free_rows = k->rows - k->fixed, sum = k->e.objective + free_rows * log(2 * M_PI) + 2 * free_rows * log(k->y_unit);
    for (int j = 0; j < k->fixed; j++)
        sum += 2 * log(k->unit[j]);
    return sum;
}

void fit_result(const struct fit *k, struct fit_result *out)
{
    *out = (struct fit_result){.n = k->rows,
                               .fixed_count = k->fixed,
                               .criterion = criterion(k),
                               .sigma = exp(k->e.log_sigma[0]) * k->y_unit,
                               .estimate = k->estimate,
                               .se = k->se,
                               .evaluations = k->e.evaluations,
                               .seconds = k->seconds,
                               .reason = estimate_reason_text(k->e.reason)};
    for (int g = 0; g < k->groups; g++) {
        out->sd[g] = exp(k->e.log_sd[g]) * k->y_unit;
        out->boundary |= out->sd[g] == 0;
    }
}

/* ---- predictions ---- */

/* Entries of one row to predict; returns how many, *unseen gets the variance of levels not in the fit. */
static int entries_of(const struct fit *k, const struct fit_table *t, int i, int *column, double *value, double *unseen)
{
    int n = 0;
    *unseen = 0;
    for (int g = 0; g < k->groups; g++) {
        double sd = exp(k->e.log_sd[g]);
        if (t->level[g][i] < 0) {
            *unseen += sd * sd;
            continue;
        }
        column[n] = k->group_first[g] + t->level[g][i];
        value[n++] = 1;
    }
    for (int j = 0; j < k->fixed; j++) {
        column[n] = k->first_fixed + j;
        value[n++] = fixed_value(k, t, j, i);
    }
    return n;
}

/* With a sparse factor: one solve a row, many at a time. */
static bool predict_by_solves(struct fit *k, const struct fit_table *t, double *variance, struct fault *f)
{
    size_t columns = (size_t)k->design.columns, most = (size_t)(k->groups + k->fixed) + 1;
    double *x = mem_zero(columns + 1, PREDICT_TOGETHER * sizeof *x), *value = mem_zero(most, sizeof *value), unseen;
    int *column = mem_zero(most, sizeof *column);
    bool ok = x && value && column;
    for (int first = 0; ok && first < t->rows; first += PREDICT_TOGETHER) {
        int some = t->rows - first < PREDICT_TOGETHER ? t->rows - first : PREDICT_TOGETHER;
        memset(x, 0, columns * (size_t)some * sizeof *x);
        for (int r = 0; r < some; r++) {
            int n = entries_of(k, t, first + r, column, value, &unseen);
            for (int e = 0; e < n; e++)
                x[(size_t)r * columns + (size_t)column[e]] = value[e] * k->e.scale[column[e]];
        }
        ok = normal_solve(k->normal, x, some);
        for (int r = 0; ok && r < some; r++) {
            int n = entries_of(k, t, first + r, column, value, &unseen);
            variance[first + r] = unseen;
            for (int e = 0; e < n; e++)
                variance[first + r] += value[e] * k->e.scale[column[e]] * x[(size_t)r * columns + (size_t)column[e]];
        }
    }
    mem_free(x);
    mem_free(value);
    mem_free(column);
    return ok || out_of_memory(f);
}

bool fit_predict(struct fit *k, const struct fit_table *t, double *mean, double *se, struct fault *f)
{
    struct normal_figures figures;
    normal_figures(k->normal, &figures);
    size_t most = (size_t)(k->groups + k->fixed) + 1;
    double *value = mem_zero(most, sizeof *value), unseen;
    int *column = mem_zero(most, sizeof *column);
    /* σ was profiled after the last factorisation: once more, so that the factor is in the answer's units */
    bool ok = value && column && (k->inverted || estimate_value(&k->e) == FACTOR_DONE);
    if (ok && figures.dense && !k->inverted)
        ok = normal_invert(k->normal);
    k->inverted = ok;
    if (!ok)
        out_of_memory(f);
    if (ok && !figures.dense)
        ok = predict_by_solves(k, t, se, f);
    for (int i = 0; ok && i < t->rows; i++) {
        int n = entries_of(k, t, i, column, value, &unseen);
        double sum = 0;
        for (int e = 0; e < n; e++)
            sum += value[e] * k->e.effect[column[e]];
        mean[i] = k->y_centre + k->y_unit * sum;
        double variance = figures.dense ? unseen + normal_variance(k->normal, column, value, n) : se[i];
        se[i] = k->y_unit * sqrt(fmax(variance, 0));
    }
    mem_free(value);
    mem_free(column);
    return ok;
}

double fit_criterion_at(struct fit *k, const double *theta, double *gradient)
{
    struct estimate *e = &k->e;
    for (int g = 0; g < k->groups; g++)
        e->log_sd[g] = e->log_sigma[0] + log(theta[g]);
    k->inverted = false;
    estimate_list_parameters(e);
    if (estimate_value(e) != FACTOR_DONE)
        return NAN;
    estimate_profile(e);
    double at = criterion(k);
    if (gradient && !estimate_gradient(e))
        return NAN;
    for (int g = 0; gradient && g < k->groups; g++)
        gradient[g] = 0;
    for (int p = 0; gradient && p < e->parameters; p++)
        if (e->parameter_block[p] < k->groups)
            gradient[e->parameter_block[p]] = e->gradient[p];
    return at;
}
