/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Log lines: one an event, and no value can forge another. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/clock.h"
#include "ground/log.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* What log_line writes, caught through a pipe in place of standard error. */
static char caught[8192];
static int saved, pipe_ends[2];
static void catch_begin(void)
{
    assert_int_equal(pipe(pipe_ends), 0);
    saved = dup(STDERR_FILENO);
    dup2(pipe_ends[1], STDERR_FILENO);
}

static void catch_end(void)
{
    dup2(saved, STDERR_FILENO);
    close(saved);
    close(pipe_ends[1]);
    ssize_t n = read(pipe_ends[0], caught, sizeof caught - 1);
    close(pipe_ends[0]);
    caught[n > 0 ? n : 0] = '\0';
}

static void one_line_with_quotes_where_needed(void **state)
{
    (void)state;
    catch_begin();
    log_line(LOG_WARN, "key refused", "address", "127.0.0.1", "path", "/a b", "empty", "", "none", (char *)NULL, NULL);
    catch_end();
    char *space = strchr(caught, ' ');
    int64_t us;
    assert_true(clock_parse(caught, (size_t)(space - caught), &us, NULL));
    assert_string_equal(space, " warn key refused address=127.0.0.1 path=\"/a b\" empty=\"\" none=\"\"\n");
}

/* U+2028 and U+2029 end a line in some viewers, U+202E and its kin turn what follows round, U+200B, U+FEFF and U+E0041 are not seen. */
static void nothing_can_mislead(void **state)
{
    (void)state;
    catch_begin();
    log_line(LOG_WARN, "x", "v", "a\u2028b\u2029c\u202Ed\u2066e\u200Bf\uFEFFg\U000E0041h\u061Ci \u20AC\u2030\u2027\u2010", NULL);
    catch_end();
    assert_non_null(strstr(caught, "v="
                                   "\"a\\xe2\\x80\\xa8b\\xe2\\x80\\xa9c\\xe2\\x80\\xaed\\xe2\\x81\\xa6e\\xe2\\x80\\x8bf\\xef\\xbb\\xbfg\\xf"
                                   "3\\xa0\\x81\\x81h\\xd8\\x9ci "
                                   "\u20AC\u2030\u2027\u2010\"\n"));
}

static void nothing_can_be_forged(void **state)
{
    (void)state;
    catch_begin();
    log_line(LOG_ERROR, "x", "v",
             "a\n2024 error y \"q\" \\ \x1b[2J \x7f \xC2\x9B \xFF \xE0\x80\x80 \xED\xA0\x80 \xC3\xA4\xE2\x82\xAC\xF0\x9F\x93\xBC", NULL);
    catch_end();
    assert_ptr_equal(strchr(caught, '\n'), caught + strlen(caught) - 1);
    assert_non_null(strstr(caught, "v=\"a\\x0a2024 error y \\\"q\\\" \\\\ \\x1b[2J \\x7f \\xc2\\x9b \\xff \\xe0\\x80\\x80 \\xed\\xa0\\x80 "
                                   "\xC3\xA4\xE2\x82\xAC\xF0\x9F\x93\xBC\"\n"));
}

static void long_lines_are_cut(void **state)
{
    (void)state;
    char value[6000];
    memset(value, 'v', sizeof value - 1);
    value[sizeof value - 1] = '\0';
    catch_begin();
    log_line(LOG_INFO, "x", "a", "1", "v", value, "b", "2", NULL);
    catch_end();
    assert_true(strlen(caught) <= 2048);
    assert_string_equal(caught + strlen(caught) - 4, "...\n");
}

static void level_is_a_threshold(void **state)
{
    (void)state;
    catch_begin();
    log_line(LOG_DEBUG, "hidden", NULL);
    log_set_level(LOG_DEBUG);
    log_line(LOG_DEBUG, "shown", NULL);
    log_set_level(LOG_ERROR);
    log_line(LOG_WARN, "hidden", NULL);
    log_set_level(LOG_INFO);
    catch_end();
    assert_non_null(strstr(caught, " debug shown\n"));
    assert_null(strstr(caught, "hidden"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_line_with_quotes_where_needed),
        cmocka_unit_test(nothing_can_be_forged),
        cmocka_unit_test(nothing_can_mislead),
        cmocka_unit_test(long_lines_are_cut),
        cmocka_unit_test(level_is_a_threshold),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
