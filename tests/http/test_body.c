/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Bodies: in memory up to the route's limit, uploads in a file, however they arrive.
 */
#include "stand.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct stand s;
static struct speaker k;
static struct answer a;
static char bytes[3000000], text[300];

static void put(size_t n, size_t step)
{
    snprintf(text, sizeof text, ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: %zu\r\n\r\n", n);
    say(&k, text);
    for (size_t i = 0; i < n; i += step)
        say_bytes(&k, bytes + i, n - i < step ? n - i : step);
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
}

static void in_memory(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    dial_in(&s, &k);
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (char)('a' + i % 26);
    static const size_t sizes[] = {0, 1, 2, 1000, 4096, 30000, 60000};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++)
        for (size_t step = 100; step <= 100000; step *= 31) {
            put(sizes[i], step);
            assert_memory_equal(a.body, "2|/echo/a|a|", 12);
            assert_memory_equal(a.body + 12, bytes, sizes[i]);
            assert_int_equal(a.body[12 + sizes[i]], '|');
        }
    put(LIMIT_BODY_RECORD, 20000); /* the largest; one byte more is refused from the head (test_checks) */
    hang_up(&k);
    stand_down(&s);
}

static void weigh(size_t n, size_t step)
{
    long sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (unsigned char)bytes[i];
    snprintf(text, sizeof text, ROUTE("POST /weigh") "Content-Type: text/csv\r\nContent-Length: %zu\r\n\r\n", n);
    say(&k, text);
    for (size_t i = 0; i < n; i += step)
        say_bytes(&k, bytes + i, n - i < step ? n - i : step);
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 200);
    snprintf(text, sizeof text, "%zu %ld", n, sum);
    assert_string_equal(a.body, text);
}

static void in_a_file(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.spool_dir = "/tmp"});
    dial_in(&s, &k);
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (char)(i * 7);
    weigh(sizeof bytes, 100000);
    weigh(5, 1);
    weigh(0, 1);
    weigh(70000, 3000);
    hang_up(&k);
    stand_down(&s);
}

static void no_room_for_a_file(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.spool_dir = "/nonexistent"});
    dial_in(&s, &k);
    say(&k, ROUTE("POST /weigh") "Content-Type: text/csv\r\nContent-Length: 5\r\n\r\n");
    assert_true(hear(&k, &a, false));
    assert_int_equal(a.status, 503);
    assert_non_null(strstr(a.body, "\"no-space\""));
    assert_int_equal(atomic_load(&s.house.actions), 0);
    hang_up(&k);
    stand_down(&s);
}

/* A client that goes away in the middle leaves nothing behind (the leak checker looks) and no action is called. */
static void gone_in_the_middle(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.spool_dir = "/tmp"});
    for (int i = 0; i < 20; i++) {
        dial_in(&s, &k);
        say(&k, i % 2 ? ROUTE("POST /weigh") "Content-Type: text/csv\r\nContent-Length: 50000\r\n\r\nabc"
                      : ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{");
        hang_up(&k);
    }
    ask(&s, ROUTE("GET /hello"), &a);
    assert_int_equal(a.status, 200);
    assert_int_equal(atomic_load(&s.house.actions), 1);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(in_memory),
        cmocka_unit_test(in_a_file),
        cmocka_unit_test(no_room_for_a_file),
        cmocka_unit_test(gone_in_the_middle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
