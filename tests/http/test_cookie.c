/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The session's token out of a Cookie header (RFC 6265, 4.2.1: pairs with "; " between).
 */
#include "stand.h"

#include <string.h>

static void tokens(void **state)
{
    (void)state;
    static const struct {
        const char *cookie;
        bool secure;
        const char *token; /* NULL: none */
    } cases[] = {
        {"biasbook=bs1_a", false, "bs1_a"},
        {"other=1; biasbook=bs1_a", false, "bs1_a"},
        {"other=1;biasbook=bs1_a ;more=2", false, "bs1_a"},
        {"biasbook=bs1_a; biasbook=bs1_b", false, "bs1_a"}, /* RFC 6265, 5.4: the one of the longer path stands first */
        {"xbiasbook=bs1_a", false, NULL},
        {"biasbookx=bs1_a", false, NULL},
        {"biasbook", false, NULL},
        {"biasbook=", false, NULL},
        {"", false, NULL},
        {";;; ;", false, NULL},
        {"__Host-biasbook=bs1_a", false, NULL},
        {"biasbook=bs1_a", true, NULL}, /* over TLS only the one that no other site can have set */
        {"biasbook=bs1_a; __Host-biasbook=bs1_b", true, "bs1_b"},
        {"biasbook=bs1_xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx", false, NULL}, /* longer than any token */
    };
    char out[KEY_TEXT];
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        bool got = cookie_token(cases[i].cookie, cases[i].secure, out);
        if (got != (cases[i].token != NULL) || (got && strcmp(out, cases[i].token) != 0))
            fail_msg("'%s'%s: %s", cases[i].cookie, cases[i].secure ? " over TLS" : "", got ? out : "none");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(tokens)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
