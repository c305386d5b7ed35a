/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Migrations other than the product's own, on a club made by the product's: the copy before, each step whole or not at all.
 */
#include "scratch.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define STEP(name, text)                                                                                                                   \
    {                                                                                                                                      \
        name, (const unsigned char *)(text), (const unsigned char *)(text) + sizeof(text) - 1                                              \
    }

/* The product's own migrations, then `more`. */
static struct embedded *with(const struct embedded *more)
{
    static struct embedded steps[32];
    int n = 0;
    for (; embedded_schema[n].name; n++)
        steps[n] = embedded_schema[n];
    for (; more->name; more++)
        steps[n++] = *more;
    steps[n] = (struct embedded){NULL, NULL, NULL};
    return steps;
}

static char name_a[32], name_b[32];
static void name_steps(void)
{
    int n = store_newest(embedded_schema);
    snprintf(name_a, sizeof name_a, "%04d-shelf.sql", n + 1);
    snprintf(name_b, sizeof name_b, "%04d-more.sql", n + 2);
}

static void older_is_copied_then_migrated(void **state)
{
    struct scratch *s = *state;
    int known = store_newest(embedded_schema);
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    name_steps();
    const struct embedded more[] = {STEP("", "CREATE TABLE shelf (id INTEGER PRIMARY KEY) STRICT; INSERT INTO shelf VALUES (7)"),
                                    STEP("", "ALTER TABLE shelf ADD COLUMN place TEXT"),
                                    {NULL, NULL, NULL}};
    struct embedded named[] = {more[0], more[1], more[2]};
    named[0].name = name_a;
    named[1].name = name_b;
    struct fault f = {.kind = FAULT_NONE};
    struct store *m = store_open_with(&(struct store_options){.path = s->path, .no_writer = true}, with(named), &f);
    assert_null(m); /* a reader does not migrate */
    assert_string_equal(f.items[0].code, "older-file");
    fault_clear(&f);
    m = store_open_with(&(struct store_options){.path = s->path}, with(named), &f);
    assert_non_null(m);
    assert_int_equal(store_last_seq(m), 2);
    store_close(m);
    assert_int_equal(ask(s->path, "PRAGMA user_version"), known + 2);
    assert_int_equal(ask(s->path, "SELECT id FROM shelf WHERE place IS NULL"), 7);
    char copy[160];
    snprintf(copy, sizeof copy, "%s.before-%d", s->path, known + 2);
    assert_int_equal(ask(copy, "PRAGMA user_version"), known);
    assert_int_equal(ask(copy, "SELECT count(*) FROM change"), 2);
    assert_true(store_verify_file(copy, &f));
    snprintf(copy, sizeof copy, "%s.before-%d.part", s->path, known + 2);
    assert_int_not_equal(access(copy, F_OK), 0);
}

static void failing_step_leaves_the_step_before(void **state)
{
    struct scratch *s = *state;
    int known = store_newest(embedded_schema);
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    name_steps();
    struct embedded more[] = {STEP("", "CREATE TABLE shelf (id INTEGER PRIMARY KEY) STRICT"),
                              STEP("", "INSERT INTO shelf VALUES (1); INSERT INTO nothing VALUES (1)"),
                              {NULL, NULL, NULL}};
    more[0].name = name_a;
    more[1].name = name_b;
    struct fault f = {.kind = FAULT_NONE};
    assert_null(store_open_with(&(struct store_options){.path = s->path}, with(more), &f));
    assert_true(fault_set(&f));
    assert_int_equal(ask(s->path, "PRAGMA user_version"), known + 1);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM shelf"), 0);
    struct embedded orphan[] = {more[0], STEP("", "PRAGMA foreign_keys = OFF; DELETE FROM deck"), {NULL, NULL, NULL}};
    orphan[1].name = name_b;
    fault_clear(&f);
    assert_null(store_open_with(&(struct store_options){.path = s->path}, with(orphan), &f));
    assert_non_null(strstr(f.items[0].detail, "refer to nothing"));
    assert_int_equal(ask(s->path, "SELECT count(*) FROM deck"), 1);
    char copy[160]; /* each attempt made its own copy, the first one is kept */
    snprintf(copy, sizeof copy, "%s.before-%d", s->path, known + 2);
    assert_int_equal(ask(copy, "PRAGMA user_version"), known);
    snprintf(copy, sizeof copy, "%s.before-%d.2", s->path, known + 2);
    assert_int_equal(ask(copy, "PRAGMA user_version"), known + 1);
    tell(s->path, "DROP TABLE shelf");
    char back[64];
    snprintf(back, sizeof back, "PRAGMA user_version = %d", known);
    tell(s->path, back);
}

static void numbers_must_follow_each_other(void **state)
{
    (void)state;
    const struct embedded good[] = {STEP("0001-a.sql", ""), STEP("0002-b.sql", ""), {NULL, NULL, NULL}};
    const struct embedded gap[] = {STEP("0001-a.sql", ""), STEP("0003-b.sql", ""), {NULL, NULL, NULL}};
    const struct embedded empty[] = {{NULL, NULL, NULL}};
    assert_int_equal(store_newest(good), 2);
    assert_int_equal(store_newest(gap), 0);
    assert_int_equal(store_newest(empty), 0);
    assert_true(store_newest(embedded_schema) >= 1);
}

static void new_club_that_fails_leaves_nothing(void **state)
{
    struct scratch *s = *state;
    char path[160];
    snprintf(path, sizeof path, "%s/other.db", s->folder);
    const struct embedded broken[] = {STEP("0001-a.sql", "CREATE TABLE fact (name TEXT, value TEXT); CREATE NONSENSE"), {NULL, NULL, NULL}};
    assert_null(store_open_with(&(struct store_options){.path = path, .create = true}, broken, NULL));
    assert_int_not_equal(access(path, F_OK), 0);
}

/* The text of the schema keeps its promises: every table STRICT, a unit or meaning in each column's comment is for people. */
static void every_table_is_strict(void **state)
{
    struct scratch *s = *state;
    assert_int_equal(ask(s->path,
                         "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND name NOT LIKE 'sqlite_%'"
                         " AND NOT strict"),
                     0);
    assert_true(ask(s->path, "SELECT count(*) FROM pragma_table_list WHERE strict") > 15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(older_is_copied_then_migrated, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(failing_step_leaves_the_step_before, scratch_open, scratch_close),
        cmocka_unit_test(numbers_must_follow_each_other),
        cmocka_unit_test_setup_teardown(new_club_that_fails_leaves_nothing, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(every_table_is_strict, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
