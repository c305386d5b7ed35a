/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * `biasbook fit` from outside: results in print, the seeded tables of tests/reference and their results, and every wrong table refused by name.
 */
#include "daemon.h"

#include "../model/published.h"

#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static char out[1024 * 1024], said[64 * 1024];

static void near_number(double got, double want, double relative, double absolute, const char *what)
{
    if (!(fabs(got - want) <= relative * fabs(want) + absolute))
        fail_msg("%s: %.12g is not %.12g to %g and %g", what, got, want, relative, absolute);
}

/* Runs the verb; standard output in `out`, standard error in `said`. */
static int run(const char *const *args)
{
    static char path[400]; /* scratch_path keeps only the last few */
    if (!path[0])
        snprintf(path, sizeof path, "%s", scratch_path("stderr"));
    int keep = dup(STDERR_FILENO), file = open(path, O_CREAT | O_TRUNC | O_RDWR, 0600);
    assert_true(keep >= 0 && file >= 0);
    dup2(file, STDERR_FILENO);
    int status = run_verb(args, out, sizeof out);
    dup2(keep, STDERR_FILENO);
    close(keep);
    ssize_t n = pread(file, said, sizeof said - 1, 0);
    close(file);
    said[n > 0 ? n : 0] = 0;
    return status;
}
#define FIT(...) run((const char *const[]){"fit", __VA_ARGS__, NULL})

static void write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, strlen(text), f), strlen(text));
    assert_int_equal(fclose(f), 0);
}

/* Whole at once: a child that ends would move an open file's place. */
static char *read_file(const char *path)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    char *text = calloc(1, 64 * 1024);
    assert_non_null(text);
    size_t n = fread(text, 1, 64 * 1024 - 1, f);
    assert_true(n > 0 && n < 64 * 1024 - 1);
    fclose(f);
    return text;
}

static json_t *answered(void)
{
    json_error_t e;
    json_t *j = json_loads(out, JSON_REJECT_DUPLICATES, &e);
    if (!j)
        fail_msg("no JSON (%s): %.200s %.200s", e.text, out, said);
    return j;
}

static double number(const json_t *j, const char *name)
{
    const json_t *v = json_object_get(j, name);
    if (!json_is_number(v))
        fail_msg("no number %s", name);
    return json_number_value(v);
}

static const json_t *named(const json_t *list, const char *name)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (strcmp(json_string_value(json_object_get(json_array_get(list, i), "name")), name) == 0)
            return json_array_get(list, i);
    fail_msg("nothing named %s", name);
    return NULL;
}

/* ---- results in print ---- */

static void test_in_print(void **state)
{
    (void)state;
    for (int i = 0; i < PUBLISHED; i++) {
        const struct published *p = &published[i];
        const char *path = scratch_path("published.csv");
        FILE *f = fopen(path, "wb");
        assert_non_null(f);
        fprintf(f, "first,second,y\n");
        for (int r = 0; r < p->rows; r++)
            fprintf(f, "\"a%d\",b%d,%g\n", p->level(0, r), p->groups > 1 ? p->level(1, r) : 0, p->y[r]);
        assert_int_equal(fclose(f), 0);
        assert_int_equal(FIT("--csv", path, "--response", "y", "--group", p->groups > 1 ? "first,second" : "first", "--flat"), 0);
        json_t *j = answered();
        const char *const group[] = {"first", "second"};
        for (int g = 0; g < p->groups; g++) {
            const json_t *one = named(json_object_get(j, "groups"), group[g]);
            near_number(pow(number(one, "sd"), 2), p->closer[g], 1e-4, 0, p->name);
            assert_int_equal((int)number(one, "levels"), p->levels[g]);
        }
        near_number(pow(number(j, "sigma"), 2), p->closer_residual, 1e-4, 0, p->name);
        near_number(number(j, "criterion"), p->criterion, 0, 1e-5, p->name);
        near_number(number(named(json_object_get(j, "fixed"), "(intercept)"), "estimate"), p->mean, 1e-8, 0, p->name);
        near_number(number(named(json_object_get(j, "fixed"), "(intercept)"), "se"), p->mean_se, 1e-4, 0, p->name);
        assert_int_equal((int)number(j, "n"), p->rows);
        assert_int_equal(json_is_true(json_object_get(j, "boundary")), p->closer[0] == 0);
        assert_true(number(j, "evaluations") > 0 && number(j, "seconds") >= 0);
        assert_string_equal(json_string_value(json_object_get(j, "reason")), "converged");
        json_decref(j);
    }
}

/* The cask letters of the pastes are the same in each batch: a:b names the cell. */
static void test_a_cell_of_two_columns(void **state)
{
    (void)state;
    const struct published *p = &published[2];
    const char *path = scratch_path("pastes.csv");
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    fprintf(f, "batch,cask,y\r\n");
    for (int r = 0; r < p->rows; r++)
        fprintf(f, "%c,%c,%g\r\n", 'A' + r / 6, 'a' + r / 2 % 3, p->y[r]);
    fclose(f);
    assert_int_equal(FIT("--csv", path, "--response", "y", "--group", "batch,batch:cask", "--flat"), 0);
    json_t *j = answered();
    near_number(pow(number(named(json_object_get(j, "groups"), "batch:cask"), "sd"), 2), 8.4336679284, 1e-4, 0, "cask");
    near_number(pow(number(named(json_object_get(j, "groups"), "batch"), "sd"), 2), 1.6573079610, 1e-4, 0, "batch");
    assert_int_equal((int)number(named(json_object_get(j, "groups"), "batch:cask"), "levels"), 30);
    json_decref(j);
}

/* ---- the seeded tables ---- */

#define FOLDER "tests/reference/"
static struct asked {
    char name[40], response[40], groups[80], fixed[80], weight[40];
    int intercept;
} asked;

static json_t *fit_case(void)
{
    char csv[120], new[120];
    const char *args[20] = {"fit", "--csv", csv, "--predict", new, "--response", asked.response, "--group", asked.groups, "--flat"};
    int n = 10;
    snprintf(csv, sizeof csv, FOLDER "%s.csv", asked.name);
    snprintf(new, sizeof new, FOLDER "%s-new.csv", asked.name);
    if (strcmp(asked.fixed, "-") != 0) {
        args[n++] = "--fixed";
        args[n++] = asked.fixed;
    }
    if (strcmp(asked.weight, "-") != 0) {
        args[n++] = "--weight";
        args[n++] = asked.weight;
    }
    if (!asked.intercept)
        args[n++] = "--no-intercept";
    args[n] = NULL;
    if (run(args) != 0)
        fail_msg("%s: %s", asked.name, said);
    return answered();
}

static void close_case(json_t *j, size_t predicted, bool boundary)
{
    if (!j)
        return;
    assert_int_equal(json_array_size(json_object_get(j, "predictions")), predicted);
    assert_int_equal(json_is_true(json_object_get(j, "boundary")), boundary);
    json_decref(j);
}

/* Variances to 1e-4 of themselves; an estimate of 0 exactly. Predictions and their errors to 1e-3 (of themselves, and absolute for those near 0). */
static void test_seeded_tables(void **state)
{
    (void)state;
    char name[80], *rest = read_file(FOLDER "results.txt"), *whole = rest;
    double a, b;
    json_t *j = NULL;
    size_t predicted = 0;
    int cases = 0;
    bool boundary = false;
    for (char *line = strsep(&rest, "\n"); line && *line; line = strsep(&rest, "\n")) {
        if (sscanf(line, "case %39s %39s %79s %79s %39s %d", asked.name, asked.response, asked.groups, asked.fixed, asked.weight,
                   &asked.intercept) == 6) {
            close_case(j, predicted, boundary);
            predicted = 0;
            boundary = false;
            j = fit_case();
            cases++;
        } else if (sscanf(line, "criterion %lf", &a) == 1) {
            near_number(number(j, "criterion"), a, 0, 1e-5, asked.name);
        } else if (sscanf(line, "sigma %lf", &a) == 1) {
            near_number(pow(number(j, "sigma"), 2), a * a, 1e-4, 0, asked.name);
        } else if (sscanf(line, "sd %79s %lf", name, &a) == 2) {
            double sd = number(named(json_object_get(j, "groups"), name), "sd");
            near_number(sd * sd, a * a, 1e-4, 0, name);
            boundary |= a == 0;
        } else if (sscanf(line, "fixed %79s %lf %lf", name, &a, &b) == 3) {
            near_number(number(named(json_object_get(j, "fixed"), name), "estimate"), a, 1e-4, 1e-4 * b, name);
            near_number(number(named(json_object_get(j, "fixed"), name), "se"), b, 1e-4, 0, name);
        } else if (sscanf(line, "predict %lf %lf", &a, &b) == 2) {
            const json_t *one = json_array_get(json_object_get(j, "predictions"), predicted++);
            assert_non_null(one);
            near_number(number(one, "mean"), a, 1e-3, 1e-4, asked.name);
            near_number(number(one, "se"), b, 1e-3, 0, asked.name);
        } else {
            fail_msg("what is this line? %s (after %s)", line, asked.name);
        }
    }
    close_case(j, predicted, boundary);
    free(whole);
    assert_int_equal(cases, 7);
}

/* ---- what must not matter ---- */

static void test_order_of_rows(void **state)
{
    (void)state;
    FILE *f = fopen(FOLDER "crossed.csv", "r");
    assert_non_null(f);
    static char head[200], row[400][60];
    int rows = 0;
    assert_non_null(fgets(head, sizeof head, f));
    while (rows < 400 && fgets(row[rows], sizeof row[0], f))
        rows++;
    fclose(f);
    const char *path = scratch_path("turned.csv");
    f = fopen(path, "wb");
    assert_non_null(f);
    fputs(head, f);
    for (int i = 0; i < rows; i++)
        fputs(row[(i * 7 + 3) % rows], f); /* 7 does not divide 300 */
    fclose(f);
    assert_int_equal(rows % 7 != 0, 1);
    double first[5];
    for (int again = 0; again < 2; again++) {
        assert_int_equal(FIT("--csv", again ? path : FOLDER "crossed.csv", "--response", "y", "--group", "deck,tape,deck:tape", "--flat",
                             "--predict", FOLDER "crossed-new.csv"),
                         0);
        json_t *j = answered();
        const json_t *p = json_array_get(json_object_get(j, "predictions"), 0);
        double now[5] = {number(j, "criterion"), number(j, "sigma"), number(named(json_object_get(j, "groups"), "tape"), "sd"),
                         number(p, "mean"), number(p, "se")};
        for (int k = 0; k < 5; k++)
            if (again)
                near_number(now[k], first[k], 1e-8, 0, "turned");
        memcpy(first, now, sizeof first);
        json_decref(j);
    }
}

/* Priors and robust weights: one number of ten thousand times the size hardly moves the mean, where the flat fit follows it. */
static void test_not_flat_withstands_a_misentry(void **state)
{
    (void)state;
    const char *path = scratch_path("slip.csv");
    double mean[2];
    for (int flat = 0; flat < 2; flat++) {
        FILE *f = fopen(path, "wb");
        fprintf(f, "batch,yield\n");
        for (int i = 0; i < 30; i++)
            fprintf(f, "%d,%g\n", i / 5, i == 7 ? dyestuff_yields[i] * 10 : dyestuff_yields[i]);
        fclose(f);
        assert_int_equal(flat ? FIT("--csv", path, "--response", "yield", "--group", "batch", "--flat")
                              : FIT("--csv", path, "--response", "yield", "--group", "batch"),
                         0);
        json_t *j = answered();
        mean[flat] = number(named(json_object_get(j, "fixed"), "(intercept)"), "estimate");
        json_decref(j);
    }
    assert_true(fabs(mean[0] - 1527.5) < 60);
    assert_true(fabs(mean[1] - 1527.5) > 300);
}

/* ---- wrong tables: the exit status, the column named, no answer on standard output ---- */

struct wrong {
    const char *reason, *text, *response, *group, *fixed, *weight;
    int status;
    const char *says;
};

static const struct wrong wrong[] = {
    {"empty file", "", "y", "g", NULL, NULL, 1, "empty"},
    {"no row under the header", "y,g\n", "y", "g", NULL, NULL, 1, "row"},
    {"a column that is not there", "y,g\n1,a\n2,b\n3,a\n", "z", "g", NULL, NULL, 1, "z"},
    {"a group that is not there", "y,g\n1,a\n2,b\n3,a\n", "y", "deck", NULL, NULL, 1, "deck"},
    {"half a cell that is not there", "y,g\n1,a\n2,b\n3,a\n", "y", "g:h", NULL, NULL, 1, "h"},
    {"a covariate that is not there", "y,g\n1,a\n2,b\n3,a\n", "y", "g", "x", NULL, 1, "x"},
    {"a weight that is not there", "y,g\n1,a\n2,b\n3,a\n", "y", "g", NULL, "w", 1, "w"},
    {"no number", "y,g\n1,a\ntwo,b\n3,a\n", "y", "g", NULL, NULL, 1, "line 3"},
    {"a decimal comma", "y,g\n\"1,5\",a\n2,b\n3,a\n", "y", "g", NULL, NULL, 1, "1,5"},
    {"not a finite number", "y,g\n1,a\nnan,b\n3,a\n", "y", "g", NULL, NULL, 1, "y"},
    {"infinite", "y,g\n1,a\n1e999,b\n3,a\n", "y", "g", NULL, NULL, 1, "y"},
    {"an empty cell", "y,g\n1,a\n,b\n3,a\n", "y", "g", NULL, NULL, 1, "empty"},
    {"an empty level", "y,g\n1,a\n2,\n3,a\n", "y", "g", NULL, NULL, 1, "empty"},
    {"one level", "y,g\n1,a\n2,a\n3,a\n", "y", "g", NULL, NULL, 1, "one level"},
    {"a level a row", "y,g\n1,a\n2,b\n3,c\n", "y", "g", NULL, NULL, 1, "g"},
    {"a row too short", "y,g\n1,a\n2\n3,a\n", "y", "g", NULL, NULL, 1, "3"},
    {"a quote that does not close", "y,g\n1,\"a\n2,b\n3,a\n", "y", "g", NULL, NULL, 1, "quote"},
    {"two columns of one name", "y,y,g\n1,2,a\n2,2,b\n3,1,a\n", "y", "g", NULL, NULL, 1, "y"},
    {"a weight of nought", "y,g,w\n1,a,1\n2,b,0\n3,a,1\n4,b,1\n", "y", "g", NULL, "w", 1, "w"},
    {"a response that does not vary", "y,g\n2,a\n2,b\n2,a\n2,b\n", "y", "g", NULL, NULL, 1, "the same"},
    {"a covariate that does not vary", "y,g,x\n1,a,3\n2,b,3\n3,a,3\n5,b,3\n", "y", "g", "x", NULL, 1, "x"},
    {"a covariate made up of others", "y,g,x,z\n1,a,3,7\n2,b,4,9\n3,a,1,3\n5,b,6,13\n1,a,2,5\n", "y", "g", "x,z", NULL, 1, "made up"},
    {"more covariates than rows", "y,g,x,z\n1,a,3,1\n2,b,4,9\n3,a,1,3\n", "y", "g", "x,z", NULL, 1, "row"},
    {"no group", "y,g\n1,a\n2,b\n3,a\n", "y", NULL, NULL, NULL, 2, "--group"},
};

static void test_wrong_tables(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        const struct wrong *w = &wrong[i];
        const char *path = scratch_path("wrong.csv"), *args[16] = {"fit", "--csv", path, "--response", w->response, "--flat"};
        int n = 6;
        write_file(path, w->text);
        const char *const option[] = {"--group", "--fixed", "--weight"}, *const value[] = {w->group, w->fixed, w->weight};
        for (int k = 0; k < 3; k++)
            if (value[k]) {
                args[n++] = option[k];
                args[n++] = value[k];
            }
        args[n] = NULL;
        int status = run(args);
        if (status != w->status || !strstr(said, w->says) || out[0])
            fail_msg("%s: status %d, said '%s', printed '%s'", w->reason, status, said, out);
    }
}

static void test_wrong_usage(void **state)
{
    (void)state;
    const char *path = scratch_path("right.csv");
    write_file(path, "y,g\n1,a\n2,b\n3,a\n5,b\n");
    assert_int_equal(FIT("--response", "y", "--group", "g"), 2);
    assert_int_equal(FIT("--csv", path, "--group", "g"), 2);
    assert_int_equal(FIT("--csv", path, "--response", "y", "--group", "g", "--smooth"), 2);
    assert_int_equal(FIT("--csv", scratch_path("is-not-there.csv"), "--response", "y", "--group", "g"), 1);
    assert_int_equal(FIT("--csv", path, "--response", "y", "--group", "g", "--predict", scratch_path("is-not-there.csv")), 1);
    assert_int_equal(FIT("--csv", path, "--response", "y", "--group", "g", "--flat"), 0);
    assert_int_equal(FIT("--help"), 0);
    assert_non_null(strstr(out, "--flat"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_in_print),      cmocka_unit_test(test_a_cell_of_two_columns),          cmocka_unit_test(test_seeded_tables),
        cmocka_unit_test(test_order_of_rows), cmocka_unit_test(test_not_flat_withstands_a_misentry), cmocka_unit_test(test_wrong_tables),
        cmocka_unit_test(test_wrong_usage),
    };
    return cmocka_run_group_tests_name("fit", tests, NULL, NULL);
}
