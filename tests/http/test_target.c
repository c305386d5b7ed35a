/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Request targets: what is understood, and what is refused rather than repaired (RFC 9112, 3.2; RFC 3986, 2.1 and 3.3).
 */
#include "stand.h"

#include <stdio.h>
#include <string.h>

static struct target t;
static struct request q;

static void understood(void **state)
{
    (void)state;
    static const struct {
        const char *raw, *path, *parameters;
    } cases[] = {
        {"/", "/", ""},
        {"/a/b", "/a/b", ""},
        {"/a%20b", "/a b", ""},
        {"/%C3%A4", "/\xc3\xa4", ""},
        {"/a?", "/a", ""},
        {"/a?b=c", "/a", "b=c;"},
        {"/a?b", "/a", "b=;"},
        {"/a?b=", "/a", "b=;"},
        {"/a?=c", "/a", "=c;"},
        {"/a?b=c=d", "/a", "b=c=d;"},
        {"/a?b=c&d=e&", "/a", "b=c;d=e;"},
        {"/a?&&b=c", "/a", "b=c;"},
        {"/a?b=1+2%2B3", "/a", "b=1 2+3;"},
        {"/a+b", "/a+b", ""},
        {"/a?b=%26%3D%25", "/a", "b=&=%;"},
        {"/a?b=/../%2F", "/a", "b=/..//;"},
        {"/a?b?c", "/a", "b?c=;"},
        {"/...", "/...", ""},
        {"/a/.b/..c", "/a/.b/..c", ""},
        {"http://localhost:1/a?b=c", "/a", "b=c;"},
        {"HTTP://localhost", "/", ""},
        {"*", "*", ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[256] = "";
        target_read(cases[i].raw, &t, &q);
        if (t.refused != REFUSE_NOTHING)
            fail_msg("%s is refused", cases[i].raw);
        assert_string_equal(q.path, cases[i].path);
        for (int p = 0; p < q.parameter_count; p++)
            snprintf(text + strlen(text), sizeof text - strlen(text), "%s=%s;", q.parameters[p].name, q.parameters[p].value);
        assert_string_equal(text, cases[i].parameters);
    }
    target_read("http://localhost:1/a", &t, &q);
    assert_string_equal(t.authority, "localhost:1");
    target_read("/a", &t, &q);
    assert_null(t.authority);
}

static void refused(void **state)
{
    (void)state;
    static const struct {
        const char *raw;
        enum refusal_number number;
    } cases[] = {
        {NULL, REFUSE_TARGET},
        {"", REFUSE_TARGET},
        {"a", REFUSE_TARGET},
        {"?a", REFUSE_TARGET},
        {"/a b", REFUSE_TARGET},
        {"/a\tb", REFUSE_TARGET},
        {"/a#b", REFUSE_TARGET},
        {"/\xc3\xa4", REFUSE_TARGET},
        {"ftp://a/b", REFUSE_TARGET},
        {"/%", REFUSE_PERCENT},
        {"/%2", REFUSE_PERCENT},
        {"/%2g", REFUSE_PERCENT},
        {"/%%20", REFUSE_PERCENT},
        {"/a?b=%", REFUSE_PERCENT},
        {"/a?b=%4", REFUSE_PERCENT},
        {"/a?%zz", REFUSE_PERCENT},
        {"/%00", REFUSE_NUL},
        {"/a?b=%00", REFUSE_NUL},
        {"/a?%00=b", REFUSE_NUL},
        {"/%01", REFUSE_CONTROL},
        {"/%0D%0A", REFUSE_CONTROL},
        {"/%7F", REFUSE_CONTROL},
        {"/%C3", REFUSE_UTF8},
        {"/%C0%AF", REFUSE_UTF8},
        {"/%ED%A0%80", REFUSE_UTF8},
        {"/%F4%90%80%80", REFUSE_UTF8},
        {"/%FF", REFUSE_UTF8},
        {"/a?b=%80", REFUSE_UTF8},
        {"/.", REFUSE_DOTS},
        {"/..", REFUSE_DOTS},
        {"/a/../b", REFUSE_DOTS},
        {"/a/./b", REFUSE_DOTS},
        {"/%2e%2e/a", REFUSE_DOTS},
        {"/a/%2E", REFUSE_DOTS},
        {"/a%2Fb", REFUSE_SLASH},
        {"/a%2fb", REFUSE_SLASH},
        {"http://localhost/../a", REFUSE_DOTS},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        target_read(cases[i].raw, &t, &q);
        if (t.refused != cases[i].number)
            fail_msg("%s: %s", cases[i].raw, t.refused ? refusal_of(t.refused)->code : "taken");
        assert_string_equal(q.path, "/");
        assert_int_equal(q.parameter_count, 0);
    }
}

static void limits(void **state)
{
    (void)state;
    char raw[LIMIT_URL + 2];
    memset(raw, 'a', sizeof raw);
    raw[0] = '/';
    raw[LIMIT_URL] = '\0';
    target_read(raw, &t, &q);
    assert_int_equal(t.refused, REFUSE_NOTHING);
    assert_int_equal(strlen(q.path), LIMIT_URL);
    raw[LIMIT_URL] = 'a';
    raw[LIMIT_URL + 1] = '\0';
    target_read(raw, &t, &q);
    assert_int_equal(t.refused, REFUSE_TARGET_LONG);

    /* as many pieces as fit: the decoded text never outgrows its place */
    memset(raw, '&', sizeof raw);
    memcpy(raw, "/?", 2);
    raw[LIMIT_URL] = '\0';
    target_read(raw, &t, &q);
    assert_int_equal(t.refused, REFUSE_NOTHING);
    for (int n = LIMIT_QUERY_PARAMETERS; n <= LIMIT_QUERY_PARAMETERS + 1; n++) {
        char *to = raw + sprintf(raw, "/?");
        for (int i = 0; i < n; i++)
            to += sprintf(to, "a&");
        target_read(raw, &t, &q);
        assert_int_equal(t.refused, n > LIMIT_QUERY_PARAMETERS ? REFUSE_PARAMETERS : REFUSE_NOTHING);
    }
    /* the worst growth: a name without a value and its & become two NULs more than the name; 32 names filled to the last byte */
    size_t n = 2;
    memcpy(raw, "/?", 2);
    for (int i = 0; i < LIMIT_QUERY_PARAMETERS - 1; i++, n += 2)
        memcpy(raw + n, "a&", 2);
    memset(raw + n, 'b', LIMIT_URL - n);
    raw[LIMIT_URL] = '\0';
    target_read(raw, &t, &q);
    assert_int_equal(t.refused, REFUSE_NOTHING);
    assert_int_equal(strlen(q.parameters[LIMIT_QUERY_PARAMETERS - 1].name), LIMIT_URL - n);
    const char *last = q.parameters[LIMIT_QUERY_PARAMETERS - 1].value;
    assert_true(last >= t.text && last < t.text + sizeof t.text);
    assert_int_equal(*last, '\0');
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(understood),
        cmocka_unit_test(refused),
        cmocka_unit_test(limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
