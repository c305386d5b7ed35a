/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The way of a request: keep-alive, pipelines, exchanges that wait and are finished by other threads, half-closed clients.
 */
#include "stand.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

static struct stand s;
static struct speaker k;
static struct answer a;
static char text[512];

static void what_an_action_sees(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    say(&k, "PUT /echo/a%20b?c=d+e&f HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json; charset=utf-8\r\nIf-Match: \"x\"\r\n"
            "If-Match: \"y\"\r\nContent-Length: 7\r\n\r\n{\"a\":1}");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    assert_string_equal(a.body, "2|/echo/a b|a b|c=d e|f=|{\"a\":1}|application/json|0||\"x\", \"y\"");
    say(&k, ROUTE("GET /echo/x/y") "\r\n"); /* nothing is left of the request before */
    assert_true(hear(&k, &a, false));
    assert_string_equal(a.body, "0|/echo/x/y|x|y|||0||");
    say(&k, ROUTE("HEAD /echo/x/y") "\r\n");
    assert_true(hear(&k, &a, true));
    assert_int_equal(atoi(header_of(&a, "Content-Length", text)), strlen("1|/echo/x/y|x|y|||0||"));
    say(&k, ROUTE("POST /form") "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 7\r\n\r\na=b&c=d");
    assert_true(hear(&k, &a, false));
    assert_string_equal(a.body, "3|/form|a=b&c=d|application/x-www-form-urlencoded|0||");
    hang_up(&k);
    stand_down(&s);
}

static void pipeline(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    stand_finisher(&s);
    dial_in(&s, &k);
    char bytes[300];
    for (int i = 0; i < 100; i++) { /* all kinds mixed: replies come in order */
        if (i % 3 == 0)
            snprintf(bytes, sizeof bytes, ROUTE("GET /echo/n%d") "\r\n", i);
        else if (i % 3 == 1)
            snprintf(bytes, sizeof bytes, ROUTE("PUT /later/n%d") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", i);
        else
            snprintf(bytes, sizeof bytes, ROUTE("GET /nowhere/n%d") "\r\n", i);
        say(&k, bytes);
    }
    for (int i = 0; i < 100; i++) {
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, i % 3 == 2 ? 404 : 200);
        snprintf(bytes, sizeof bytes, i % 3 == 0 ? "0|/echo/n%d|n%d|||0||" : "finished n%d", i, i);
        if (i % 3 != 2)
            assert_string_equal(a.body, bytes);
    }
    hang_up(&k);
    stand_down(&s);
}

static void old_clients(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    say(&k, "GET /hello HTTP/1.0\r\nConnection: keep-alive\r\n\r\n");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    say(&k, "GET /hello HTTP/1.0\r\n\r\n");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    assert_true(hears_end(&k, 3000));
    hang_up(&k);
    stand_down(&s);
}

static void expect_continue(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    say(&k, ROUTE("PUT /echo/a") "Content-Type: application/json\r\nExpect: 100-continue\r\nContent-Length: 2\r\n\r\n");
    while (k.got_n < 25) {
        ssize_t n = recv(k.fd, k.got + k.got_n, sizeof k.got - k.got_n, 0);
        assert_true(n > 0);
        k.got_n += (size_t)n;
    }
    assert_memory_equal(k.got, "HTTP/1.1 100 Continue\r\n\r\n", 25);
    k.got_n = 0;
    say(&k, "{}");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    hang_up(&k);
    stand_down(&s);
}

/* A client may close its sending half right after the request and still wants its answer. (When the end came together with the request,
 * libmicrohttpd 0.9.75 learns of it only from the reaper, when the time for a pause or a body is over.) */
static void half_closed(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.idle_s = 1, .body_s = 1});
    dial_in(&s, &k);
    say(&k, ROUTE("GET /hello") "\r\n");
    shutdown(k.fd, SHUT_WR);
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    assert_true(hears_end(&k, 3000));
    hang_up(&k);
    dial_in(&s, &k);
    say(&k, ROUTE("PUT /later/x") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
    shutdown(k.fd, SHUT_WR);
    stand_wait_held(&s, 1);
    usleep(50000);
    assert_int_equal(stand_finish_held(&s), 1);
    assert_true(hear(&k, &a, false));
    assert_string_equal(a.body, "finished x");
    assert_true(hears_end(&k, 3000));
    hang_up(&k);
    dial_in(&s, &k); /* half a request and half-closed: the end, without a reply or an action */
    int before = atomic_load(&s.house.actions);
    say(&k, ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: 20\r\n\r\n{");
    shutdown(k.fd, SHUT_WR);
    assert_true(hears_end(&k, 3000));
    assert_int_equal(atomic_load(&s.house.actions), before);
    hang_up(&k);
    stand_down(&s);
}

static void gone_while_waiting(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    for (int i = 0; i < 20; i++) {
        dial_in(&s, &k);
        say(&k, ROUTE("PUT /later/x") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
        stand_wait_held(&s, i + 1);
        struct linger now = {1, 0};
        setsockopt(k.fd, SOL_SOCKET, SO_LINGER, &now, sizeof now); /* a reset, not an orderly end */
        hang_up(&k);
    }
    assert_int_equal(stand_finish_held(&s), 20);
    ask(&s, ROUTE("GET /hello"), &a);
    assert_int_equal(a.status, 200);
    stand_down(&s);
}

static void finished_at_once_or_refused(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    for (int i = 0; i < 50; i++) {
        say(&k, ROUTE("GET /later/x?at-once") "\r\n");
        assert_true(hear(&k, &a, false));
        assert_string_equal(a.body, "at once");
        say(&k, ROUTE("GET /later/x?refuse") "\r\n");
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 422);
        assert_non_null(strstr(a.body, "\"outside-dial\""));
    }
    hang_up(&k);
    stand_down(&s);
}

/* 64 clients whose exchanges are finished in groups by one other thread. */
static void *client(void *user)
{
    struct speaker *mine = malloc(sizeof *mine);
    struct answer *b = malloc(sizeof *b);
    intptr_t number = (intptr_t)user, wrong = 0;
    char bytes[300], want[100];
    dial_in(&s, mine);
    for (int i = 0; i < 60; i++) {
        snprintf(bytes, sizeof bytes, ROUTE("PUT /later/c%d-%d") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}",
                 (int)number, i);
        snprintf(want, sizeof want, "finished c%d-%d", (int)number, i);
        say(mine, bytes);
        wrong += !hear(mine, b, false) || b->status != 200 || strcmp(b->body, want) != 0;
    }
    hang_up(mine);
    free(mine);
    free(b);
    return (void *)wrong;
}

static void many_clients(void **state)
{
    (void)state;
    pthread_t threads[64];
    stand_up(&s, (struct http_options){0});
    stand_finisher(&s);
    for (intptr_t i = 0; i < 64; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, client, (void *)i), 0);
    for (int i = 0; i < 64; i++) {
        void *wrong;
        pthread_join(threads[i], &wrong);
        assert_null(wrong);
    }
    assert_int_equal(atomic_load(&s.house.actions), 64 * 60);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_an_action_sees),
        cmocka_unit_test(pipeline),
        cmocka_unit_test(old_clients),
        cmocka_unit_test(expect_continue),
        cmocka_unit_test(half_closed),
        cmocka_unit_test(gone_while_waiting),
        cmocka_unit_test(finished_at_once_or_refused),
        cmocka_unit_test(many_clients),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
