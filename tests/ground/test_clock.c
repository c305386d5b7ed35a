/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Instants against RFC 3339's own examples, the C library's calendar, and round trips. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/clock.h"

#include <math.h>
#include <string.h>
#include <time.h>

static int64_t at(const char *text)
{
    int64_t us = CLOCK_NONE;
    assert_true(clock_parse(text, strlen(text), &us, NULL));
    return us;
}

static void rfc_3339_examples(void **state)
{
    (void)state; /* RFC 3339, 5.8 */
    assert_int_equal(at("1985-04-12T23:20:50.52Z"), 482196050520000LL);
    assert_int_equal(at("1996-12-19T16:39:57-08:00"), at("1996-12-20T00:39:57Z"));
    assert_int_equal(at("1990-12-31T23:59:60Z"), at("1990-12-31T23:59:59.999999Z"));
    assert_int_equal(at("1990-12-31T15:59:60-08:00"), at("1990-12-31T23:59:60Z"));
    assert_int_equal(at("1937-01-01T12:00:27.87+00:20"), at("1937-01-01T11:40:27.87Z"));
    assert_int_equal(at("1970-01-01t00:00:00z"), 0);
    assert_int_equal(at("1970-01-01 00:00:00.0000009Z"), 0);
}

static void refused(void **state)
{
    (void)state;
    static const char *const bad[] = {
        "",
        "2024-03-01",
        "2024-03-01T19:00:00",
        "2024-03-01T19:00Z",
        "2024-02-30T00:00:00Z",
        "2023-02-29T00:00:00Z",
        "1900-02-29T00:00:00Z",
        "2024-13-01T00:00:00Z",
        "2024-00-01T00:00:00Z",
        "2024-01-00T00:00:00Z",
        "2024-01-01T24:00:00Z",
        "2024-01-01T00:60:00Z",
        "2024-01-01T00:00:61Z",
        "2024-01-01T00:00:00.Z",
        "2024-01-01T00:00:00+24:00",
        "2024-01-01T00:00:00+01:60",
        "2024-01-01T00:00:00+0100",
        "2024-01-01T00:00:00+01",
        "1899-12-31T23:59:59Z",
        "1900-01-01T00:00:00+01:00",
        "9999-12-31T23:59:59-01:00",
        "2024-01-01T00:00:00Zx",
        "24-01-01T00:00:00Z",
        "+024-01-01T00:00:00Z",
        "2024-01-01_00:00:00Z",
        "2024-01-01T00:00:00,5Z",
        " 2024-01-01T00:00:00Z",
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        int64_t us;
        if (clock_parse(bad[i], strlen(bad[i]), &us, NULL))
            fail_msg("taken: %s", bad[i]);
    }
    int64_t us;
    assert_false(clock_parse("2024-01-01T00:00:00Z", 19, &us, NULL)); /* the length counts, not the NUL */
}

static void written_as_read(void **state)
{
    (void)state;
    static const char *const same[] = {
        "2024-03-01T19:00:00+01:00", "2024-02-29T23:59:59.999999Z", "1900-01-01T00:00:00Z",
        "9999-12-31T23:59:59Z",      "2024-01-01T00:00:00.5-11:30", "2000-02-29T12:00:00.000001+14:00",
    };
    for (size_t i = 0; i < sizeof same / sizeof *same; i++) {
        char out[CLOCK_TEXT];
        int64_t us;
        int offset;
        assert_true(clock_parse(same[i], strlen(same[i]), &us, &offset));
        assert_string_equal(clock_format(us, offset, out), same[i]);
    }
    char out[CLOCK_TEXT];
    assert_string_equal(clock_format(CLOCK_NONE, 0, out), "");
    assert_string_equal(clock_format_date(CLOCK_NONE, out), "");
}

static void every_day_agrees_with_the_c_library(void **state)
{
    (void)state;
    for (int64_t day = -25567; day < 100000; day++) { /* 1900 to 2243 */
        char out[CLOCK_TEXT], theirs[CLOCK_TEXT];
        time_t t = (time_t)(day * 86400 + 1);
        struct tm tm;
        gmtime_r(&t, &tm);
        strftime(theirs, sizeof theirs, "%Y-%m-%d", &tm);
        assert_string_equal(clock_format_date((day * 86400 + 1) * 1000000, out), theirs);
        clock_format((day * 86400 + 1) * 1000000, 0, out);
        assert_int_equal(at(out), (day * 86400 + 1) * 1000000);
    }
}

static void durations(void **state)
{
    (void)state;
    assert_true(fabs(clock_years_between(at("2020-01-01T00:00:00Z"), at("2024-01-01T00:00:00Z")) - 4) < 1e-9); /* 1461 days */
    int64_t a = clock_monotonic_us(), b = clock_monotonic_us();
    assert_true(b >= a);
    assert_true(clock_now_us() > at("2024-01-01T00:00:00Z"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rfc_3339_examples), cmocka_unit_test(refused),
        cmocka_unit_test(written_as_read),   cmocka_unit_test(every_day_agrees_with_the_c_library),
        cmocka_unit_test(durations),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
