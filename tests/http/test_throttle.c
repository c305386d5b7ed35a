/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Wrong keys are counted by address, for a while, in a bounded table. RFC 4291: an IPv6 customer holds at least a /64; 2.5.5.2: mapped IPv4.
 */
#include "stand.h"

#include <stdio.h>

#define SECOND 1000000LL

static enum throttle_says wrong(struct throttle *t, const char *address, int64_t now_us, int times)
{
    enum throttle_says says = THROTTLE_FINE;
    for (int i = 0; i < times; i++)
        says = throttle_wrong(t, address, now_us);
    return says;
}

static void counted_by_address(void **state)
{
    (void)state;
    struct throttle *t = throttle_new();
    assert_int_equal(wrong(t, "192.0.2.1", 0, LIMIT_WRONG_KEYS), THROTTLE_FINE);
    assert_int_equal(wrong(t, "192.0.2.2", 0, 1), THROTTLE_FINE);
    assert_int_equal(wrong(t, "192.0.2.1", SECOND, 1), THROTTLE_FIRST_TOO_MANY); /* said once, for the log */
    assert_int_equal(wrong(t, "192.0.2.1", SECOND, 1), THROTTLE_TOO_MANY);
    assert_int_equal(wrong(t, "192.0.2.2", SECOND, 1), THROTTLE_FINE);
    assert_int_equal(wrong(t, "unix", SECOND, 1), THROTTLE_FINE);
    assert_int_equal(wrong(t, "192.0.2.1", (LIMIT_WRONG_KEY_SECONDS + 1) * SECOND, 1), THROTTLE_FINE); /* forgotten */
    throttle_free(t);
    throttle_free(NULL);
}

static void a_network_of_version_6_is_one(void **state)
{
    (void)state;
    struct throttle *t = throttle_new();
    char address[64];
    for (int i = 0; i < LIMIT_WRONG_KEYS; i++) {
        snprintf(address, sizeof address, "2001:db8:0:1::%x", i + 1);
        assert_int_equal(throttle_wrong(t, address, 0), THROTTLE_FINE);
    }
    assert_int_equal(wrong(t, "2001:db8:0:1:ffff::1", 0, 1), THROTTLE_FIRST_TOO_MANY);
    assert_int_equal(wrong(t, "2001:db8:0:2::1", 0, 1), THROTTLE_FINE);
    /* an IPv4 address is the same however it is written, and two of them are two */
    assert_int_equal(wrong(t, "192.0.2.9", 0, LIMIT_WRONG_KEYS), THROTTLE_FINE);
    assert_int_equal(wrong(t, "::ffff:192.0.2.9", 0, 1), THROTTLE_FIRST_TOO_MANY);
    assert_int_equal(wrong(t, "::ffff:192.0.2.8", 0, 1), THROTTLE_FINE);
    throttle_free(t);
}

static void the_oldest_gives_way(void **state)
{
    (void)state;
    struct throttle *t = throttle_new();
    char address[64];
    wrong(t, "192.0.2.1", 0, LIMIT_WRONG_KEYS + 5);
    for (int i = 1; i < LIMIT_WRONG_KEY_ADDRESSES; i++) {
        snprintf(address, sizeof address, "10.0.%d.%d", i / 250, 1 + i % 250);
        assert_int_equal(throttle_wrong(t, address, i), THROTTLE_FINE);
    }
    assert_int_equal(wrong(t, "192.0.2.1", 5000, 1), THROTTLE_TOO_MANY); /* full, and still known */
    assert_int_equal(wrong(t, "198.51.100.1", 5001, 1), THROTTLE_FINE);  /* one more: the oldest is forgotten */
    assert_int_equal(wrong(t, "192.0.2.1", 5002, 1), THROTTLE_FINE);
    throttle_free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(counted_by_address), cmocka_unit_test(a_network_of_version_6_is_one),
                                       cmocka_unit_test(the_oldest_gives_way)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
