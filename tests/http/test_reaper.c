/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Slow clients: a total for the head, the body, the pause; none for what waits on our side. Times are short here, and only order is tested.
 */
#include "stand.h"

#include "ground/clock.h"

#include <string.h>
#include <unistd.h>

static struct stand s;
static struct speaker k;
static struct answer a;

/* Sends a byte every 100 ms, which keeps an inactivity timeout away, until the peer closes; true when it did within 4 s. */
static bool dribble(const char *bytes)
{
    int64_t until = clock_monotonic_us() + 4000000;
    for (size_t i = 0; clock_monotonic_us() < until; i++) {
        say_bytes(&k, &bytes[i % strlen(bytes)], 1);
        if (!hears_nothing(&k, 100))
            return hears_end(&k, 1000);
    }
    return false;
}

static void slow_head(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.head_s = 1, .body_s = 60, .idle_s = 60});
    dial_in(&s, &k);
    say(&k, ROUTE("GET /hello") "X-Slow: ");
    assert_true(dribble("a"));
    hang_up(&k);
    dial_in(&s, &k); /* nothing at all */
    assert_true(hears_end(&k, 3000));
    hang_up(&k);
    assert_int_equal(atomic_load(&s.http->figures.connections_reaped), 2);
    stand_down(&s);
}

static void slow_body(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.head_s = 60, .body_s = 1, .spool_s = 1, .idle_s = 60, .spool_dir = "/tmp"});
    dial_in(&s, &k);
    say(&k, ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n");
    assert_true(dribble("x"));
    hang_up(&k);
    dial_in(&s, &k);
    say(&k, ROUTE("POST /weigh") "Content-Type: text/csv\r\nContent-Length: 5000\r\n\r\n");
    assert_true(dribble("x"));
    hang_up(&k);
    assert_int_equal(atomic_load(&s.house.actions), 0);
    stand_down(&s);
}

static void long_pause(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.head_s = 60, .body_s = 60, .idle_s = 1});
    dial_in(&s, &k);
    for (int i = 0; i < 3; i++) { /* short pauses do not add up */
        usleep(500000);
        say(&k, ROUTE("GET /hello") "\r\n");
        assert_true(hear(&k, &a, false));
    }
    assert_true(hears_end(&k, 3000));
    hang_up(&k);
    stand_down(&s);
}

static void waiting_is_not_slow(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.head_s = 1, .body_s = 1, .idle_s = 1});
    dial_in(&s, &k);
    say(&k, ROUTE("GET /later/x") "\r\n");
    stand_wait_held(&s, 1);
    assert_true(hears_nothing(&k, 1700));
    stand_finish_held(&s);
    assert_true(hear(&k, &a, false));
    assert_string_equal(a.body, "finished x");
    hang_up(&k);
    stand_down(&s);
}

/* While slow clients fill their share, an honest one is served. */
static void honest_beside_slow(void **state)
{
    (void)state;
    static struct speaker slow[100];
    stand_up(&s, (struct http_options){.head_s = 2});
    for (int i = 0; i < 100; i++) {
        dial_in(&s, &slow[i]);
        say(&slow[i], "GET /hello HTT");
    }
    for (int i = 0; i < 20; i++) {
        ask(&s, ROUTE("GET /hello"), &a);
        assert_int_equal(a.status, 200);
    }
    for (int i = 0; i < 100; i++) {
        assert_true(hears_end(&slow[i], 5000));
        hang_up(&slow[i]);
    }
    stand_down(&s);
}

/* All connections are taken by clients that say nothing for a while: one with a request gets in soon, and waiting exchanges are left alone. */
static void crowded(void **state)
{
    (void)state;
    static struct speaker silent[30];
    stand_up(&s, (struct http_options){.connections = 32, .head_s = 60, .idle_s = 60});
    dial_in(&s, &k);
    say(&k, ROUTE("GET /later/x") "\r\n");
    stand_wait_held(&s, 1);
    for (int i = 0; i < 30; i++)
        dial_in(&s, &silent[i]);
    for (int i = 0; i < 4; i++) {
        ask(&s, ROUTE("GET /hello"), &a);
        assert_int_equal(a.status, 200);
    }
    usleep(1300000);
    stand_finish_held(&s);
    assert_true(hear(&k, &a, false));
    assert_string_equal(a.body, "finished x");
    hang_up(&k);
    for (int i = 0; i < 30; i++)
        hang_up(&silent[i]);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slow_head),           cmocka_unit_test(slow_body),          cmocka_unit_test(long_pause),
        cmocka_unit_test(waiting_is_not_slow), cmocka_unit_test(honest_beside_slow), cmocka_unit_test(crowded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
