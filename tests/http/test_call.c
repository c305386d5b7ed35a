/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A call is used again and again without growing, and memory that runs out anywhere in a request ends in an answer or a closed connection, never
 * in a crash or a leak.
 */
#include "stand.h"

#include <string.h>

static struct stand s;
static struct speaker k;
static struct answer a;

static void used_again(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.threads = 1});
    dial_in(&s, &k);
    long after_first = 0;
    for (int i = 0; i < 50; i++) {
        say(&k, ROUTE("GET /echo/a?b=c") "If-None-Match: \"x\"\r\nAccept: text/html\r\n\r\n");
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 200);
        say(&k, ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
        assert_true(hear(&k, &a, false));
        assert_int_equal(a.status, 200);
        if (i == 0)
            after_first = mem_alive();
    }
    assert_int_equal(mem_alive(), after_first);
    hang_up(&k);
    stand_down(&s);
}

static void memory_runs_out(void **state)
{
    (void)state;
    static const char *const asks[] = {
        ROUTE("GET /echo/a?b=c") "If-None-Match: \"x\"\r\nIf-None-Match: \"y\"\r\nAccept: text/html\r\n\r\n",
        ROUTE("PUT /echo/a") "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}",
        ROUTE("GET /nowhere") "\r\n",
    };
    long before = mem_alive();
    for (size_t i = 0; i < sizeof asks / sizeof *asks; i++)
        for (int ever_after = 0; ever_after < 2; ever_after++)
            for (long n = 1; n < 20; n++) {
                stand_up(&s, (struct http_options){.threads = 1});
                mem_fail_at(n, ever_after);
                dial_in(&s, &k);
                say(&k, asks[i]);
                if (hear(&k, &a, false) && a.status != 500)
                    assert_int_equal(a.status, strstr(asks[i], "nowhere") ? 404 : 200);
                mem_fail_at(0, 0);
                hang_up(&k);
                ask(&s, ROUTE("GET /hello"), &a); /* and afterwards all is well */
                assert_int_equal(a.status, 200);
                stand_down(&s);
                assert_int_equal(mem_alive(), before);
            }
}

static void memory_runs_out_at_start(void **state)
{
    (void)state;
    long before = mem_alive();
    int started = 0;
    for (long n = 1; n < 12; n++) {
        struct fault f = {0};
        struct http_options o = {.listen = "127.0.0.1:0"};
        mem_fail_at(n, 0);
        struct http *h = http_start(&o, stand_routes, &f);
        mem_fail_at(0, 0);
        if (!h)
            assert_int_equal(f.kind, FAULT_MEMORY);
        started += h != NULL;
        http_stop(h, 0);
        assert_int_equal(mem_alive(), before);
    }
    assert_true(started > 0 && started < 11);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(used_again),
        cmocka_unit_test(memory_runs_out),
        cmocka_unit_test(memory_runs_out_at_start),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
