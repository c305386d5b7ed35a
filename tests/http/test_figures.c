/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the listener counts, as Prometheus text format 0.0.4 wants it: every sample line is a name, labels and a number, histograms are cumulative.
 */
#include "stand.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double value(const char *all, const char *line)
{
    const char *at = strstr(all, line);
    assert_non_null(at);
    return strtod(at + strlen(line), NULL);
}

static void counts_add_up(void **state)
{
    (void)state;
    static struct stand s;
    static struct answer a;
    struct buffer b;
    buffer_init(&b, 100000);
    stand_up(&s, (struct http_options){0});
    for (int i = 0; i < 5; i++)
        ask(&s, ROUTE("GET /hello"), &a);
    for (int i = 0; i < 3; i++)
        ask(&s, ROUTE("GET /nowhere"), &a);
    ask(&s, ROUTE("GET /nothing"), &a);
    ask(&s, ROUTE("GET /who") "Authorization: Bearer " STRANGE_KEY "\r\n", &a);
    http_write_figures(s.http, &b);
    assert_true(value(b.data, "requests_total{status=\"2xx\"} ") == 5);
    assert_true(value(b.data, "requests_total{status=\"4xx\"} ") == 4);
    assert_true(value(b.data, "requests_total{status=\"5xx\"} ") == 1);
    assert_true(value(b.data, "request_seconds_count ") == 10);
    assert_true(value(b.data, "request_seconds_bucket{le=\"+Inf\"} ") == 10);
    assert_true(value(b.data, "request_seconds_sum ") > 0);
    assert_true(value(b.data, "\nbiasbook_http_connections_total ") == 10);
    assert_true(value(b.data, "\nbiasbook_http_wrong_keys_total ") == 1);
    stand_down(&s);
    buffer_free(&b);
}

static void buckets(void **state)
{
    (void)state;
    static struct http_figures f;
    static const int64_t us[] = {0, 50, 51, 100, 5000000, 5000001, 100000000};
    struct buffer b;
    buffer_init(&b, 100000);
    for (size_t i = 0; i < sizeof us / sizeof *us; i++)
        figures_reply(&f, 200, us[i]);
    figures_write(&f, &b);
    assert_true(value(b.data, "{le=\"0.00005\"} ") == 2); /* a bound belongs to its bucket */
    assert_true(value(b.data, "{le=\"0.0001\"} ") == 4);
    assert_true(value(b.data, "{le=\"5\"} ") == 5);
    assert_true(value(b.data, "{le=\"+Inf\"} ") == 7);
    char *at = b.data;
    double last = 0;
    while ((at = strstr(at, "_bucket{le="))) {
        double now = strtod(strchr(at, ' '), NULL);
        assert_true(now >= last);
        last = now;
        at++;
    }
    for (char *line = strtok(b.data, "\n"); line; line = strtok(NULL, "\n")) {
        char *end;
        if (*line == '#')
            continue;
        assert_int_equal(strncmp(line, "biasbook_http_", 14), 0);
        strtod(strrchr(line, ' '), &end);
        assert_int_equal(*end, '\0');
    }
    buffer_free(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(counts_add_up), cmocka_unit_test(buckets)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
