/* SPDX-License-Identifier: GPL-3.0-or-later
 * `fit`: the estimator alone, on any table. It is how the estimator is checked from outside. */
#include "../model/fit.h"
#include "../ground/buffer.h"
#include "../ground/memory.h"
#include "options.h"
#include "table.h"
#include "verbs.h"

#include <stdio.h>
#include <string.h>

#define FIXED_MOST  64
#define OUTPUT_MOST ((size_t)LIMIT_TABLE_BYTES)

/* One `--group` or `--fixed` word and what it stands for in a table. */
struct spec {
    char text[160];
    int first, second; /* columns; second −1 = none */
};

struct plan {
    struct table table, other; /* the rows to fit, the rows to predict */
    int group_count, fixed_count;
    struct spec group[FIT_GROUPS], fixed[FIXED_MOST];
    struct levels levels[FIT_GROUPS];
    double *y, *w, *column[FIXED_MOST];
    int *level[FIT_GROUPS];
    double *other_column[FIXED_MOST];
    int *other_level[FIT_GROUPS];
    const char *fixed_name[FIXED_MOST], *group_name[FIT_GROUPS];
};

static void plan_free(struct plan *p)
{
    table_free(&p->table);
    table_free(&p->other);
    mem_free(p->y);
    mem_free(p->w);
    for (int i = 0; i < FIXED_MOST; i++) {
        mem_free(p->column[i]);
        mem_free(p->other_column[i]);
    }
    for (int i = 0; i < FIT_GROUPS; i++) {
        mem_free(p->level[i]);
        mem_free(p->other_level[i]);
        levels_free(&p->levels[i]);
    }
}

/* ---- options ---- */

static bool split(const char *list, struct spec *out, int room, int *count, const char *option, struct fault *f)
{
    *count = 0;
    while (list && *list) {
        size_t n = strcspn(list, ",");
        if (*count == room)
            return fault_add(f, FAULT_UNACCEPTABLE, option, "too-many", "at most %d columns", room);
        if (n == 0 || n >= sizeof out->text)
            return fault_add(f, FAULT_UNACCEPTABLE, option, "wrong-column", "a name between the commas is empty or too long");
        memcpy(out[*count].text, list, n);
        out[*count].text[n] = 0;
        for (int i = 0; i < *count; i++)
            if (strcmp(out[i].text, out[*count].text) == 0)
                return fault_add(f, FAULT_UNACCEPTABLE, option, "twice", "%s is named twice", out[i].text);
        (*count)++;
        list += n + (list[n] == ',');
    }
    return true;
}

static bool find(const struct table *t, const char *name, size_t n, int *column, struct fault *f)
{
    *column = table_column(t, name, n);
    if (*column >= 0)
        return true;
    struct buffer b;
    buffer_init(&b, 512);
    for (int c = 0; c < t->columns && b.length < 120; c++)
        buffer_format(&b, "%s%.*s", c ? ", " : "", (int)(t->names[c].length > 40 ? 40 : t->names[c].length), t->names[c].text);
    char field[72];
    snprintf(field, sizeof field, "%.*s", (int)(n > 70 ? 70 : n), name);
    fault_add(f, FAULT_UNACCEPTABLE, field, "wrong-column", "the table has no such column; it has %s", b.data ? b.data : "");
    buffer_free(&b);
    return false;
}

/* A column of the whole name if there is one, else two with a colon between. */
static bool resolve(const struct table *t, struct spec *s, bool cell, struct fault *f)
{
    const char *colon = cell ? strchr(s->text, ':') : NULL;
    s->second = -1;
    if (!colon || table_column(t, s->text, strlen(s->text)) >= 0)
        return find(t, s->text, strlen(s->text), &s->first, f);
    return find(t, s->text, (size_t)(colon - s->text), &s->first, f) && find(t, colon + 1, strlen(colon + 1), &s->second, f);
}

/* ---- columns ---- */

static bool read_weights(struct plan *p, const char *name, struct fault *f)
{
    int column;
    if (!find(&p->table, name, strlen(name), &column, f))
        return false;
    p->w = table_numbers(&p->table, column, f);
    for (int i = 0; p->w && i < p->table.rows; i++)
        if (!(p->w[i] > 0))
            return fault_add(f, FAULT_UNACCEPTABLE, name, "weight",
                             "line %d: a weight must be above 0; leave rows without weight out of the file", p->table.line[i]);
    return p->w != NULL;
}

static bool read_columns(struct plan *p, const struct table *t, double **fixed, int **level, bool grow, struct fault *f)
{
    for (int i = 0; i < p->fixed_count; i++) {
        struct spec s = p->fixed[i];
        if (!resolve(t, &s, false, f) || !(fixed[i] = table_numbers(t, s.first, f)))
            return false;
        p->fixed_name[i] = p->fixed[i].text;
    }
    for (int i = 0; i < p->group_count; i++) {
        struct spec s = p->group[i];
        if (!resolve(t, &s, true, f) || !(level[i] = table_levels(t, s.first, s.second, &p->levels[i], grow, f)))
            return false;
        p->group_name[i] = p->group[i].text;
    }
    return true;
}

static bool prepare(struct plan *p, const char *csv, const char *response, const char *weight, const char *predict, struct fault *f)
{
    int y;
    return table_read(&p->table, csv, f) && find(&p->table, response, strlen(response), &y, f) && (p->y = table_numbers(&p->table, y, f)) &&
           (!weight || read_weights(p, weight, f)) && read_columns(p, &p->table, p->column, p->level, true, f) &&
           (!predict || (table_read(&p->other, predict, f) && read_columns(p, &p->other, p->other_column, p->other_level, false, f)));
}

/* ---- answer ---- */

static void write_text(struct buffer *b, const char *text)
{
    buffer_char(b, '"');
    for (; *text; text++) {
        if (*text == '"' || *text == '\\')
            buffer_char(b, '\\');
        if ((unsigned char)*text < 0x20)
            buffer_format(b, "\\u%04x", *text);
        else
            buffer_char(b, *text);
    }
    buffer_char(b, '"');
}

static void write_number(struct buffer *b, const char *name, double value)
{
    buffer_format(b, "\"%s\":", name);
    buffer_double(b, value);
}

static void write_fit(struct buffer *b, const struct plan *p, const struct fit_result *r, bool intercept)
{
    buffer_format(b, "{\"n\":%d,", r->n);
    write_number(b, "criterion", r->criterion);
    buffer_char(b, ',');
    write_number(b, "sigma", r->sigma);
    buffer_text(b, ",\"groups\":[");
    for (int i = 0; i < p->group_count; i++) {
        buffer_text(b, i ? ",{\"name\":" : "{\"name\":");
        write_text(b, p->group[i].text);
        buffer_char(b, ',');
        write_number(b, "sd", r->sd[i]);
        buffer_format(b, ",\"levels\":%d}", p->levels[i].count);
    }
    buffer_text(b, "],\"fixed\":[");
    for (int j = 0; j < r->fixed_count; j++) {
        buffer_text(b, j ? ",{\"name\":" : "{\"name\":");
        write_text(b, intercept && j == 0 ? "(intercept)" : p->fixed[j - intercept].text);
        buffer_char(b, ',');
        write_number(b, "estimate", r->estimate[j]);
        buffer_char(b, ',');
        write_number(b, "se", r->se[j]);
        buffer_char(b, '}');
    }
    buffer_format(b, "],\"evaluations\":%ld,\"seconds\":", r->evaluations);
    buffer_fixed(b, r->seconds, 6);
    buffer_format(b, ",\"reason\":\"%s\",\"boundary\":%s", r->reason, r->boundary ? "true" : "false");
}

static bool write_predictions(struct buffer *b, struct plan *p, struct fit *k, bool intercept, struct fault *f)
{
    struct fit_table t = {.rows = p->other.rows,
                          .intercept = intercept,
                          .fixed_count = p->fixed_count,
                          .fixed = (const double *const *)p->other_column,
                          .group_count = p->group_count};
    for (int i = 0; i < p->group_count; i++)
        t.level[i] = p->other_level[i];
    double *mean = mem_zero((size_t)t.rows + 1, sizeof *mean), *se = mem_zero((size_t)t.rows + 1, sizeof *se);
    bool ok = mean && se ? fit_predict(k, &t, mean, se, f) : fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while predicting");
    buffer_text(b, ",\"predictions\":[");
    for (int i = 0; ok && i < t.rows; i++) {
        buffer_text(b, i ? ",{" : "{");
        write_number(b, "mean", mean[i]);
        buffer_char(b, ',');
        write_number(b, "se", se[i]);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
    mem_free(mean);
    mem_free(se);
    return ok;
}

static bool fit_and_say(struct plan *p, bool flat, bool intercept, bool predict, struct fault *f)
{
    struct fit_table t = {.rows = p->table.rows,
                          .y = p->y,
                          .w = p->w,
                          .intercept = intercept,
                          .fixed_count = p->fixed_count,
                          .fixed = (const double *const *)p->column,
                          .group_count = p->group_count};
    for (int i = 0; i < p->group_count; i++) {
        t.level[i] = p->level[i];
        t.levels[i] = p->levels[i].count;
    }
    struct fit_names names = {.fixed = p->fixed_name, .group = p->group_name};
    struct fit *k = fit_new(&t, &names, flat, f);
    if (!k)
        return false;
    struct fit_result r;
    struct buffer b;
    buffer_init(&b, OUTPUT_MOST);
    fit_result(k, &r);
    write_fit(&b, p, &r, intercept);
    bool ok = !predict || write_predictions(&b, p, k, intercept, f);
    buffer_text(&b, "}\n");
    if (ok && b.failed)
        ok = fault_add(f, FAULT_MEMORY, "", "memory", "the answer does not fit into memory");
    if (ok && (fwrite(b.data, 1, b.length, stdout) != b.length || fflush(stdout) != 0))
        ok = fault_add(f, FAULT_STORE, "", "cannot-write", "the answer could not be written");
    buffer_free(&b);
    fit_free(k);
    return ok;
}

int verb_fit(int argc, char **argv)
{
    static const struct verb_help help = {
        "fit", "fit --csv FILE --response COL --group SPEC,… [options]",
        "Fits a mixed model to any table and prints one JSON object: variances, fixed effects, predictions.\n\n"
        "  --csv FILE         the table; its first line names the columns\n"
        "  --response COL     the numbers to explain\n"
        "  --group SPEC,…     grouping factors, each with a variance of its own: a column, or a:b for the cells of two columns\n"
        "  --fixed COL,…      covariates with flat priors\n"
        "  --weight COL       a weight for each row: its residual variance is sigma²/weight\n"
        "  --no-intercept     no common mean\n"
        "  --flat             plain restricted maximum likelihood: no priors, no robust weights, sd from 0 on\n"
        "  --predict FILE     rows with the same columns to predict; a level never seen adds its group's variance\n\n"
        "Without --flat the sds have half-t(3) priors (scale: the response's own sd; the mode in log sd is taken), and rows that\n"
        "look like misentries are weighed down.\n",
        "biasbook fit --csv yields.csv --response yield --group batch --flat"};
    const char *csv = NULL, *response = NULL, *group = NULL, *fixed = NULL, *weight = NULL, *predict = NULL;
    bool flat = false, no_intercept = false;
    const struct option_spec specs[] = {{"csv", &csv, NULL},
                                        {"response", &response, NULL},
                                        {"group", &group, NULL},
                                        {"fixed", &fixed, NULL},
                                        {"weight", &weight, NULL},
                                        {"predict", &predict, NULL},
                                        {"flat", NULL, &flat},
                                        {"no-intercept", NULL, &no_intercept},
                                        {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!csv || !response || !group || !*group)
        return wrong_usage(&help, "%s is needed", !csv ? "--csv" : !response ? "--response" : "--group");
    struct plan p;
    memset(&p, 0, sizeof p);
    struct fault f = {0};
    bool ok = split(group, p.group, FIT_GROUPS, &p.group_count, "--group", &f) &&
              split(fixed, p.fixed, FIXED_MOST, &p.fixed_count, "--fixed", &f) && prepare(&p, csv, response, weight, predict, &f) &&
              fit_and_say(&p, flat, !no_intercept, predict != NULL, &f);
    status = ok ? EXIT_DONE : refused("fit", &f);
    plan_free(&p);
    return status;
}
