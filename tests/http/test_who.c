/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Keys and roles (RFC 6750, 2.1 and 3): every route of the stand with every key, in a closed, a readable and an open club.
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

enum { NOBODY, STRANGER, READER, LOGGER, STEWARD, KEYS };
static const char *const keys[KEYS] = {"", "Authorization: Bearer " STRANGE_KEY "\r\n", "Authorization: Bearer " READER_KEY "\r\n",
                                       "Authorization: bearer  " LOGGER_KEY "\r\n", "Authorization: BEARER " STEWARD_KEY " \t\r\n"};
static const struct {
    const char *line;
    bool body;
    int closed[KEYS], readable[KEYS];
} rows[] = {
    {"GET /hello", false, {200, 200, 200, 200, 200}, {200, 200, 200, 200, 200}},
    {"GET /who", false, {200, 401, 200, 200, 200}, {200, 401, 200, 200, 200}},
    {"GET /for-reader", false, {401, 401, 200, 200, 200}, {200, 401, 200, 200, 200}},
    {"HEAD /for-reader", false, {401, 401, 200, 200, 200}, {200, 401, 200, 200, 200}},
    {"GET /for-reader-private", false, {401, 401, 200, 200, 200}, {401, 401, 200, 200, 200}},
    {"POST /asks", true, {401, 401, 200, 200, 200}, {401, 401, 200, 200, 200}},
    {"PUT /for-logger", true, {401, 401, 403, 200, 200}, {401, 401, 403, 200, 200}},
    {"POST /for-steward", true, {401, 401, 403, 403, 200}, {401, 401, 403, 403, 200}},
    {"GET /unknown", false, {404, 404, 404, 404, 404}, {404, 404, 404, 404, 404}},
    {"OPTIONS /for-steward", false, {204, 204, 204, 204, 204}, {204, 204, 204, 204, 204}},
};

static struct stand s;
static struct answer a;
static char text[512];

static void request(size_t row, int key)
{
    char bytes[600];
    snprintf(bytes, sizeof bytes, "%s HTTP/1.1\r\nHost: localhost\r\n%s%s", rows[row].line, keys[key],
             rows[row].body ? "Content-Type: application/json\r\nContent-Length: 2\r\nConnection: close\r\n\r\n{}" : "");
    if (rows[row].body) {
        static struct speaker k;
        dial_in(&s, &k);
        say(&k, bytes);
        assert_true(hear(&k, &a, false));
        hang_up(&k);
    } else {
        ask(&s, bytes, &a);
    }
}

static void roles(bool public_read)
{
    stand_up(&s, (struct http_options){.public_read = public_read});
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++)
        for (int key = 0; key < KEYS; key++) {
            int want = public_read ? rows[row].readable[key] : rows[row].closed[key];
            request(row, key);
            if (a.status != want)
                fail_msg("%s, key %d: %d instead of %d", rows[row].line, key, a.status, want);
            assert_int_equal(headers_of(&a, "WWW-Authenticate"), want == 401);
            if (want == 401 && strncmp(rows[row].line, "HEAD", 4) != 0) {
                assert_int_equal(strncmp(header_of(&a, "WWW-Authenticate", text), "Bearer realm=", 13), 0);
                assert_int_equal(strstr(text, "invalid_token") != NULL, key == STRANGER);
                assert_non_null(strstr(a.body, key == STRANGER ? "\"wrong-key\"" : "\"no-key\""));
            }
        }
    stand_down(&s);
}

static void closed_club(void **state)
{
    (void)state;
    roles(false);
}

static void readable_club(void **state)
{
    (void)state;
    roles(true);
}

static void open_club(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){.open = true});
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++)
        for (int key = 0; key < KEYS; key++) {
            request(row, key);
            assert_true(a.status == 200 || a.status == 204 || a.status == 404);
        }
    ask(&s, ROUTE("GET /who"), &a);
    assert_non_null(strstr(a.body, "|3|")); /* steward, without a name */
    stand_down(&s);
}

static void who_it_is(void **state)
{
    (void)state;
    stand_up(&s, (struct http_options){0});
    ask(&s, ROUTE("GET /who") "Authorization: Bearer " LOGGER_KEY "\r\n", &a);
    assert_non_null(strstr(a.body, "|2|Lysander|"));
    ask(&s, ROUTE("GET /who"), &a);
    assert_non_null(strstr(a.body, "|0||"));
    stand_down(&s);
}

static void other_proofs(void **state)
{
    (void)state;
    static const struct {
        const char *value, *code;
    } cases[] = {
        {"Basic YTpi", "not-bearer"},
        {"Bearer", "not-bearer"},
        {"Bearer" LOGGER_KEY, "not-bearer"},
        {LOGGER_KEY, "not-bearer"},
        {"Bearer bb1_", "wrong-key"},
        {"Bearer x", "wrong-key"},
        {"Bearer " LOGGER_KEY "x", "wrong-key"},
        {"Bearer " LOGGER_KEY ", x", "wrong-key"},
    };
    stand_up(&s, (struct http_options){0});
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char bytes[300];
        snprintf(bytes, sizeof bytes, ROUTE("GET /for-reader") "Authorization: %s\r\n", cases[i].value);
        ask(&s, bytes, &a);
        assert_int_equal(a.status, 401);
        snprintf(bytes, sizeof bytes, "\"code\":\"%s\"", cases[i].code);
        if (!strstr(a.body, bytes))
            fail_msg("%s: %s", cases[i].value, a.body);
    }
    stand_down(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(closed_club), cmocka_unit_test(readable_club), cmocka_unit_test(open_club),
        cmocka_unit_test(who_it_is),   cmocka_unit_test(other_proofs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
