/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stand.h"

#include <string.h>
#include <unistd.h>

static struct stand s;
static struct answer a;
static char text[512];

/* Two workers busy, three waiting: the next is told to come again, an inline question is answered all the same, and all the others are answered in the end. */
static void queue_full(void **state)
{
    (void)state;
    static struct speaker asking[5], more;
    stand_up(&s, (struct http_options){.workers = 2, .worker_queue = 3});
    for (int i = 0; i < 5; i++) {
        dial_in(&s, &asking[i]);
        say(&asking[i], ROUTE("GET /gate") "\r\n");
        if (i < 2)
            stand_wait_gate(&s, i + 1);
    }
    for (int i = 0; atomic_load(&s.http->waiting) < 5; i++) { /* several HTTP threads take them */
        assert_true(i < 500);
        usleep(10000);
    }
    dial_in(&s, &more);
    say(&more, ROUTE("GET /gate") "\r\n");
    assert_true(hear(&more, &a, false));
    assert_int_equal(a.status, 503);
    assert_string_equal(header_of(&a, "Retry-After", text), "1");
    assert_non_null(strstr(a.body, "\"busy\""));
    say(&more, ROUTE("GET /hello") "\r\n"); /* same connection */
    assert_true(hear(&more, &a, false));
    assert_int_equal(a.status, 200);
    hang_up(&more);
    stand_open_gate(&s);
    for (int i = 0; i < 5; i++) {
        assert_true(hear(&asking[i], &a, false));
        assert_string_equal(a.body, "passed");
        hang_up(&asking[i]);
    }
    ask(&s, ROUTE("GET /gate"), &a);
    assert_int_equal(a.status, 200);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(queue_full)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
