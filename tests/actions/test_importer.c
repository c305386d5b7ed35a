/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What editors and broken transfers do to a file of lines: marks, line ends, blank lines, lines cut or without end. No row beside the spoilt one is lost, wherever
 * the bytes are divided.
 */
#include "actions/importer.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define STOCK(id) "{\"kind\":\"stock\",\"id\":\"" id "\",\"name\":\"" id "\",\"class\":\"type-1\"}"
#define MARK      "\xEF\xBB\xBF"

/* Feeds `text` in pieces of `piece` bytes to a rehearsal, so that each case starts from the same empty club. */
static struct import_counts imported(struct store *s, const char *text, size_t n, size_t piece)
{
    struct import_options o = {.dry_run = true, .now_us = clock_now_us()};
    struct import_counts counts = {0};
    struct fault f = {0};
    struct importer *i = importer_new(s, &o, &f);
    assert_non_null(i);
    for (size_t at = 0; at < n; at += piece)
        assert_true(importer_feed(i, text + at, n - at < piece ? n - at : piece, &f));
    assert_true(importer_finish(i, &f));
    importer_counts(i, &counts);
    importer_free(i);
    return counts;
}

static void marks_and_line_ends(void **state)
{
    static const struct {
        const char *text;
        int accepted, refused;
    } cases[] = {
        {STOCK("a") "\n" STOCK("b") "\n", 2, 0},
        {STOCK("a") "\r\n" STOCK("b"), 2, 0},
        {MARK STOCK("a") "\n" STOCK("b") "\n", 2, 0},
        {MARK "\n" STOCK("a") "\n", 1, 0},
        {STOCK("a") "\n" MARK STOCK("b") "\n", 1, 1}, /* a mark inside is no mark */
        {MARK MARK STOCK("a") "\n" STOCK("b") "\n", 1, 1},
        {"\n \t\r\n\n" STOCK("a") "\n\n", 1, 0},
        {STOCK("a") "\n{\"kind\":\"stock\",\"id\":\"b\",\"na", 1, 1},
        {"[[[[[[[[[[[[[[[[\n" STOCK("a") "\n", 1, 1},
        {"", 0, 0},
        {MARK, 0, 0},
    };
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++)
        for (size_t piece = 1; piece < 8; piece += 2) {
            struct import_counts c = imported(*state, cases[k].text, strlen(cases[k].text), piece);
            assert_int_equal(c.accepted, cases[k].accepted);
            assert_int_equal(c.refused, cases[k].refused);
        }
}

/* A line past the limit is refused as one, and the next line is whole again. */
static void a_line_without_end(void **state)
{
    size_t n = 3 * LIMIT_LINE;
    static const char after[] = "\n" STOCK("a") "\n";
    char *text = malloc(n + sizeof after);
    assert_non_null(text);
    memset(text, '[', n);
    memcpy(text + n, after, sizeof after);
    struct import_counts c = imported(*state, text, n + sizeof after - 1, 65536);
    free(text);
    assert_int_equal(c.accepted, 1);
    assert_int_equal(c.refused, 1);
}

static char folder[] = "/tmp/biasbook-importer-XXXXXX";

static int open_club(void **state)
{
    char path[64];
    struct fault f = {0};
    if (!mkdtemp(folder))
        return -1;
    snprintf(path, sizeof path, "%s/c.db", folder);
    *state = store_open(&(struct store_options){.path = path, .create = true, .must_be_new = true}, &f);
    return *state ? 0 : -1;
}

static int close_club(void **state)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    char path[64];
    store_close(*state);
    for (size_t i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s/c.db%s", folder, ends[i]);
        unlink(path);
    }
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(marks_and_line_ends),
        cmocka_unit_test(a_line_without_end),
    };
    return cmocka_run_group_tests(tests, open_club, close_club);
}
