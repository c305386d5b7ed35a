/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Start and stop: what is in hand is answered, what comes new is refused, what nobody finishes does not hold the stop up.
 */
#include "stand.h"

#include "ground/clock.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct stand s;
static struct speaker k, k2;
static struct answer a;
static char text[512];

static void *finish_soon(void *user)
{
    usleep(200000);
    stand_finish_held(user);
    return NULL;
}

static void stop_while_waiting(void **state)
{
    (void)state;
    static struct speaker many[32];
    pthread_t t;
    stand_up(&s, (struct http_options){0});
    for (int i = 0; i < 32; i++) {
        dial_in(&s, &many[i]);
        say(&many[i], ROUTE("PUT /later/x") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
    }
    stand_wait_held(&s, 32);
    dial_in(&s, &k);
    say(&k, ROUTE("GET /hello") "\r\n");
    assert_true(hear(&k, &a, false));
    http_refuse(s.http);
    dial_in(&s, &k2);
    static struct speaker *const late[] = {&k, &k2}; /* an open connection and a new one */
    for (int i = 0; i < 2; i++) {
        say(late[i], ROUTE("GET /hello") "\r\n");
        assert_true(hear(late[i], &a, false));
        assert_int_equal(a.status, 503);
        assert_string_equal(header_of(&a, "Retry-After", text), "2");
        assert_true(hears_end(late[i], 3000));
        hang_up(late[i]);
    }
    assert_int_equal(pthread_create(&t, NULL, finish_soon, &s), 0);
    http_stop(s.http, clock_monotonic_us() + 5000000);
    s.http = NULL;
    pthread_join(t, NULL);
    for (int i = 0; i < 32; i++) {
        assert_true(hear(&many[i], &a, false));
        assert_int_equal(a.status, 200);
        assert_string_equal(a.body, "finished x");
        assert_true(hears_end(&many[i], 1000));
        hang_up(&many[i]);
    }
    stand_down(&s);
}

/* A body whose head was taken before the stop and whose end comes after it. */
static void stop_in_the_middle_of_a_body(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    say(&k, ROUTE("PUT /later/x") "Content-Type: application/json\r\nContent-Length: 4\r\n\r\n{}");
    usleep(100000);
    http_refuse(s.http);
    say(&k, "  ");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 503);
    assert_int_equal(atomic_load(&s.house.actions), 0);
    hang_up(&k);
    stand_down(&s);
}

static void nobody_finishes(void **state)
{
    (void)state;
    struct exchange *held[2];
    stand_up(&s, (struct http_options){.workers = 1});
    dial_in(&s, &k);
    dial_in(&s, &k2);
    say(&k, ROUTE("GET /later/x") "\r\n");
    stand_wait_held(&s, 1);
    say(&k2, ROUTE("GET /later/y") "\r\n");
    stand_wait_held(&s, 2);
    memcpy(held, s.house.held, sizeof held);
    http_stop(s.http, clock_monotonic_us() + 100000);
    s.http = NULL;
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 503);
    assert_non_null(strstr(a.body, "\"stopping\""));
    assert_true(hear(&k2, &a, false));
    assert_int_equal(a.status, 503);
    hang_up(&k);
    hang_up(&k2);
    /* The holders come late: the exchange is still theirs, reply and all. */
    for (int i = 0; i < 2; i++) {
        assert_true(held[i]->request.captures[0][0] == 'x' || held[i]->request.captures[0][0] == 'y');
        buffer_text(&held[i]->reply.body, "too late");
        held[i]->reply.status = 200;
        exchange_finish(held[i]);
    }
    s.house.held_count = 0;
    stand_down(&s);
}

static void *open_gate_soon(void *user)
{
    usleep(400000);
    stand_open_gate(user);
    return NULL;
}

/* A worker in the middle of its action, and questions behind it, when the deadline is over. */
static void workers_at_the_deadline(void **state)
{
    (void)state;
    static struct speaker asking[4];
    pthread_t t;
    stand_up(&s, (struct http_options){.workers = 1, .worker_queue = 8});
    for (int i = 0; i < 4; i++) {
        dial_in(&s, &asking[i]);
        say(&asking[i], ROUTE("GET /gate") "\r\n");
        if (i == 0)
            stand_wait_gate(&s, 1);
    }
    for (int i = 0; atomic_load(&s.http->waiting) < 4 && i < 500; i++)
        usleep(10000);
    assert_int_equal(pthread_create(&t, NULL, open_gate_soon, &s), 0);
    http_stop(s.http, clock_monotonic_us() + 100000);
    s.http = NULL;
    pthread_join(t, NULL);
    for (int i = 0; i < 4; i++) {
        assert_true(hear(&asking[i], &a, false));
        assert_int_equal(a.status, 503);
        hang_up(&asking[i]);
    }
    stand_down(&s);
}

static void stop_under_load(void **state)
{
    (void)state;
    static struct speaker many[16];
    for (int round = 0; round < 5; round++) {
        stand_up(&s, (struct http_options){0});
        stand_finisher(&s);
        for (int i = 0; i < 16; i++) {
            dial_in(&s, &many[i]);
            for (int j = 0; j < 20; j++)
                say(&many[i], j % 2 ? ROUTE("GET /later/x") "\r\n" : ROUTE("GET /file") "\r\n");
        }
        usleep(2000 * (useconds_t)round);
        stand_down(&s);
        for (int i = 0; i < 16; i++) {
            while (hear(&many[i], &a, false)) /* whole replies or none */
                assert_true(a.status == 200 || a.status == 503);
            hang_up(&many[i]);
        }
    }
}

static void stopped_again_and_again(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++) {
        stand_up(&s, (struct http_options){.threads = 1 + i % 3});
        if (i % 2) {
            ask(&s, ROUTE("GET /hello"), &a);
            assert_int_equal(a.status, 200);
        }
        stand_down(&s);
    }
    http_stop(NULL, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(stop_while_waiting), cmocka_unit_test(stop_in_the_middle_of_a_body),
        cmocka_unit_test(nobody_finishes),    cmocka_unit_test(workers_at_the_deadline),
        cmocka_unit_test(stop_under_load),    cmocka_unit_test(stopped_again_and_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
