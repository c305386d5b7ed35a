/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Two clubs pool what they know: each has rows of its own and some in common, they send each other what they have, in both directions, twice. In the end both hold the
 * same rows and say the same. BIASBOOK_ROWS sets how many rows each club has (1,000; the long checks use 10,000), of which three in ten are common.
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

#define DECKS  6
#define STOCKS 10
#define ROOM   (16u << 20)
static char *text; /* what a verb printed */

static int rows_wanted(void)
{
    const char *asked = getenv("BIASBOOK_ROWS");
    int n = asked ? (int)strtol(asked, NULL, 10) : 0;
    return n > 0 ? n : 1000;
}

#define VERB(...) run_verb((const char *const[]){__VA_ARGS__, NULL}, text, ROOM)

static double noise(unsigned n) /* a function of n, about ±1 */
{
    n ^= n >> 16, n *= 0x7feb352du, n ^= n >> 15, n *= 0x846ca68bu, n ^= n >> 16;
    return (double)n / 2147483648.0 - 1;
}

static void write_catalog(const char *path)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    for (int i = 0; i < DECKS; i++)
        fprintf(f,
                "{\"kind\":\"deck\",\"id\":\"deck-%d\",\"name\":\"Deck "
                "%d\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":-8,\"high\":8,\"step\":0.1,\"scale\":\"db\","
                "\"db_per_unit\":0.5},\"level_dial\":{\"low\":-8,\"high\":8,\"step\":0.1,\"scale\":\"db\",\"db_per_unit\":0.5},\"origin\":"
                "\"club-c\"}\n",
                i, i);
    for (int i = 0; i < STOCKS; i++)
        fprintf(f, "{\"kind\":\"stock\",\"id\":\"stock-%d\",\"name\":\"Stock %d\",\"class\":\"type-%d\",\"origin\":\"club-c\"}\n", i, i,
                1 + i % 2);
    fclose(f);
}

static void write_rows(const char *path, unsigned first, int count, const char *member, const char *more)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    for (unsigned n = first; n < first + (unsigned)count; n++) {
        char id[37];
        int deck = (int)(n * 7 % DECKS), stock = (int)(n / 3 * 11 % STOCKS);
        uuid_of(n, id);
        fprintf(f,
                "{\"kind\":\"calibration\",\"id\":\"%s\",\"deck\":\"deck-%d\",\"stock\":\"stock-%d\",\"made_at\":\"202%u-%02u-%02uT%02u:00:"
                "00Z\",\"bias\":%.1f,"
                "\"level\":%.1f,\"low_db\":%.1f,\"high_db\":%.1f,\"member\":\"%s\"%s}\n",
                id, deck, stock, n % 5, 1 + n / 5 % 12, 1 + n / 60 % 28, n % 24, deck - 2 + stock * 0.3 + noise(n),
                0.5 * deck - stock * 0.2 + noise(n + 77777), 0.3 * noise(n + 1000000), 0.5 * noise(n + 2000000), member, more);
    }
    fclose(f);
}

static void must_import(const char *db, const char *file, json_int_t accepted, json_int_t same)
{
    if (VERB("import", "--db", db, file))
        fail_msg("%s into %s: %.2000s", file, db, text);
    json_t *j = json_loads(text, 0, NULL);
    assert_non_null(j);
    if (accepted >= 0)
        assert_int_equal(json_integer_value(json_object_get(j, "accepted")), accepted);
    if (same >= 0)
        assert_int_equal(json_integer_value(json_object_get(j, "same")), same);
    assert_int_equal(json_integer_value(json_object_get(j, "refused")), 0);
    json_decref(j);
}

static void export_to(const char *db, const char *file)
{
    assert_int_equal(VERB("export", "--db", db, "--exchange"), 0);
    FILE *f = fopen(file, "w");
    assert_non_null(f);
    fputs(text, f);
    fclose(f);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The lines without the end line, sorted: they come in the order in which a club got them. */
static char **sorted_lines(const char *db, size_t *count)
{
    assert_int_equal(VERB("export", "--db", db, "--exchange"), 0);
    char *copy = strdup(text), *save = NULL;
    char **lines = calloc(200000, sizeof *lines);
    *count = 0;
    for (char *l = strtok_r(copy, "\n", &save); l; l = strtok_r(NULL, "\n", &save))
        if (!strstr(l, "\"kind\":\"end\""))
            lines[(*count)++] = strdup(l);
    free(copy);
    qsort(lines, *count, sizeof *lines, by_text);
    return lines;
}

static json_t *suggestion(const char *db, const char *deck, const char *stock)
{
    if (VERB("suggest", "--db", db, "--deck", deck, "--stock", stock, "--at", "2026-01-01T00:00:00Z", "--json"))
        fail_msg("suggest: %s", text);
    json_t *j = json_loads(text, 0, NULL);
    assert_non_null(j);
    return j;
}

static double at(json_t *j, const char *one, const char *two)
{
    json_t *v = json_object_get(json_object_get(j, one), two);
    assert_true(json_is_number(v));
    return json_number_value(v);
}

static void both_hold_and_say_the_same(void **state)
{
    (void)state;
    char *a = strdup(scratch_path("a.db")), *b = strdup(scratch_path("b.db")), *file = strdup(scratch_path("rows.ndjson"));
    char *catalog = strdup(scratch_path("catalog.ndjson")), *common = strdup(scratch_path("common.ndjson"));
    int rows = rows_wanted(), shared = rows * 3 / 10, own = rows - shared;
    assert_int_equal(VERB("init", "--db", a), 0);
    assert_int_equal(VERB("init", "--db", b), 0);
    write_catalog(catalog);
    write_rows(common, 1, shared, "Cora", ",\"origin\":\"club-c\"");
    must_import(a, catalog, DECKS + STOCKS, 0);
    must_import(b, catalog, DECKS + STOCKS, 0);
    must_import(a, common, shared, 0);
    must_import(b, common, shared, 0);
    write_rows(file, 100001, own, "Anna", "");
    must_import(a, file, own, 0);
    write_rows(file, 200001, own, "Bert", "");
    must_import(b, file, own, 0);

    export_to(a, file);
    must_import(b, file, own, DECKS + STOCKS + shared);
    export_to(b, file);
    must_import(a, file, own, DECKS + STOCKS + shared + own);
    export_to(a, file); /* and again: nothing is new */
    must_import(b, file, 0, DECKS + STOCKS + shared + 2 * own);
    export_to(b, file);
    must_import(a, file, 0, DECKS + STOCKS + shared + 2 * own);

    size_t in_a, in_b;
    char **of_a = sorted_lines(a, &in_a), **of_b = sorted_lines(b, &in_b);
    assert_int_equal(in_a, DECKS + STOCKS + shared + 2 * own);
    assert_int_equal(in_a, in_b);
    for (size_t i = 0; i < in_a; i++) {
        assert_string_equal(of_a[i], of_b[i]);
        free(of_a[i]), free(of_b[i]);
    }
    free(of_a), free(of_b);

    for (int deck = 0; deck < 2; deck++)
        for (int stock = 0; stock < STOCKS; stock += 4) {
            char d[20], s[20];
            snprintf(d, sizeof d, "deck-%d", deck);
            snprintf(s, sizeof s, "stock-%d", stock);
            json_t *x = suggestion(a, d, s), *y = suggestion(b, d, s);
            static const char *const what[] = {"db", "se_db", "dial"};
            for (int i = 0; i < 3; i++) {
                assert_true(fabs(at(x, "bias", what[i]) - at(y, "bias", what[i])) < 1e-4);
                assert_true(fabs(at(x, "level", what[i]) - at(y, "level", what[i])) < 1e-4);
            }
            assert_int_equal((int)at(x, "basis", "club"), (int)at(y, "basis", "club"));
            assert_int_equal((int)at(x, "basis", "members"), (int)at(y, "basis", "members"));
            json_decref(x), json_decref(y);
        }
    assert_int_equal(VERB("check", "--db", a), 0);
    assert_int_equal(VERB("check", "--db", b), 0);
    free(a), free(b), free(file), free(catalog), free(common);
}

/* Voids, corrections and undone voids travel too, whichever way the files go. */
static void changes_travel(void **state)
{
    (void)state;
    char *a = strdup(scratch_path("va.db")), *b = strdup(scratch_path("vb.db")), *file = strdup(scratch_path("v.ndjson")), id[37],
         path[120];
    assert_int_equal(VERB("init", "--db", a), 0);
    assert_int_equal(VERB("init", "--db", b), 0);
    write_catalog(file);
    must_import(a, file, -1, -1);
    write_rows(file, 1, 5, "Anna", "");
    must_import(a, file, 5, 0);
    export_to(a, file);
    must_import(b, file, DECKS + STOCKS + 5, 0);

    struct daemon d;
    daemon_start(&d, (const char *const[]){"serve", "--db", a, "--open", "--listen", "127.0.0.1:0", NULL});
    uuid_of(2, id);
    snprintf(path, sizeof path, "/api/calibrations/%s/void", id);
    EXPECT(200, &d, "POST", path, "{\"reason\":\"wrong tape\"}");
    export_to(a, file);
    must_import(b, file, 1, -1);
    export_to(b, file); /* back: nothing new */
    must_import(a, file, 0, -1);
    snprintf(path, sizeof path, "/api/calibrations/%s/undo", id);
    EXPECT(200, &d, "POST", path, NULL);
    export_to(b, file); /* B does not know of it yet: its void is the older state and must not win */
    must_import(a, file, 0, -1);
    export_to(a, file);
    must_import(b, file, 1, -1);
    assert_int_equal(daemon_stop(&d), 0);
    size_t in_a, in_b;
    char **of_a = sorted_lines(a, &in_a), **of_b = sorted_lines(b, &in_b);
    assert_int_equal(in_a, in_b);
    for (size_t i = 0; i < in_a; i++) {
        assert_string_equal(of_a[i], of_b[i]);
        assert_null(strstr(of_a[i], "\"void\""));
        free(of_a[i]), free(of_b[i]);
    }
    free(of_a), free(of_b), free(a), free(b), free(file);
}

static json_t *import_json(const char *db, const char *file, const char *conflict, int status)
{
    if (conflict)
        assert_int_equal(VERB("import", "--db", db, "--on-conflict", conflict, file), status);
    else
        assert_int_equal(VERB("import", "--db", db, "--dry-run", file), status);
    json_t *j = json_loads(text, 0, NULL);
    assert_non_null(j);
    return j;
}

static int count_at(json_t *j, const char *kind, const char *what)
{
    return (int)json_integer_value(json_object_get(json_object_get(json_object_get(j, "kinds"), kind), what));
}

/* The same id for another deck: nothing is read by the wrong dials. */
static void same_id_other_content(void **state)
{
    (void)state;
    char *a = strdup(scratch_path("ca.db")), *b = strdup(scratch_path("cb.db")), *file = strdup(scratch_path("c.ndjson")),
         *own = strdup(scratch_path("own.ndjson"));
    assert_int_equal(VERB("init", "--db", a), 0);
    assert_int_equal(VERB("init", "--db", b), 0);
    FILE *f = fopen(own, "w");
    fputs("{\"kind\":\"deck\",\"id\":\"deck-1\",\"name\":\"Quite "
          "another\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":0,\"high\":100,\"scale\":\"percent\",\"zero\":50}}\n",
          f);
    fclose(f);
    must_import(b, own, 1, 0);
    write_catalog(file);
    must_import(a, file, -1, -1);
    write_rows(file, 1, 24, "Anna", "");
    must_import(a, file, 24, 0);
    export_to(a, file);

    json_t *j = import_json(b, file, NULL, 1); /* a dry run tells it */
    assert_int_equal(count_at(j, "deck", "refused"), 1);
    assert_int_equal(count_at(j, "deck", "accepted"), DECKS - 1);
    assert_int_equal(count_at(j, "calibration", "refused"), 4); /* n·7 mod 6 = 1 */
    assert_int_equal(count_at(j, "calibration", "accepted"), 20);
    assert_true(json_is_true(json_object_get(j, "complete")));
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(j, "errors"), 0), "code")), "other-content");
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(j, "errors"), 1), "code")), "not-settled");
    json_decref(j);

    j = import_json(b, file, "keep", 1); /* ours has no level dial and no negative readings: its rows do not fit, which is told by field */
    assert_int_equal(json_integer_value(json_object_get(j, "kept")), 1);
    assert_int_equal(count_at(j, "deck", "refused"), 0);
    assert_int_equal(count_at(j, "calibration", "refused"), 4);
    json_decref(j);
    j = import_json(b, file, "take", 0);
    assert_int_equal(count_at(j, "deck", "accepted"), 1);
    assert_int_equal(count_at(j, "calibration", "accepted"), 4);
    json_decref(j);
    j = import_json(b, file, "ask", 0); /* now it is settled */
    assert_int_equal(count_at(j, "deck", "same"), DECKS);
    assert_int_equal(count_at(j, "calibration", "same"), 24);
    json_decref(j);
    free(a), free(b), free(file), free(own);
}

static json_t *import_as(const char *db, const char *file, const char *conflict, const char *names, int status)
{
    int got = VERB("import", "--db", db, "--on-conflict", conflict, "--as", names, file);
    if (got != status)
        fail_msg("--as %s: %d %.2000s", names, got, text);
    return status == 2 ? NULL : json_loads(text, 0, NULL);
}

static int rows_on(const char *db, const char *deck)
{
    assert_int_equal(VERB("export", "--db", db), 0);
    char wanted[100];
    snprintf(wanted, sizeof wanted, "\"deck\":\"%s\"", deck);
    int n = 0;
    for (const char *p = text; (p = strstr(p, wanted)); p++)
        n++;
    return n;
}

/* Theirs comes in under a free id, or goes to the one that is the same thing here, in both directions. */
static void theirs_under_another_id(void **state)
{
    (void)state;
    char *a = strdup(scratch_path("na.db")), *b = strdup(scratch_path("nb.db")), *file = strdup(scratch_path("n.ndjson")),
         *own = strdup(scratch_path("n-own.ndjson"));
    assert_int_equal(VERB("init", "--db", a), 0);
    assert_int_equal(VERB("init", "--db", b), 0);
    FILE *f = fopen(own, "w");
    fputs(
        "{\"kind\":\"deck\",\"id\":\"deck-1\",\"name\":\"Quite another\",\"medium\":\"cassette\",\"bias_dial\":{\"low\":0,\"high\":100,"
        "\"scale\":\"percent\",\"zero\":50}}\n"
        "{\"kind\":\"stock\",\"id\":\"our-name\",\"name\":\"The third\",\"class\":\"type-2\"}\n"
        "{\"kind\":\"calibration\",\"id\":\"0190a3de-2222-7def-8123-000000000001\",\"deck\":\"deck-1\",\"stock\":\"our-name\",\"made_at\":"
        "\"2024-03-01T19:00:00Z\",\"bias\":55}\n",
        f);
    fclose(f);
    must_import(b, own, 3, 0);
    write_catalog(file);
    must_import(a, file, -1, -1);
    write_rows(file, 1, 60, "Anna", "");
    must_import(a, file, 60, 0);
    export_to(a, file);
    int on_one = rows_on(a, "deck-1");
    assert_true(on_one >= 4);

    import_as(b, file, "ask", "deck:deck-1", 2); /* what is no name ends it before anything is read */
    import_as(b, file, "ask", "tape:a=b", 2);
    import_as(b, file, "ask", "deck:a=B", 2);
    import_as(b, file, "ask", "deck:a=b,deck:a=c", 2);
    import_as(b, file, "ask", "stock:=b", 2);
    json_t *j = import_as(b, file, "ask", "deck:deck-1=their-deck-1,stock:stock-3=our-name", 1);
    assert_int_equal(count_at(j, "stock", "refused"), 1); /* asked about under the name it has here */
    assert_int_equal(count_at(j, "deck", "accepted"), DECKS);
    assert_int_equal((int)json_integer_value(json_object_get(json_object_get(j, "as"), "deck:deck-1")), 1 + on_one);
    json_decref(j);
    json_decref(import_as(b, file, "keep", "deck:deck-1=their-deck-1,stock:stock-3=our-name", 0));
    assert_int_equal(rows_on(b, "their-deck-1"), on_one);
    assert_int_equal(rows_on(b, "deck-1"), 1);
    assert_int_equal(VERB("export", "--db", b), 0);
    assert_null(strstr(text, "\"stock-3\""));

    /* Again it is all there already; without the names it is asked about again and nothing is changed. */
    j = import_as(b, file, "keep", "deck:deck-1=their-deck-1,stock:stock-3=our-name,deck:nobody-has=x", 0);
    assert_int_equal(json_integer_value(json_object_get(j, "accepted")), 0);
    assert_int_equal(count_at(j, "calibration", "same"), 60);
    assert_int_equal((int)json_integer_value(json_object_get(json_object_get(j, "as"), "deck:nobody-has")), 0);
    json_decref(j);
    j = import_json(b, file, NULL, 1);
    assert_int_equal(count_at(j, "calibration", "accepted"), 0);
    json_decref(j);

    /* On the way back the first club says the same the other way round, and holds what it sent; the other's own deck comes under a free id. */
    export_to(b, file);
    j = import_as(a, file, "keep", "deck:deck-1=deck-1-there,deck:their-deck-1=deck-1,stock:our-name=stock-3", 0);
    assert_int_equal(count_at(j, "deck", "accepted"), 1);
    assert_int_equal(count_at(j, "calibration", "accepted"), 1);
    json_decref(j);
    assert_int_equal(rows_on(a, "deck-1"), on_one);
    assert_int_equal(rows_on(a, "deck-1-there"), 1);
    free(a), free(b), free(file), free(own);
}

/* Selections and pseudonyms. */
static void what_is_sent(void **state)
{
    (void)state;
    char *a = strdup(scratch_path("sa.db")), *file = strdup(scratch_path("s.ndjson"));
    assert_int_equal(VERB("init", "--db", a), 0);
    write_catalog(file);
    must_import(a, file, -1, -1);
    write_rows(file, 1, 60, "Anna", "");
    must_import(a, file, 60, 0);
    assert_int_equal(VERB("export", "--db", a, "--exchange", "--members", "pseudonyms", "--deck", "deck-2"), 0);
    assert_null(strstr(text, "Anna"));
    assert_null(strstr(text, "\"deck-1\""));
    assert_non_null(strstr(text, "\"id\":\"deck-2\""));
    char *first = strstr(text, "\"member\":\"member-"), *again, pseudonym[40];
    assert_non_null(first);
    snprintf(pseudonym, sizeof pseudonym, "%.30s", first);
    for (again = first; (again = strstr(again, "\"member\":")); again++)
        assert_memory_equal(again, pseudonym, 29);
    assert_int_equal(VERB("export", "--db", a, "--exchange", "--members", "pseudonyms"), 0);
    assert_non_null(strstr(text, pseudonym)); /* stable */
    assert_int_equal(VERB("export", "--db", a, "--members", "none", "--since", "2023-01-01T00:00:00Z"), 0);
    assert_null(strstr(text, "\"member\""));
    assert_null(strstr(text, "\"made_at\":\"2022"));
    assert_non_null(strstr(text, "\"made_at\":\"2023"));
    assert_int_equal(VERB("export", "--db", a, "--deck", "nowhere"), 1);
    free(a), free(file);
}

int main(void)
{
    text = malloc(ROOM);
    const struct CMUnitTest tests[] = {cmocka_unit_test(what_is_sent), cmocka_unit_test(changes_travel),
                                       cmocka_unit_test(same_id_other_content), cmocka_unit_test(theirs_under_another_id),
                                       cmocka_unit_test(both_hold_and_say_the_same)};
    int status = cmocka_run_group_tests(tests, NULL, NULL);
    free(text);
    return status;
}
