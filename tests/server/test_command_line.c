/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The command line as a stranger meets it: a club is made, rows go in and come out the same, suggestions without a server, wrong usage, exit status.
 */
#include "daemon.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char out[4 * 1024 * 1024], again[4 * 1024 * 1024];

#define VERB(...) run_verb((const char *const[]){__VA_ARGS__, NULL}, out, sizeof out)

static void write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, strlen(text), f), strlen(text));
    assert_int_equal(fclose(f), 0);
}

static const char *last_line(char *text)
{
    size_t n = strlen(text);
    while (n && text[n - 1] == '\n')
        text[--n] = 0;
    char *nl = strrchr(text, '\n');
    return nl ? nl + 1 : text;
}

#define ROWS                                                                                                                               \
    "{\"kind\":\"deck\",\"id\":\"d1\",\"name\":\"Deck "                                                                                    \
    "one\",\"medium\":\"cassette\",\"bias_dial\":{\"unit\":\"mark\",\"low\":-5,\"high\":5,"                                                \
    "\"scale\":\"db\",\"db_per_unit\":0.5},\"level_dial\":null}\n"                                                                         \
    "{\"kind\":\"stock\",\"id\":\"s1\",\"name\":\"Stock, \\\"quoted\\\" \\u00e9\",\"class\":\"type-2\",\"notes\":\"=1+1\"}\n"              \
    "{\"kind\":\"calibration\",\"id\":\"5f4a1f4e-3b0a-4c8e-9a51-000000000001\",\"deck\":\"d1\",\"stock\":\"s1\",\"made_at\":\"2026-01-"    \
    "05T20:15:00+01:00\","                                                                                                                 \
    "\"bias\":1.5,\"low_db\":0.25,\"high_db\":-0.5,\"moves\":[{\"bias\":0,\"low_db\":0,\"high_db\":2},{\"bias\":1.5,\"low_db\":0.25,"      \
    "\"high_db\":-0.5}]}\n"                                                                                                                \
    "{\"kind\":\"service\",\"id\":\"5f4a1f4e-3b0a-4c8e-9a51-000000000002\",\"deck\":\"d1\",\"made_at\":\"2026-01-01T12:00:00Z\","          \
    "\"service_kind\":\"belts\"}\n"

static void test_init_prints_the_key_alone_on_the_last_line(void **state)
{
    (void)state;
    assert_int_equal(VERB("init", "--db", scratch_path("a.db")), 0);
    const char *key = last_line(out);
    assert_int_equal(strncmp(key, "bb1_", 4), 0);
    assert_null(strchr(key, ' '));
    assert_true(strlen(key) >= 40);
    assert_int_equal(VERB("init", "--db", scratch_path("a.db")), 1); /* it is there already */
    assert_int_equal(VERB("member", "add", "--db", scratch_path("a.db"), "--name", "Odda", "--role", "logger"), 0);
    assert_int_equal(strncmp(last_line(out), "bb1_", 4), 0);
    assert_int_equal(VERB("member", "add", "--db", scratch_path("a.db"), "--name", "Odda", "--role", "king"), 2);
    assert_int_equal(VERB("member", "add", "--db", scratch_path("a.db"), "--name", "Odda", "--role", "logger"), 1); /* name taken */
}

static void test_rows_go_in_and_come_out(void **state)
{
    (void)state;
    const char *db = scratch_path("b.db"), *file = scratch_path("rows.ndjson"), *copy = scratch_path("copy.ndjson"),
               *db2 = scratch_path("c.db"), *csv = scratch_path("copy.csv");
    write_file(file, ROWS);
    assert_int_equal(VERB("init", "--db", db), 0);
    assert_int_equal(VERB("import", "--db", db, "--dry-run", file), 0);
    assert_non_null(strstr(out, "\"accepted\":4"));
    assert_int_equal(VERB("export", "--db", db), 0);
    assert_non_null(strstr(out, "\"rows\":0")); /* a dry run changed nothing */
    assert_int_equal(VERB("import", "--db", db, file), 0);
    assert_non_null(strstr(out, "\"accepted\":4"));
    assert_int_equal(VERB("import", "--db", db, file), 0);
    assert_non_null(strstr(out, "\"same\":4"));
    assert_int_equal(VERB("export", "--db", db, "--format", "ndjson"), 0);
    assert_non_null(strstr(out, "\"kind\":\"end\",\"rows\":4"));
    snprintf(again, sizeof again, "%s", out);
    write_file(copy, out);
    assert_int_equal(VERB("init", "--db", db2), 0);
    assert_int_equal(VERB("import", "--db", db2, copy), 0);
    assert_non_null(strstr(out, "\"refused\":0"));
    assert_int_equal(VERB("export", "--db", db2), 0);
    assert_string_equal(out, again); /* the same bytes, end line and sum included */
    assert_int_equal(VERB("export", "--db", db2, "--format", "csv"), 0);
    write_file(csv, out);
    const char *db3 = scratch_path("d.db");
    assert_int_equal(VERB("init", "--db", db3), 0);
    assert_int_equal(VERB("import", "--db", db3, csv), 0);
    if (!strstr(out, "\"refused\":0"))
        print_message("%s\n", out);
    assert_non_null(strstr(out, "\"refused\":0"));
    assert_int_equal(VERB("export", "--db", db3), 0);
    assert_string_equal(out, again);
    assert_int_equal(VERB("check", "--db", db3), 0);
}

static void test_a_cut_file_is_noticed(void **state)
{
    (void)state;
    const char *db = scratch_path("e.db"), *db2 = scratch_path("f.db"), *file = scratch_path("cut.ndjson");
    write_file(file, ROWS);
    assert_int_equal(VERB("init", "--db", db), 0);
    assert_int_equal(VERB("import", "--db", db, file), 0);
    assert_int_equal(VERB("export", "--db", db), 0);
    char *first_end = strchr(out, '\n');
    write_file(file, first_end + 1); /* its first line is missing */
    assert_int_equal(VERB("init", "--db", db2), 0);
    assert_int_equal(VERB("import", "--db", db2, "--atomic", file), 1);
    assert_non_null(strstr(out, "rows-differ"));
    assert_non_null(strstr(out, "sum-differs"));
    assert_non_null(strstr(out, "\"accepted\":0"));
}

static void test_atomic_is_all_or_none(void **state)
{
    (void)state;
    const char *db = scratch_path("g.db"), *file = scratch_path("bad.ndjson");
    char text[8192];
    snprintf(text, sizeof text, "%s%s", ROWS, "{\"kind\":\"stock\",\"id\":\"s2\",\"name\":\"Two\",\"class\":\"type-7\"}\nnonsense\n");
    write_file(file, text);
    assert_int_equal(VERB("init", "--db", db), 0);
    assert_int_equal(VERB("import", "--db", db, "--atomic", file), 1);
    assert_non_null(strstr(out, "\"accepted\":0"));
    assert_non_null(strstr(out, "\"line\":5"));
    assert_non_null(strstr(out, "\"line\":6"));
    assert_non_null(strstr(out, "\"field\":\"class\""));
    assert_int_equal(VERB("export", "--db", db), 0);
    assert_non_null(strstr(out, "\"rows\":0"));
    assert_int_equal(VERB("import", "--db", db, file), 1); /* one by one: the good ones go in */
    assert_non_null(strstr(out, "\"accepted\":4"));
    assert_non_null(strstr(out, "\"refused\":2"));
}

static void test_suggest_without_a_server(void **state)
{
    (void)state;
    const char *db = scratch_path("h.db"), *file = scratch_path("rows2.ndjson");
    write_file(file, ROWS);
    assert_int_equal(VERB("init", "--db", db), 0);
    assert_int_equal(VERB("import", "--db", db, file), 0);
    assert_int_equal(VERB("suggest", "--db", db, "--deck", "d1", "--stock", "s1"), 0);
    assert_non_null(strstr(out, "bias"));
    assert_int_equal(VERB("suggest", "--db", db, "--deck", "d1", "--class", "type-4", "--json"), 0);
    json_t *j = json_loads(out, 0, NULL);
    assert_non_null(j);
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "basis"), "kind")), "class only");
    json_decref(j);
    assert_int_equal(VERB("suggest", "--db", db, "--deck", "nobody", "--stock", "s1"), 1);
    assert_int_equal(VERB("suggest", "--db", db, "--deck", "d1"), 2);
    assert_int_equal(VERB("suggest", "--db", db, "--deck", "d1", "--stock", "s1", "--recordings", "-3"), 1);
}

static void test_wrong_usage_is_two_and_help_is_nought(void **state)
{
    (void)state;
    static const char *const verbs[] = {"serve", "demo",   "init",   "suggest", "import", "export",
                                        "fit",   "member", "backup", "restore", "check",  "version"};
    for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++) {
        assert_int_equal(VERB(verbs[i], "--help"), 0);
        assert_non_null(strstr(out, "usage: biasbook "));
        assert_non_null(strstr(out, "example"));
        assert_int_equal(VERB(verbs[i], "--nonsense"), 2);
    }
    assert_int_equal(VERB("nonsense"), 2);
    assert_int_equal(VERB("export", "--db", "/nonexistent/club.db"), 1);
    assert_int_equal(VERB("serve", "--db", scratch_path("a.db"), "--open", "--listen", "0.0.0.0:0"), 2); /* open to the world */
    write_file(scratch_path("not.db"), "this is not a database, only words that are long enough to be read as one");
    assert_int_equal(VERB("check", "--db", scratch_path("not.db")), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_init_prints_the_key_alone_on_the_last_line),
        cmocka_unit_test(test_rows_go_in_and_come_out),
        cmocka_unit_test(test_a_cut_file_is_noticed),
        cmocka_unit_test(test_atomic_is_all_or_none),
        cmocka_unit_test(test_suggest_without_a_server),
        cmocka_unit_test(test_wrong_usage_is_two_and_help_is_nought),
    };
    return cmocka_run_group_tests_name("the command line", tests, NULL, NULL);
}
