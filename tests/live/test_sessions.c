/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Sessions: opened, found, over by time, bounded in all and a key.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "ground/memory.h"
#include "ground/secrets.h"
#include "live/sessions.h"

#define SECOND 1000000LL

static void opened_found_ended(void **state)
{
    (void)state;
    struct sessions *s = sessions_new();
    char one[SESSION_TEXT], two[SESSION_TEXT], wrong[SESSION_TEXT];
    assert_int_equal(sessions_key(s, "bs1_nothing", 0), 0);
    assert_true(sessions_open(s, 7, 0, one));
    assert_true(sessions_open(s, 8, 0, two));
    assert_true(session_shape(one));
    assert_false(key_shape(one)); /* a token is never taken for a key */
    assert_string_not_equal(one, two);
    assert_int_equal(sessions_key(s, one, SECOND), 7);
    assert_int_equal(sessions_key(s, two, SECOND), 8);
    memcpy(wrong, one, sizeof wrong);
    wrong[20] = wrong[20] == 'x' ? 'y' : 'x';
    assert_int_equal(sessions_key(s, wrong, SECOND), 0);
    sessions_end(s, wrong);
    sessions_end(s, one);
    assert_int_equal(sessions_key(s, one, SECOND), 0);
    assert_int_equal(sessions_key(s, two, SECOND), 8);
    sessions_free(s);
    sessions_free(NULL);
}

static void over_by_time(void **state)
{
    (void)state;
    struct sessions *s = sessions_new();
    char idle[SESSION_TEXT], busy[SESSION_TEXT];
    assert_true(sessions_open(s, 1, 0, idle));
    assert_true(sessions_open(s, 1, 0, busy));
    int64_t step = LIMIT_SESSION_IDLE_SECONDS * SECOND, now = 0;
    while (now + step <= LIMIT_SESSION_SECONDS * SECOND) {
        now += step; /* used just in time, again and again */
        assert_int_equal(sessions_key(s, busy, now), 1);
    }
    assert_int_equal(sessions_key(s, idle, now), 0);
    assert_int_equal(sessions_key(s, busy, LIMIT_SESSION_SECONDS * SECOND + 1), 0);
    sessions_free(s);
}

static void bounded(void **state)
{
    (void)state;
    struct sessions *s = sessions_new();
    static char tokens[LIMIT_SESSIONS + 1][SESSION_TEXT];
    /* many with one key: its own oldest goes, others stay */
    char other[SESSION_TEXT];
    assert_true(sessions_open(s, 99, 0, other));
    for (int i = 0; i <= LIMIT_KEY_SESSIONS; i++)
        assert_true(sessions_open(s, 1, 1 + i, tokens[i]));
    assert_int_equal(sessions_key(s, other, 100), 99);
    assert_int_equal(sessions_key(s, tokens[0], 100), 0);
    assert_int_equal(sessions_key(s, tokens[1], 100), 1);
    assert_int_equal(sessions_key(s, tokens[LIMIT_KEY_SESSIONS], 100), 1);
    sessions_free(s);
    /* many in all: the one unused for longest goes */
    s = sessions_new();
    for (int i = 0; i < LIMIT_SESSIONS; i++)
        assert_true(sessions_open(s, 1000 + i, 10 + i, tokens[i]));
    assert_int_equal(sessions_key(s, tokens[0], 5000), 1000); /* used: no longer the oldest */
    assert_true(sessions_open(s, 5, 6000, tokens[LIMIT_SESSIONS]));
    assert_int_equal(sessions_key(s, tokens[0], 6001), 1000);
    assert_int_equal(sessions_key(s, tokens[1], 6001), 0);
    assert_int_equal(sessions_key(s, tokens[LIMIT_SESSIONS], 6001), 5);
    sessions_free(s);
    assert_int_equal(mem_alive(), 0);
}

static void without_memory(void **state)
{
    (void)state;
    char token[SESSION_TEXT];
    mem_fail_at(1, 0);
    assert_null(sessions_new());
    struct sessions *s = sessions_new();
    mem_fail_at(1, 0);
    assert_false(sessions_open(s, 1, 0, token));
    assert_true(sessions_open(s, 1, 0, token));
    sessions_free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(opened_found_ended), cmocka_unit_test(over_by_time), cmocka_unit_test(bounded),
                                       cmocka_unit_test(without_memory)};
    if (!secrets_start())
        return 1;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
