/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Replies kept ready: one is never in two hands, there are never too many, and what is sent is what the action wrote.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

static int made;

static bool headers(struct MHD_Response *m, const char *type)
{
    made++;
    return MHD_add_response_header(m, "Content-Type", type) == MHD_YES;
}

static void taken_once(void **state)
{
    (void)state;
    struct prepared_store *s = prepared_new(headers);
    made = 0;
    struct prepared *a = prepared_take(s, "text/plain", 100), *b = prepared_take(s, "text/plain", 100);
    assert_non_null(a);
    assert_non_null(b);
    assert_ptr_not_equal(a, b);
    assert_int_equal(made, 2);
    prepared_give(s, a);
    assert_ptr_equal(prepared_take(s, "text/plain", 100), a); /* again, not anew */
    assert_int_equal(made, 2);
    prepared_give(s, a);
    prepared_give(s, b);
    struct prepared *c = prepared_take(s, "text/html", 100),
                    *d = prepared_take(s, "text/plain", 100 + 256); /* same bucket, another reply */
    assert_int_equal(made, 4);
    assert_int_equal(c->size, 100);
    assert_int_equal(d->size, 356);
    prepared_give(s, c);
    prepared_give(s, d);
    assert_null(prepared_take(s, "text/plain", PREPARED_BYTES + 1));
    prepared_give(s, NULL);
    prepared_free(s);
    prepared_free(NULL);
}

static const char *header(struct prepared *p, const char *name)
{
    return MHD_get_response_header(p->response, name);
}

/* The headers of one reply are not those of the next. */
static void marked_for_one_reply(void **state)
{
    (void)state;
    char long_tag[PREPARED_ETAG + 1];
    struct prepared_store *s = prepared_new(headers);
    struct prepared *p = prepared_take(s, "text/plain", 10);
    assert_true(prepared_mark(p, "\"1-abc\"", "../x/1"));
    assert_string_equal(header(p, "ETag"), "\"1-abc\"");
    assert_string_equal(header(p, "Location"), "../x/1");
    prepared_give(s, p);
    assert_ptr_equal(prepared_take(s, "text/plain", 10), p);
    assert_null(header(p, "ETag"));
    assert_null(header(p, "Location"));
    assert_string_equal(header(p, "Content-Type"), "text/plain");
    assert_true(prepared_mark(p, "", "../x/2"));
    assert_null(header(p, "ETag"));
    assert_string_equal(header(p, "Location"), "../x/2");
    prepared_give(s, p);
    assert_ptr_equal(prepared_take(s, "text/plain", 10), p);
    memset(long_tag, 'e', sizeof long_tag - 1);
    long_tag[sizeof long_tag - 1] = '\0';
    assert_false(prepared_mark(p, long_tag, ""));
    prepared_give(s, p);
    prepared_free(s);
}

static void bounded(void **state)
{
    (void)state;
    static struct prepared *all[LIMIT_PREPARED];
    struct prepared_store *s = prepared_new(headers);
    long before = mem_alive();
    for (int i = 0; i < LIMIT_PREPARED; i++)
        assert_non_null(all[i] = prepared_take(s, "a/b", (size_t)i));
    assert_null(prepared_take(s, "a/b", 5)); /* all are taken */
    for (int i = 0; i < LIMIT_PREPARED; i++)
        prepared_give(s, all[i]);
    for (int i = 0; i < 3 * LIMIT_PREPARED; i++) { /* other sizes push the old ones out */
        struct prepared *p = prepared_take(s, "c/d", (size_t)i % PREPARED_BYTES);
        assert_non_null(p);
        prepared_give(s, p);
        assert_true(mem_alive() - before <= LIMIT_PREPARED);
    }
    prepared_free(s);
}

static void memory_runs_out(void **state)
{
    (void)state;
    long before = mem_alive();
    struct prepared_store *s = prepared_new(headers);
    mem_fail_at(1, 1);
    for (int i = 0; i < 2 * LIMIT_PREPARED; i++) /* failures do not use up the room */
        assert_null(prepared_take(s, "a/b", 10));
    mem_fail_at(0, 0);
    struct prepared *p = prepared_take(s, "a/b", 10);
    assert_non_null(p);
    prepared_give(s, p);
    prepared_free(s);
    assert_int_equal(mem_alive(), before);
}

/* Replies of all sizes, some alike, on connections side by side. */
static void sent_as_written(void **state)
{
    (void)state;
    static struct stand s;
    static struct speaker k[8];
    static struct answer a;
    char bytes[6000], want[6000], filler[5000];
    memset(filler, 'f', sizeof filler);
    stand_up(&s, (struct http_options){0});
    for (int i = 0; i < 8; i++)
        dial_in(&s, &k[i]);
    for (int round = 0; round < 40; round++) {
        for (int i = 0; i < 8; i++) {
            snprintf(bytes, sizeof bytes, ROUTE("GET /echo/r%02d-%d?f=%.*s") "\r\n", round, i, round * 97, filler);
            say(&k[i], bytes);
        }
        for (int i = 0; i < 8; i++) {
            snprintf(want, sizeof want, "0|/echo/r%02d-%d|r%02d-%d|f=%.*s|||0||", round, i, round, i, round * 97, filler);
            assert_true(hear(&k[i], &a, false));
            assert_int_equal(a.status, 200);
            assert_string_equal(a.body, want);
        }
    }
    for (int i = 0; i < 8; i++)
        hang_up(&k[i]);
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(taken_once),      cmocka_unit_test(marked_for_one_reply), cmocka_unit_test(bounded),
        cmocka_unit_test(memory_runs_out), cmocka_unit_test(sent_as_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
