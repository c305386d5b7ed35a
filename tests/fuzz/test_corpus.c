/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every file of corpus/TARGET goes through its target once, whole and cut at each of some places. A broken promise ends the program. */
#include "fuzz.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#include <dirent.h>
#include <stdbool.h>
#include <string.h>

#define CORPUS  "tests/fuzz/corpus/"
#define LARGEST (256 * 1024)

struct target {
    const char *name;
    void (*take)(const uint8_t *bytes, size_t n);
    bool slow; /* goes to a file: whole only */
};
static const struct target targets[] = {{"json", fuzz_json, false},     {"csv", fuzz_csv, false},
                                        {"form", fuzz_form, false},     {"query", fuzz_query, false},
                                        {"date", fuzz_date, false},     {"etag", fuzz_etag, false},
                                        {"number", fuzz_number, false}, {"authorization", fuzz_authorization, false},
                                        {"config", fuzz_config, false}, {"cursor", fuzz_cursor, true},
                                        {"ndjson", fuzz_ndjson, true},  {"database", fuzz_database, true}};

static void one_file(const struct target *t, const char *path)
{
    static uint8_t bytes[LARGEST];
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    size_t n = fread(bytes, 1, sizeof bytes, file);
    fclose(file);
    t->take(bytes, n);
    for (size_t cut = 0; cut < n && !t->slow; cut += 1 + n / 64)
        t->take(bytes, cut);
}

static void corpus(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof targets / sizeof *targets; i++) {
        char folder[100], path[400];
        int files = 0;
        snprintf(folder, sizeof folder, CORPUS "%s", targets[i].name);
        DIR *d = opendir(folder);
        if (!d)
            fail_msg("no %s; the tests run in the project's folder", folder);
        for (struct dirent *e; (e = readdir(d)) != NULL;) {
            if (e->d_name[0] == '.')
                continue;
            snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
            one_file(&targets[i], path);
            files++;
        }
        closedir(d);
        assert_true(files >= 3);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(corpus)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
