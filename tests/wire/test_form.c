/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Forms against the URL Standard's application/x-www-form-urlencoded parsing, and a calibration out of one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "wire/form.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct arena *arena;
static struct form form;

static int start(void **state)
{
    (void)state;
    srandom(29);
    arena = arena_new(LIMIT_ARENA);
    return !arena;
}

static int stop(void **state)
{
    (void)state;
    arena_free(arena);
    return mem_alive() != 0;
}

static void fields(void **state)
{
    (void)state;
    static const char body[] = "&a=1&b=x+y%20z&&c&=v&d=%C3%A9%2B%26%3d&e=a=b&";
    arena_reset(arena);
    assert_true(form_read(body, sizeof body - 1, arena, &form, NULL));
    assert_int_equal(form.count, 6);
    assert_string_equal(form_value(&form, "a"), "1");
    assert_string_equal(form_value(&form, "b"), "x y z");
    assert_string_equal(form_value(&form, "c"), "");
    assert_string_equal(form_value(&form, ""), "v");
    assert_string_equal(form_value(&form, "d"), "\xC3\xA9+&=");
    assert_string_equal(form_value(&form, "e"), "a=b");
    assert_null(form_value(&form, "f"));
}

static void refused_bodies(void **state)
{
    (void)state;
    static const struct {
        const char *body;
        enum fault_kind kind;
        const char *code;
    } cases[] = {{"a=%", FAULT_MALFORMED, "not-a-form"},
                 {"a=%4", FAULT_MALFORMED, "not-a-form"},
                 {"a=%zz", FAULT_MALFORMED, "not-a-form"},
                 {"a=%00", FAULT_MALFORMED, "not-a-form"},
                 {"a=%FF", FAULT_MALFORMED, "not-a-form"},
                 {"a=%C0%80", FAULT_MALFORMED, "not-a-form"},
                 {"%E9=1", FAULT_MALFORMED, "not-a-form"},
                 {"a=%C3&b=%A9", FAULT_MALFORMED, "not-a-form"},
                 {"a=1&b=2&a=3", FAULT_UNACCEPTABLE, "duplicate-member"},
                 {"a=1&%61=1", FAULT_UNACCEPTABLE, "duplicate-member"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct fault f = {0};
        arena_reset(arena);
        assert_false(form_read(cases[i].body, strlen(cases[i].body), arena, &form, &f));
        assert_int_equal(f.kind, cases[i].kind);
        assert_string_equal(f.items[0].code, cases[i].code);
    }
    struct buffer many;
    struct fault f = {0};
    buffer_init(&many, 100000);
    for (int i = 0; i <= LIMIT_FORM_FIELDS; i++)
        buffer_format(&many, "f%d=&", i);
    arena_reset(arena);
    assert_false(form_read(many.data, many.length, arena, &form, &f));
    assert_int_equal(f.kind, FAULT_TOO_LARGE);
    buffer_free(&many);
}

/* RFC 3986 section 2.1: either case of hex digits; a plus is a plus outside forms. */
static void percent(void **state)
{
    (void)state;
    char out[100];
    assert_true(percent_decode("a%2Fb%2fc+d", 11, false, out));
    assert_string_equal(out, "a/b/c+d");
    assert_true(percent_decode("", 0, true, out));
    assert_string_equal(out, "");
    assert_false(percent_decode("%2", 2, false, out));
    assert_false(percent_decode("abc%", 4, false, out));
    assert_false(percent_decode("a\0b", 3, false, out));
    for (int c = 1; c < 128; c++) {
        char text[8];
        snprintf(text, sizeof text, "%%%02X", (unsigned)c);
        assert_true(percent_decode(text, 3, true, out));
        assert_true(out[0] == c && out[1] == '\0');
    }
}

/* ---- a calibration ---- */

static struct calibration c;
static bool read_form(const char *body, struct fault *f)
{
    static const char *const others[] = {"again", NULL};
    arena_reset(arena);
    assert_true(form_read(body, strlen(body), arena, &form, f));
    return wire_read_calibration_form(&form, others, arena, &c, f);
}

static void a_filled_page(void **state)
{
    (void)state;
    struct fault f = {0};
    char text[400], when[CLOCK_TEXT];
    if (!read_form("id=017f22e2-79b0-7cc3-98c4-dc0c0c07398f&deck=+shed+&stock=blue-90&setup=&side=a&made_at=2024-03-01T19%3A00&made_at_"
                   "offset=%2B01%3A00"
                   "&bias=1%2C5&level=6.25&eq=&low_db=%E2%88%920%2C1&high_db=%2B0.3&settled=on&noise_reduction=0&mpx_filter=&recordings=3&"
                   "position_counter=%20123%20"
                   "&moves%5B0%5D.bias=0&moves%5B0%5D.low_db=0%2C4&moves%5B3%5D.level=6&moves%5B1%5D.bias=+&proof%5B1%5D.hz=6300&proof%5B1%"
                   "5D.left_db=-1"
                   "&notes=two%0D%0Alines&again=1&batch=007",
                   &f))
        fail_msg("%s", fault_text(&f, text, sizeof text));
    assert_string_equal(c.deck, "shed");
    assert_string_equal(c.setup, "");
    assert_int_equal(c.side, SIDE_A);
    assert_string_equal(clock_format(c.made_at_us, c.made_at_offset_minutes, when), "2024-03-01T19:00:00+01:00");
    assert_true(c.bias == 1.5 && c.level == 6.25 && !given(c.eq) && c.low_db == -0.1 && c.high_db == 0.3);
    assert_true(c.settled && !c.noise_reduction && !c.mpx_filter);
    assert_int_equal(c.recordings, 3);
    assert_true(c.position_kind == POSITION_COUNTER && c.position_typed == 123);
    assert_int_equal(c.move_count, 2); /* the empty line is left out */
    assert_true(c.moves[0].bias == 0 && c.moves[0].low_db == 0.4 && !given(c.moves[0].level) && c.moves[1].level == 6);
    assert_int_equal(c.proof_count, 1);
    assert_true(c.proof[0].hz == 6300 && c.proof[0].left_db == -1 && !given(c.proof[0].right_db));
    assert_string_equal(c.notes, "two\r\nlines");
    assert_string_equal(c.batch, "007");
}

static void times(void **state)
{
    (void)state;
    static const char *const cases[][2] = {{"made_at=2024-03-01T19:00", "2024-03-01T19:00:00Z"},
                                           {"made_at=2024-03-01T19:00:30", "2024-03-01T19:00:30Z"},
                                           {"made_at=2024-03-01T19:00:00%2B02:00&made_at_offset=-05:00", "2024-03-01T19:00:00+02:00"},
                                           {"made_at=2024-03-01+19:00&made_at_offset=-05:00", "2024-03-01T19:00:00-05:00"},
                                           {"made_at=&made_at_offset=%2B01:00", ""}};
    char when[CLOCK_TEXT];
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_true(read_form(cases[i][0], NULL));
        assert_string_equal(clock_format(c.made_at_us, c.made_at_offset_minutes, when), cases[i][1]);
    }
}

static void refused_fields(void **state)
{
    (void)state;
    static const char *const cases[][3] = {
        {"bias=1.000%2C5", "bias", "comma-and-point"},
        {"bias=one", "bias", "not-a-number"},
        {"made_at=yesterday", "made_at", "not-a-time"},
        {"made_at=2024-03-01T19:00&made_at_offset=x", "made_at", "not-a-time"},
        {"colour=red", "colour", "unknown-member"},
        {"seq=1", "seq", "unknown-member"},
        {"moves%5B0%5D.colour=1", "moves[0].colour", "unknown-member"},
        {"moves%5B40%5D.bias=1", "moves[40].bias", "unknown-member"},
        {"moves%5B2%5D.bias=1.2.3", "moves[2].bias", "not-a-number"},
        {"moves=%5B%5D", "moves", "unknown-member"},
        {"side=c", "side", "not-in-list"},
        {"settled=maybe", "settled", "not-a-flag"},
        {"id=17", "id", "not-a-uuid"},
        {"position_s=1&position_part=.5", "position_part", "one-position"},
        {"recordings=1%2C5", "recordings", "not-whole"},
        {"deck=a%0Ab", "deck", "control-character"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct fault f = {0};
        if (read_form(cases[i][0], &f) || f.kind != FAULT_UNACCEPTABLE || f.count != 1 || strcmp(f.items[0].field, cases[i][1]) ||
            strcmp(f.items[0].code, cases[i][2]))
            fail_msg("%s: %d, %s %s", cases[i][0], f.count, f.items[0].field, f.items[0].code);
    }
    struct fault f = {0};
    assert_false(read_form("bias=x&level=y&side=z", &f)); /* all at once */
    assert_int_equal(f.count, 3);
}

static void numbers(void **state)
{
    (void)state;
    static const char body[] = "a=1%2C25&b=1.25&c=&d=1.2%2C5&e=+3+";
    double x;
    struct fault f = {0};
    arena_reset(arena);
    assert_true(form_read(body, sizeof body - 1, arena, &form, NULL));
    assert_true(form_number(&form, "a", &x, &f) && x == 1.25);
    assert_true(form_number(&form, "b", &x, &f) && x == 1.25);
    assert_true(form_number(&form, "c", &x, &f) && !given(x));
    assert_true(form_number(&form, "absent", &x, &f) && !given(x));
    assert_true(form_number(&form, "e", &x, &f) && x == 3);
    assert_false(form_number(&form, "d", &x, &f));
    assert_string_equal(f.items[0].code, "comma-and-point");
}

static void each_allocation_fails(void **state)
{
    (void)state;
    static const char body[] = "deck=shed&bias=1,5&moves[0].bias=1&notes=x";
    for (long n = 1;; n++) {
        struct fault f = {0};
        arena_reset(arena);
        long alive = mem_alive();
        mem_fail_at(n, 1);
        bool fine = form_read(body, sizeof body - 1, arena, &form, &f) && wire_read_calibration_form(&form, NULL, arena, &c, &f);
        mem_fail_at(0, 0);
        arena_reset(arena);
        assert_true(mem_alive() <= alive);
        if (fine)
            break;
        assert_int_equal(f.kind, FAULT_MEMORY);
    }
    struct arena *small = arena_new(64); /* an arena at its end is a lack of memory too */
    struct fault f = {0};
    assert_false(form_read(body, sizeof body - 1, small, &form, &f));
    assert_int_equal(f.kind, FAULT_MEMORY);
    arena_free(small);
}

static void nonsense(void **state)
{
    (void)state;
    for (int i = 0; i < 5000; i++) {
        char bytes[200];
        struct fault f = {0};
        size_t n = (size_t)below(sizeof bytes);
        any_bytes(bytes, n, "&=%+20,.bias[0]moves&=");
        arena_reset(arena);
        if (form_read(bytes, n, arena, &form, &f)) {
            bool fine = wire_read_calibration_form(&form, NULL, arena, &c, &f);
            assert_true(fine == !fault_set(&f));
        } else {
            assert_true(fault_set(&f));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fields),   cmocka_unit_test(refused_bodies), cmocka_unit_test(percent), cmocka_unit_test(a_filled_page),
        cmocka_unit_test(times),    cmocka_unit_test(refused_fields), cmocka_unit_test(numbers), cmocka_unit_test(each_allocation_fails),
        cmocka_unit_test(nonsense),
    };
    return cmocka_run_group_tests(tests, start, stop);
}
