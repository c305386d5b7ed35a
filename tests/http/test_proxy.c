/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which proxies are believed, and whom they speak for.
 */
#include "stand.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

static void lists_are_read_or_refused(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        int count; /* 0 = refused */
    } cases[] = {
        {"10.0.0.5", 1},
        {" 10.0.0.5 , fd00::/8 ", 2},
        {"0.0.0.0/0", 1},
        {"::/0", 1},
        {"192.0.2.0/32", 1},
        {"2001:db8::/128", 1},
        {"", 0},
        {",", 0},
        {"10.0.0.5,", 0},
        {"10.0.0", 0},
        {"10.0.0.0/33", 0},
        {"::/129", 0},
        {"10.0.0.0/", 0},
        {"10.0.0.0/-1", 0},
        {"10.0.0.0/8x", 0},
        {"proxy.example", 0},
        {"10.0.0.5 10.0.0.6", 0},
        {"[::1]", 0},
        {"unix", 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct proxies p;
        struct fault f = {.kind = FAULT_NONE};
        if (proxies_read(cases[i].text, &p, &f) != (cases[i].count > 0))
            fail_msg("'%s'", cases[i].text);
        if (cases[i].count)
            assert_int_equal(p.count, cases[i].count);
        else
            assert_string_equal(f.items[0].field, "trusted-proxy");
    }
    char many[20 * (LIMIT_TRUSTED_PROXIES + 1)] = "10.0.0.1";
    for (int i = 1; i <= LIMIT_TRUSTED_PROXIES; i++)
        strcat(many, ",10.0.0.1");
    struct proxies p;
    assert_false(proxies_read(many, &p, NULL));
    many[strlen(many) - 9] = '\0';
    assert_true(proxies_read(many, &p, NULL));
    assert_int_equal(p.count, LIMIT_TRUSTED_PROXIES);
}

static bool trusts(const struct proxies *p, const char *address)
{
    struct sockaddr_in four = {.sin_family = AF_INET};
    struct sockaddr_in6 six = {.sin6_family = AF_INET6};
    if (inet_pton(AF_INET, address, &four.sin_addr) == 1)
        return proxies_trust(p, (const struct sockaddr *)&four);
    assert_int_equal(inet_pton(AF_INET6, address, &six.sin6_addr), 1);
    return proxies_trust(p, (const struct sockaddr *)&six);
}

static void networks_end_at_any_bit(void **state)
{
    (void)state;
    static const struct {
        const char *list, *address;
        bool trusted;
    } cases[] = {
        {"10.0.0.5", "10.0.0.5", true},
        {"10.0.0.5", "10.0.0.4", false},
        {"10.0.0.5", "::ffff:10.0.0.5", true}, /* as a socket for both families tells it */
        {"10.64.0.0/10", "10.127.255.255", true},
        {"10.64.0.0/10", "10.128.0.0", false},
        {"10.64.0.0/10", "10.63.255.255", false},
        {"0.0.0.0/0", "203.0.113.9", true},
        {"0.0.0.0/0", "2001:db8::1", false}, /* all of IPv4, none of IPv6 */
        {"::/0", "203.0.113.9", true},       /* everything */
        {"fd00::/7", "fc00::1", true},
        {"fd00::/7", "fe00::1", false},
        {"2001:db8::/127", "2001:db8::1", true},
        {"2001:db8::/127", "2001:db8::2", false},
        {"127.0.0.0/8,::1", "127.9.9.9", true},
        {"127.0.0.0/8,::1", "::1", true},
        {"127.0.0.0/8,::1", "::2", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct proxies p;
        assert_true(proxies_read(cases[i].list, &p, NULL));
        if (trusts(&p, cases[i].address) != cases[i].trusted)
            fail_msg("%s in %s", cases[i].address, cases[i].list);
    }
    struct proxies none = {.count = 0};
    struct sockaddr local = {.sa_family = AF_UNIX}, other = {.sa_family = AF_NETLINK};
    assert_true(proxies_trust(&none, &local));
    assert_true(proxies_trust(&none, NULL));
    assert_false(proxies_trust(&none, &other));
}

static void the_client_is_the_last_that_nobody_vouches_for(void **state)
{
    (void)state;
    static const struct {
        const char *said, *client; /* NULL: none to be read */
    } cases[] = {
        {"192.0.2.7", "192.0.2.7"},
        {"6.6.6.6, 192.0.2.7", "192.0.2.7"}, /* what the client itself wrote stands to the left */
        {"192.0.2.7, 10.0.0.1, 10.0.0.2", "192.0.2.7"},
        {"6.6.6.6,192.0.2.7,10.0.0.1", "192.0.2.7"},
        {"10.0.0.3, 10.0.0.1", "10.0.0.3"}, /* proxies all along: the first of them */
        {"  2001:db8::7\t", "2001:db8::7"},
        {"192.0.2.7:4711", "192.0.2.7"},
        {"[2001:db8::7]:4711", "2001:db8::7"},
        {"[2001:db8::7]", "2001:db8::7"},
        {"nonsense, 10.0.0.1", "10.0.0.1"}, /* past what cannot be read nothing is believed */
        {"192.0.2.7, unknown", NULL},
        {"", NULL},
        {",", NULL},
        {"192.0.2.7,", NULL},
        {"[", NULL},
        {":", NULL},
        {"1111:2222:3333:4444:5555:6666:7777:8888:9999:0000:1111:2222:3333:4444:5555", NULL},
    };
    struct proxies p;
    assert_true(proxies_read("10.0.0.0/8", &p, NULL));
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char out[WHO_ADDRESS] = "";
        bool found = proxies_client(&p, cases[i].said, out, sizeof out);
        if (found != (cases[i].client != NULL) || (found && strcmp(out, cases[i].client)))
            fail_msg("'%s' gave '%s'", cases[i].said, out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lists_are_read_or_refused),
        cmocka_unit_test(networks_end_at_any_bit),
        cmocka_unit_test(the_client_is_the_last_that_nobody_vouches_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
