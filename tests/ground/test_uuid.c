/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * UUIDs against the examples of RFC 9562, and slugs. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/clock.h"
#include "ground/limits.h"
#include "ground/secrets.h"
#include "ground/uuid.h"

#include <string.h>

static void rfc_9562_examples(void **state)
{
    (void)state; /* appendix A.3 (version 4) and A.6 (version 7, 2022-02-22T19:22:22Z) */
    struct uuid u;
    char text[UUID_TEXT];
    assert_true(uuid_parse("919108f7-52d1-4320-9bac-f847db4148a8", &u));
    assert_string_equal(uuid_format(&u, text), "919108f7-52d1-4320-9bac-f847db4148a8");
    assert_true(uuid_parse("017F22E2-79B0-7CC3-98C4-DC0C0C07398F", &u));
    assert_string_equal(uuid_format(&u, text), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
}

static void refused(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "919108f7",
        "{919108f7-52d1-4320-9bac-f847db4148a8}",
        "urn:uuid:919108f7-52d1-4320-9bac-f847db4148a8",
        "919108f752d143209bacf847db4148a8",
        "919108f7-52d1-4320-9bac-f847db4148a",
        "919108f7-52d1-4320-9bac-f847db4148a8 ",
        "919108f7-52d1-4320-9bac-f847db4148ag",
        "919108f7-52d1-1320-9bac-f847db4148a8", /* version 1 */
        "919108f7-52d1-6320-9bac-f847db4148a8", /* version 6 */
        "919108f7-52d1-4320-cbac-f847db4148a8", /* wrong variant */
        "00000000-0000-0000-0000-000000000000",
    };
    struct uuid u = {{1}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        if (uuid_parse(bad[i], &u))
            fail_msg("taken: %s", bad[i]);
    assert_int_equal(u.bytes[0], 1); /* untouched */
}

static void made_ones_are_version_7_and_of_now(void **state)
{
    (void)state;
    assert_true(secrets_start());
    struct uuid before = uuid_make(), u = uuid_make(), again;
    char text[UUID_TEXT];
    assert_true(uuid_parse(uuid_format(&u, text), &again));
    assert_true(uuid_same(&u, &again));
    assert_false(uuid_same(&before, &u));
    assert_int_equal(text[14], '7');
    int64_t ms = 0;
    for (int i = 0; i < 6; i++)
        ms = ms << 8 | u.bytes[i];
    assert_in_range(clock_now_us() / 1000 - ms, 0, 60000);
}

static void slugs(void **state)
{
    (void)state;
    char longest[LIMIT_SLUG + 2];
    memset(longest, 'a', sizeof longest);
    longest[LIMIT_SLUG + 1] = '\0';
    assert_false(slug_valid(longest));
    longest[LIMIT_SLUG] = '\0';
    assert_true(slug_valid(longest));
    assert_true(slug_valid("a"));
    assert_true(slug_valid("7-x-"));
    assert_false(slug_valid(""));
    assert_false(slug_valid("-a"));
    assert_false(slug_valid("A"));
    assert_false(slug_valid("a_b"));
    assert_false(slug_valid("\xC3\xA4"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rfc_9562_examples),
        cmocka_unit_test(refused),
        cmocka_unit_test(made_ones_are_version_7_and_of_now),
        cmocka_unit_test(slugs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
