/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each member of each record given each kind of value. What is taken, written and taken again is the same record; what is refused is refused by that member's
 * name, with a detail; null is the same as not given. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"

#include <stdio.h>
#include <string.h>

struct base {
    const char *kind, *required, *members; /* members: separated by blanks */
};

static const struct base bases[] = {
    {"deck", "\"id\":\"shed\",\"name\":\"Shed\",\"medium\":\"cassette\"",
     "id name model medium heads tracks bias_dial level_dial eq_dial per_channel setups counter low_hz high_hz tone_db reference_nwb_m "
     "meter_step_db warm_up_minutes notes revision origin member"},
    {"stock", "\"id\":\"blue\",\"name\":\"Blue\",\"class\":\"type-1\"",
     "id name family class medium aliases wrapper made_from made_to side_minutes length_m thickness_um hub_mm sheet_bias_db sheet_level_db "
     "notes revision origin member"},
    {"calibration",
     "\"id\":\"0190a3de-0000-7def-8123-000000000101\",\"deck\":\"shed\",\"stock\":\"blue\",\"made_at\":\"2026-03-01T19:00:00Z\"",
     "id deck stock setup channel side batch tape made_at position_s position_turns position_counter position_part recordings bias level "
     "eq "
     "bias_stop level_stop bias_method drop_db drop_hz low_db high_db low_balance_db high_balance_db low_hz high_hz tone_db treble_db "
     "unsteady_db settled noise_reduction mpx_filter for_noise_reduction moves proof peak_db notes void revision origin member"},
    {"service",
     "\"id\":\"0190a3de-0000-7def-8123-0000000000a1\",\"deck\":\"shed\",\"made_at\":\"2026-03-01T19:00:00Z\",\"service_kind\":\"belts\"",
     "id deck made_at service_kind resets bias_shift_db level_shift_db notes revision origin member"},
    {"check",
     "\"id\":\"0190a3de-0000-7def-8123-0000000000a2\",\"deck\":\"shed\",\"made_at\":\"2026-03-01T19:00:00Z\",\"check_kind\":\"playback\"",
     "id deck made_at check_kind low_db high_db low_balance_db high_balance_db notes revision origin member"},
};

#define DIAL "{\"low\":-4,\"high\":4,\"scale\":"
static const char *const values[] = {
    "null",
    "true",
    "false",
    "0",
    "-0",
    "1",
    "-1",
    "2",
    "3",
    "1.5",
    "-0.25",
    "40",
    "1e-300",
    "1e300",
    "-1e300",
    "9007199254740993",
    "\"\"",
    "\" \"",
    "\"x\"",
    "\"1\"",
    "\"left\"",
    "\"both\"",
    "\"a\"",
    "\"b\"",
    "\"low\"",
    "\"none\"",
    "\"flat\"",
    "\"overbias\"",
    "\"automatic\"",
    "\"by-ear\"",
    "\"distortion\"",
    "\"cassette\"",
    "\"reel\"",
    "\"type-4\"",
    "\"reel-standard\"",
    "\"control-tape\"",
    "\"heads-replaced\"",
    "\"main\"",
    "\"two words\"",
    "\"CAPITALS\"",
    "\"1987\"",
    "\"1987-06\"",
    "\"1987-06-05\"",
    "\"1987-13\"",
    "1987",
    "1987.5",
    "99999",
    "\"2026-03-01T19:00:00+01:30\"",
    "\"2026-03-01T19:00:00\"",
    "\"2026-02-30T19:00:00Z\"",
    "\"yesterday\"",
    "\"0190a3de-0000-7def-8123-000000000777\"",
    "\"0190a3de00007def8123000000000777\"",
    "\"a tab\\there\"",
    "\"a line\\nhere\"",
    "\"\\u0085\"",
    "\"\\u00e9\\u4e2d\\ud83d\\ude00\"",
    "[]",
    "[1]",
    "[null]",
    "[[]]",
    "[\"x\"]",
    "[\"x\",\"x\"]",
    "{}",
    "{\"x\":1}",
    "{\"reason\":\"wrong tape\"}",
    "{\"reason\":1}",
    "{\"reason\":\"\"}",
    "{\"low\":0}",
    /* dials */
    DIAL "\"db\"}",
    DIAL "\"learn\",\"unit\":\"mark\",\"step\":0.5,\"zero\":0,\"plus\":\"less\"}",
    DIAL "\"percent\",\"zero\":100}",
    DIAL "\"ratio\",\"zero\":2}",
    DIAL "\"points\",\"points\":[[-4,-2],[0,0],[4,3]]}",
    DIAL "\"points\",\"points\":[[-4,-2],[0]]}",
    DIAL "\"points\",\"points\":[[-4,\"x\"]]}",
    DIAL "\"points\",\"points\":3}",
    DIAL "\"other\"}",
    DIAL "\"db\",\"db_per_unit\":true}",
    DIAL "\"db\",\"plus\":\"up\"}",
    DIAL "\"db\",\"unit\":7}",
    DIAL "\"db\",\"colour\":\"red\"}",
    /* setups and counters */
    "[{\"id\":\"main\"}]",
    "[{\"id\":\"main\",\"speed_mm_s\":47.625,\"equalisation\":\"70us\",\"selector\":\"ii\",\"direction\":\"reverse\"}]",
    "[{\"id\":\"main\",\"direction\":\"up\"}]",
    "[{\"speed_mm_s\":9}]",
    "[{\"id\":1}]",
    "{\"kind\":\"time\"}",
    "{\"kind\":\"turns\",\"turns_per_count\":0.5}",
    "{\"kind\":\"turns\"}",
    "{\"kind\":\"points\",\"points\":[{\"side_minutes\":45,\"c1\":100,\"t1_s\":200,\"c2\":300,\"t2_s\":700}]}",
    "{\"kind\":\"points\",\"points\":[{\"side_minutes\":45}]}",
    "{\"kind\":\"points\",\"points\":[3]}",
    "{\"kind\":\"time\",\"points\":[]}",
    "{\"kind\":\"wheel\"}",
    "{\"turns_per_count\":2}",
    /* moves and readings */
    "[{\"bias\":1,\"level\":0.5,\"low_db\":0.5,\"high_db\":1}]",
    "[{\"bias\":1},{\"level\":2}]",
    "[{\"bias\":\"1\"}]",
    "[{\"bias\":1,\"x\":2}]",
    "[{}]",
    "[{\"hz\":1000,\"left_db\":0.1,\"right_db\":0}]",
    "[{\"hz\":1000}]",
    "[{\"hz\":null,\"left_db\":0}]",
};
#define VALUES (sizeof values / sizeof *values)

static struct arena *arena;
static long taken, refused;

static void write_line(struct buffer *b, const struct line *l)
{
    struct stamp none = {.revision = l->revision ? l->revision : 1, .is_void = l->is_void};
    snprintf(none.void_reason, sizeof none.void_reason, "%s", l->void_reason);
    const struct stamp *stamp = l->revision || l->is_void ? &none : NULL;
    buffer_clear(b);
    switch (l->kind) {
    case LINE_DECK: wire_write_deck(b, &l->as.deck, stamp, true); break;
    case LINE_STOCK: wire_write_stock(b, &l->as.stock, stamp, true); break;
    case LINE_CALIBRATION: wire_write_calibration(b, &l->as.calibration, stamp, true); break;
    case LINE_SERVICE: wire_write_service(b, &l->as.service, stamp, true); break;
    case LINE_CHECK: wire_write_check(b, &l->as.check, stamp, true); break;
    case LINE_END: fail();
    }
}

/* The required members with one of them given this value, or one more. */
static void make_line(char *out, size_t size, const struct base *k, const char *member, const char *value)
{
    char name[60];
    size_t n = (size_t)snprintf(name, sizeof name, "\"%s\":", member);
    const char *there = strstr(k->required, name);
    if (there && (there == k->required || there[-1] == ',')) {
        const char *after = strchr(there + n + 1, '"') + 1;
        snprintf(out, size, "{\"kind\":\"%s\",%.*s%s%s%s}", k->kind, (int)(there - k->required), k->required, name, value, after);
    } else {
        snprintf(out, size, "{\"kind\":\"%s\",%s,%s%s}", k->kind, k->required, name, value);
    }
}

static bool names_it(const struct fault *f, const char *member)
{
    for (int i = 0; i < f->count; i++)
        if (!strncmp(f->items[i].field, member, strlen(member)) && f->items[i].code[0] && f->items[i].detail[0])
            return true;
    return false;
}

static void one(const struct base *k, const char *member, const char *value)
{
    static struct line line, again;
    char text[3000];
    struct buffer first, second;
    struct fault f = {0};
    make_line(text, sizeof text, k, member, value);
    arena_reset(arena);
    if (!wire_read_line(text, strlen(text), arena, &line, &f)) {
        refused++;
        if (f.kind != FAULT_UNACCEPTABLE || !names_it(&f, member))
            fail_msg("%s: refused as %d %s %s", text, (int)f.kind, f.items[0].field, f.items[0].detail);
        return;
    }
    taken++;
    assert_false(fault_set(&f));
    buffer_init(&first, 100000);
    buffer_init(&second, 100000);
    write_line(&first, &line);
    if (!wire_read_line(first.data, first.length, arena, &again, &f))
        fail_msg("%s was written as %s and then refused: %s %s", text, first.data, f.items[0].field, f.items[0].detail);
    write_line(&second, &again);
    if (first.length != second.length || memcmp(first.data, second.data, first.length))
        fail_msg("%s became %s and then %s", text, first.data, second.data);
    if (!strcmp(value, "null") && !strstr(k->required, member)) {
        snprintf(text, sizeof text, "{\"kind\":\"%s\",%s}", k->kind, k->required);
        assert_true(wire_read_line(text, strlen(text), arena, &again, &f));
        write_line(&second, &again);
        if (first.length != second.length || memcmp(first.data, second.data, first.length))
            fail_msg("%s of null became %s, and without it %s", member, first.data, second.data);
    }
    buffer_free(&first);
    buffer_free(&second);
}

static void each(void **state)
{
    (void)state;
    arena = arena_new(1 << 20);
    for (size_t i = 0; i < sizeof bases / sizeof *bases; i++) {
        char member[60];
        for (const char *p = bases[i].members; *p; p += strspn(p, " ")) {
            size_t n = strcspn(p, " ");
            snprintf(member, sizeof member, "%.*s", (int)n, p);
            p += n;
            for (size_t v = 0; v < VALUES; v++)
                one(&bases[i], member, values[v]);
        }
    }
    arena_free(arena);
    print_message("%ld lines taken, %ld refused\n", taken, refused);
    assert_true(taken > 500 && refused > 5000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(each)};
    return cmocka_run_group_tests_name("each member", tests, NULL, NULL);
}
