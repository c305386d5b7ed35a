/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Requests that a page of another site makes a browser send, and names that were made to point here.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

static void own_or_foreign(void **state)
{
    (void)state;
    static const struct {
        const char *fetch_site, *origin, *host;
        bool own;
    } cases[] = {
        {NULL, NULL, "club.example", true}, /* no browser */
        {"same-origin", NULL, "club.example", true},
        {"none", NULL, "club.example", true},
        {"same-site", NULL, "club.example", false},
        {"cross-site", NULL, "club.example", false},
        {"cross-site", "http://club.example", "club.example", false},   /* the browser knows better */
        {"same-origin", "https://club.example", "10.0.0.5:8460", true}, /* a proxy changed Host */
        {"", NULL, "club.example", false},
        {NULL, "http://club.example", "club.example", true},
        {NULL, "https://club.example", "club.example", true}, /* behind a proxy that ends TLS */
        {NULL, "http://club.example:8460", "club.example:8460", true},
        {NULL, "http://CLUB.example:8460", "club.example:8460", true},
        {NULL, "http://club.example", "club.example:80", true},
        {NULL, "https://club.example:443", "club.example", true},
        {NULL, "http://club.example:8461", "club.example:8460", false},
        {NULL, "http://club.example.org", "club.example", false},
        {NULL, "http://evilclub.example", "club.example", false},
        {NULL, "null", "club.example", false},
        {NULL, "", "club.example", false},
        {NULL, "http://club.example", NULL, false},
        {NULL, "http://[::1]:8460", "[::1]:8460", true},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct head head = {.fetch_site = cases[i].fetch_site, .origin = cases[i].origin, .host = cases[i].host};
        if (origin_is_own(&head) != cases[i].own)
            fail_msg("row %zu", i);
    }
}

static void own_hosts(void **state)
{
    (void)state;
    static const char *const own[] = {"localhost",    "localhost:8460", "LocalHost:1", "127.0.0.1",      "127.0.0.1:8460",
                                      "127.1.2.3:80", "[::1]",          "[::1]:8460",  "192.0.2.7:8460", "192.0.2.7"};
    static const char *const foreign[] = {"club.example",
                                          "localhost.club.example:8460",
                                          "127.0.0.1.club.example",
                                          "10.0.0.1:8460",
                                          "192.0.2.70",
                                          "[::2]:8460",
                                          "127.0.0.1club.example",
                                          "127.1",
                                          "0x7f.0.0.1",
                                          "2130706433",
                                          "localhost.",
                                          ":8460",
                                          "",
                                          "[::1].club.example"};
    struct http h = {.own_host = "192.0.2.7"};
    for (size_t i = 0; i < sizeof own / sizeof *own; i++)
        if (!host_is_own(&h, own[i]))
            fail_msg("%s", own[i]);
    for (size_t i = 0; i < sizeof foreign / sizeof *foreign; i++)
        if (host_is_own(&h, foreign[i]))
            fail_msg("%s", foreign[i]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(own_or_foreign), cmocka_unit_test(own_hosts)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
