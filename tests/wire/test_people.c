/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is sent about members, keys, sessions and verdicts: accepted forms, and each refusal with its field and code.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "wire/people.h"

static bool person(const char *json, bool change, struct person_body *out, struct fault *f)
{
    fault_clear(f);
    return wire_read_person(json, strlen(json), change, out, f);
}

static void persons(void **state)
{
    (void)state;
    struct person_body b;
    struct fault f;
    assert_true(person("{\"name\":\"Odda\",\"role\":\"steward\",\"key_name\":\"phone\"}", false, &b, &f));
    assert_string_equal(b.name, "Odda");
    assert_int_equal(b.role, ROLE_STEWARD);
    assert_string_equal(b.key_name, "phone");
    assert_true(person("{\"role\":\"reader\"}", true, &b, &f));
    assert_string_equal(b.name, "");
    assert_int_equal(b.role, ROLE_READER);
    assert_true(person("{\"name\":\"Odda\"}", true, &b, &f));
    assert_int_equal(b.role, ROLE_NONE);
    static const struct {
        const char *json;
        bool change;
        const char *field, *code;
    } wrong[] = {
        {"{\"role\":\"reader\"}", false, "name", "required"},
        {"{\"name\":\"  \",\"role\":\"reader\"}", false, "name", "required"},
        {"{\"name\":\"Odda\"}", false, "role", "required"},
        {"{\"name\":\"Odda\",\"role\":\"none\"}", false, "role", "required"},
        {"{\"name\":\"Odda\",\"role\":\"king\"}", false, "role", "not-in-list"},
        {"{}", true, "name", "required"},
        {"{\"name\":\"Odda\",\"key_name\":\"x\"}", true, "key_name", "not-here"},
        {"{\"name\":\"Odda\",\"role\":\"reader\",\"id\":3}", false, "id", "unknown-member"},
        {"{\"name\":3,\"role\":\"reader\"}", false, "name", NULL},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        if (person(wrong[i].json, wrong[i].change, &b, &f))
            fail_msg("taken: %s", wrong[i].json);
        assert_int_equal(f.kind, FAULT_UNACCEPTABLE);
        assert_string_equal(f.items[0].field, wrong[i].field);
        if (wrong[i].code)
            assert_string_equal(f.items[0].code, wrong[i].code);
    }
    assert_false(person("{\"name\"", false, &b, &f));
    assert_int_equal(f.kind, FAULT_MALFORMED);
}

static void keys(void **state)
{
    (void)state;
    struct key_body b;
    struct fault f;
    fault_clear(&f);
    assert_true(wire_read_key_wish("{}", 2, &b, &f));
    assert_int_equal(b.scope, WISH_SCOPE_ALL);
    assert_true(b.expires_us == CLOCK_NONE);
    static const char whole[] = "{\"name\":\"bench\",\"scope\":\"log\",\"expires_at\":\"1970-01-01T01:00:01+01:00\"}";
    assert_true(wire_read_key_wish(whole, sizeof whole - 1, &b, &f));
    assert_string_equal(b.name, "bench");
    assert_int_equal(b.scope, WISH_SCOPE_LOG);
    assert_int_equal(b.expires_us, 1000000);
    static const char scope[] = "{\"scope\":\"write\"}", when[] = "{\"expires_at\":\"tomorrow\"}";
    assert_false(wire_read_key_wish(scope, sizeof scope - 1, &b, &f));
    assert_string_equal(f.items[0].field, "scope");
    fault_clear(&f);
    assert_false(wire_read_key_wish(when, sizeof when - 1, &b, &f));
    assert_string_equal(f.items[0].field, "expires_at");
}

static void sessions_and_verdicts(void **state)
{
    (void)state;
    char key[LIMIT_SHORT_TEXT + 1];
    struct fault f;
    fault_clear(&f);
    static const char good[] = "{\"key\":\"bb1_abc\"}";
    assert_true(wire_read_session(good, sizeof good - 1, key, &f));
    assert_string_equal(key, "bb1_abc");
    assert_false(wire_read_session("{}", 2, key, &f));
    assert_string_equal(f.items[0].field, "key");
    fault_clear(&f);
    static const char accept[] = "{\"verdict\":\"accept\"}", reject[] = "{\"verdict\":\"reject\"}";
    assert_true(wire_read_verdict(accept, sizeof accept - 1, &f));
    assert_false(wire_read_verdict(reject, sizeof reject - 1, &f));
    fault_clear(&f);
    assert_false(wire_read_verdict("{}", 2, &f));
    assert_string_equal(f.items[0].field, "verdict");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(persons), cmocka_unit_test(keys), cmocka_unit_test(sessions_and_verdicts)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
