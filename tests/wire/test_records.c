/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a writer writes, a reader reads back to the same record, bit for bit, in replies and in lines; and what readers do with ids, nulls and lack of memory.
 * (records_in.c, records_out.c, member_read.c, member_write.c, the tables) */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "any.h"
#include "ground/secrets.h"
#include "trade/check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDS 400

static struct arena *arena;
static struct buffer out;

static int start(void **state)
{
    (void)state;
    arena = arena_new(LIMIT_ARENA);
    buffer_init(&out, LIMIT_LINE);
    srandom(7);
    return arena ? 0 : 1;
}

static int stop(void **state)
{
    (void)state;
    arena_free(arena);
    buffer_free(&out);
    return mem_alive() != 0;
}

static void next(void)
{
    arena_reset(arena);
    buffer_clear(&out);
}

static void say(const struct fault *f)
{
    char text[400];
    if (fault_set(f))
        fail_msg("%s\n%s", fault_text(f, text, sizeof text), out.data);
}

/* ---- a reply is read back as a body; it tells what holds where nothing was typed, and says the same by the digest ---- */

static void told(struct deck *d)
{
    if (!d->setup_count) {
        d->setup_count = 1;
        memset(&d->setups[0], 0, sizeof d->setups[0]);
        strcpy(d->setups[0].id, "main");
        d->setups[0].speed_mm_s = ABSENT;
    }
    d->low_hz = given(d->low_hz) ? d->low_hz : 315;
    d->high_hz = given(d->high_hz) ? d->high_hz : 10000;
    d->tone_db = given(d->tone_db) ? d->tone_db : -20;
}

static void replies_round(void **state)
{
    (void)state;
    static struct deck d, d2;
    static struct stock s, s2;
    static struct calibration c, c2;
    static struct service v, v2;
    static struct deck_check k, k2;
    for (int i = 0; i < ROUNDS; i++) {
        struct fault f = {0};
        struct stamp stamp;
        uint8_t x[32], y[32];
        any_stamp(&stamp);
        const struct stamp *with = i % 2 ? &stamp : NULL;
        next(), any_deck(&d, arena), wire_write_deck(&out, &d, with, false);
        assert_true(wire_read_deck(out.data, out.length, d.id, arena, &d2, &f) || (say(&f), 0));
        digest_deck(&d, x), digest_deck(&d2, y);
        assert_true(digest_same(x, y));
        told(&d);
        assert_true(same_deck(d, d2));
        next(), any_stock(&s, arena), wire_write_stock(&out, &s, with, false);
        assert_true(wire_read_stock(out.data, out.length, NULL, arena, &s2, &f) || (say(&f), 0));
        assert_true(same_stock(s, s2));
        next(), any_calibration(&c, arena), wire_write_calibration(&out, &c, with, false);
        assert_true(wire_read_calibration(out.data, out.length, &c.id, arena, &c2, &f) || (say(&f), 0));
        digest_calibration(&c, x), digest_calibration(&c2, y);
        assert_true(digest_same(x, y));
        if (!*c.setup)
            strcpy(c.setup, "main");
        assert_true(same_calibration(c, c2));
        next(), any_service(&v, arena), wire_write_service(&out, &v, with, false);
        assert_true(wire_read_service(out.data, out.length, v.deck, &v.id, arena, &v2, &f) || (say(&f), 0));
        assert_true(same_service(v, v2));
        next(), any_check(&k, arena), wire_write_check(&out, &k, with, false);
        assert_true(wire_read_check(out.data, out.length, NULL, NULL, arena, &k2, &f) || (say(&f), 0));
        assert_true(same_check(k, k2));
    }
}

/* ---- lines ---- */

static void lines_round(void **state)
{
    (void)state;
    static struct calibration c;
    static struct deck d;
    static struct line l;
    for (int i = 0; i < ROUNDS; i++) {
        struct fault f = {0};
        struct stamp stamp;
        uint8_t x[32], y[32];
        any_stamp(&stamp);
        next(), any_calibration(&c, arena), c.position_s = any_number(), wire_write_calibration(&out, &c, &stamp, true);
        assert_null(strchr(out.data, '\n'));
        assert_null(strstr(out.data, "\"seq\""));
        assert_true(wire_read_line(out.data, out.length, arena, &l, &f) || (say(&f), 0));
        assert_int_equal(l.kind, LINE_CALIBRATION);
        c.position_s = ABSENT; /* derived: worked out again where it is read */
        assert_true(same_calibration(c, l.as.calibration));
        digest_calibration(&c, x), digest_calibration(&l.as.calibration, y);
        assert_true(digest_same(x, y));
        assert_int_equal(l.revision, stamp.revision);
        assert_string_equal(l.member, stamp.member);
        assert_string_equal(l.origin, stamp.origin);
        assert_int_equal(l.is_void, stamp.is_void);
        assert_string_equal(l.void_reason, stamp.void_reason);
        next(), any_deck(&d, arena), wire_write_deck(&out, &d, NULL, true);
        assert_true(wire_read_line(out.data, out.length, arena, &l, &f) || (say(&f), 0));
        assert_true(l.kind == LINE_DECK && same_deck(d, l.as.deck) && l.revision == 0 && !l.is_void);
        digest_deck(&d, x), digest_deck(&l.as.deck, y);
        assert_true(digest_same(x, y));
    }
}

/* Each kind of line is written again to the same bytes. */
static void lines_are_canonical(void **state)
{
    (void)state;
    static struct line l;
    for (int i = 0; i < ROUNDS; i++) {
        struct fault f = {0};
        struct buffer again;
        next(), any_line(&out, i, arena);
        assert_false(out.failed);
        assert_true(wire_read_line(out.data, out.length, arena, &l, &f) || (say(&f), 0));
        struct stamp stamp = {.revision = l.revision, .is_void = l.is_void};
        strcpy(stamp.member, l.member), strcpy(stamp.origin, l.origin), strcpy(stamp.void_reason, l.void_reason);
        buffer_init(&again, LIMIT_LINE);
        switch (l.kind) {
        case LINE_DECK: wire_write_deck(&again, &l.as.deck, &stamp, true); break;
        case LINE_STOCK: wire_write_stock(&again, &l.as.stock, &stamp, true); break;
        case LINE_CALIBRATION: wire_write_calibration(&again, &l.as.calibration, &stamp, true); break;
        case LINE_SERVICE: wire_write_service(&again, &l.as.service, &stamp, true); break;
        case LINE_CHECK: wire_write_check(&again, &l.as.check, &stamp, true); break;
        case LINE_END:
            buffer_format(&again, "{\"kind\":\"end\",\"rows\":%lld,\"sha256\":\"%s\"}", (long long)l.end_rows, l.end_sha256);
            break;
        }
        assert_string_equal(again.data, out.data);
        buffer_free(&again);
    }
}

/* ---- what a person sees in a reply ---- */

static void a_reply_in_full(void **state)
{
    (void)state;
    struct calibration c;
    calibration_init(&c);
    assert_true(uuid_parse("017f22e2-79b0-7cc3-98c4-dc0c0c07398f", &c.id));
    strcpy(c.deck, "shed"), strcpy(c.stock, "blue-90");
    assert_true(clock_parse("2024-03-01T19:00:00+01:00", 25, &c.made_at_us, &c.made_at_offset_minutes));
    c.position_kind = POSITION_TURNS, c.position_typed = 600, c.position_s = 1143.8412;
    c.bias = 1.5, c.level = 6;
    c.low_db = 0.1, c.high_db = -0.3;
    c.move_count = 1;
    c.moves[0] = (struct move){0, 6, 0.4, ABSENT};
    struct stamp stamp = {.seq = 12, .revision = 2, .stored_us = 0, .is_void = true, .member = "Ann", .void_reason = "wrong deck"};
    next();
    wire_write_calibration(&out, &c, &stamp, false);
    assert_string_equal(
        out.data,
        "{\"id\":\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\",\"deck\":\"shed\",\"stock\":\"blue-90\",\"channel\":\"both\","
        "\"made_at\":\"2024-03-01T19:00:00+01:00\",\"position_turns\":600,\"bias\":1.5,\"level\":6,\"bias_stop\":\"none\",\"level_stop\":"
        "\"none\","
        "\"bias_method\":\"flat\",\"low_db\":0.1,\"high_db\":-0.3,\"settled\":true,\"noise_reduction\":false,\"mpx_filter\":false,"
        "\"for_noise_reduction\":false,\"moves\":[{\"bias\":0,\"level\":6,\"low_db\":0.4}],\"setup\":\"main\",\"place_s\":1143.8,\"seq\":"
        "12,\"revision\":2,"
        "\"member\":\"Ann\",\"logged_at\":\"1970-01-01T00:00:00Z\",\"void\":{\"reason\":\"wrong deck\"}}");
}

/* ---- ids ---- */

static const struct uuid this_id = {{0x01, 0x7f, 0x22, 0xe2, 0x79, 0xb0, 0x7c, 0xc3, 0x98, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f}};

static bool read_c(const char *json, const struct uuid *id, struct fault *f)
{
    static struct calibration c;
    return wire_read_calibration(json, strlen(json), id, arena, &c, f) && (!id || uuid_same(&c.id, id));
}

static void ids_agree(void **state)
{
    (void)state;
    struct fault f = {0};
    struct deck d;
    assert_true(read_c("{}", &this_id, &f));
    assert_true(read_c("{\"id\":\"017F22E2-79B0-7CC3-98C4-DC0C0C07398F\"}", &this_id, &f));
    assert_false(read_c("{\"id\":\"017f22e2-79b0-7cc3-98c4-dc0c0c073980\"}", &this_id, &f));
    assert_string_equal(f.items[0].code, "id-differs");
    fault_clear(&f);
    assert_false(read_c("{}", NULL, &f));
    assert_string_equal(f.items[0].code, "required");
    fault_clear(&f);
    assert_true(wire_read_deck("{}", 2, "shed", arena, &d, &f));
    assert_string_equal(d.id, "shed");
    assert_false(wire_read_deck("{\"id\":\"attic\"}", 14, "shed", arena, &d, &f));
    assert_string_equal(f.items[0].code, "id-differs");
}

static void other_ways_to_say_it(void **state)
{
    (void)state;
    struct fault f = {0};
    static struct stock s;
    static struct line l;
    static const char stock[] = "{\"made_from\":1985,\"made_to\":\"1990-03\"}";
    assert_true(wire_read_stock(stock, strlen(stock), "blue-90", arena, &s, &f));
    assert_string_equal(s.made_from, "1985");
    assert_string_equal(s.made_to, "1990-03");
    static const char *const lines[] = {"{\"kind\":\"calibration\",\"id\":\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\",\"void\":false}",
                                        "{\"kind\":\"calibration\",\"id\":\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\",\"void\":true}"};
    for (int i = 0; i < 2; i++) {
        assert_true(wire_read_line(lines[i], strlen(lines[i]), arena, &l, &f));
        assert_int_equal(l.is_void, i == 1);
    }
}

static void null_is_not_given(void **state)
{
    (void)state;
    struct fault f = {0};
    struct calibration c, fresh;
    static const char json[] = "{\"side\":null,\"bias\":null,\"recordings\":null,\"settled\":null,\"notes\":null,\"moves\":null,\"made_"
                               "at\":null,\"position_s\":null,\"setup\":null}";
    assert_true(wire_read_calibration(json, strlen(json), &this_id, arena, &c, &f));
    calibration_init(&fresh);
    fresh.id = this_id;
    assert_true(same_calibration(c, fresh));
}

static void what_get_adds_is_taken_back(void **state)
{
    (void)state;
    struct fault f = {0};
    assert_true(read_c("{\"seq\":1,\"revision\":2,\"member\":\"x\",\"logged_at\":\"?\",\"void\":{\"reason\":\"y\"},\"etag\":\"z\","
                       "\"origin\":\"o\",\"place_s\":1}",
                       &this_id, &f));
}

static void service_resets_by_kind(void **state)
{
    (void)state;
    struct service s;
    struct fault f = {0};
    static const struct {
        const char *json;
        bool resets;
    } cases[] = {{"{\"kind\":\"heads-replaced\"}", true},
                 {"{\"kind\":\"belts\"}", false},
                 {"{\"kind\":\"belts\",\"resets\":true}", true},
                 {"{\"kind\":\"heads-replaced\",\"resets\":false}", false},
                 {"{\"resets\":null,\"kind\":\"record-trims\"}", true}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_true(wire_read_service(cases[i].json, strlen(cases[i].json), "shed", &this_id, arena, &s, &f));
        assert_int_equal(s.resets, cases[i].resets);
    }
    static struct line l;
    static const char line[] = "{\"kind\":\"service\",\"id\":\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\",\"service_kind\":\"realigned\"}";
    assert_true(wire_read_line(line, strlen(line), arena, &l, &f));
    assert_true(l.as.service.resets);
}

static void voids(void **state)
{
    (void)state;
    char reason[LIMIT_REASON + 1];
    struct fault f = {0};
    assert_true(wire_read_void("{\"reason\":\"wrong deck\"}", 23, reason, &f));
    assert_string_equal(reason, "wrong deck");
    assert_false(wire_read_void("{}", 2, reason, &f));
    assert_false(wire_read_void("{\"reason\":\"  \"}", 15, reason, NULL));
}

/* ---- lack of memory is said as such, for each allocation in turn, and nothing leaks ---- */

static void each_allocation_fails(void **state)
{
    (void)state;
    static struct line l;
    int kinds_done = 0;
    for (int i = 0; i < 5; i++) {
        struct buffer line;
        buffer_init(&line, LIMIT_LINE);
        any_line(&line, i, arena);
        for (int ever = 0; ever < 2; ever++)
            for (long n = 1;; n++) {
                struct fault f = {0};
                arena_reset(arena);
                long alive = mem_alive();
                mem_fail_at(n, ever);
                bool fine = wire_read_line(line.data, line.length, arena, &l, &f);
                mem_fail_at(0, 0);
                if (fine) {
                    kinds_done++;
                    break;
                }
                assert_int_equal(f.kind, FAULT_MEMORY);
                assert_int_equal(f.count, 1);
                arena_reset(arena);
                assert_true(mem_alive() <= alive);
            }
        buffer_free(&line);
    }
    assert_int_equal(kinds_done, 10);
}

/* ---- nonsense never crashes, and a good line with one byte changed is read or refused with a reason ---- */

static void changed_bytes(void **state)
{
    (void)state;
    static struct line l;
    int refused = 0;
    for (int i = 0; i < 4000; i++) {
        struct fault f = {0};
        next(), any_line(&out, i, arena);
        for (long k = 1 + below(3); k > 0; k--)
            any_bytes(out.data + below((long)out.length), 1, "{}[]\",:0\\u");
        arena_reset(arena);
        if (!wire_read_line(out.data, out.length, arena, &l, &f)) {
            refused++;
            assert_true(f.kind == FAULT_MALFORMED || f.kind == FAULT_UNACCEPTABLE);
            assert_true(f.count > 0 && *f.items[0].code && *f.items[0].detail);
        }
    }
    assert_true(refused > 1000);
}

static void random_bytes(void **state)
{
    (void)state;
    static struct line l;
    char bytes[300];
    for (int i = 0; i < 4000; i++) {
        struct fault f = {0};
        size_t n = (size_t)below(sizeof bytes);
        any_bytes(bytes, n, "{}[]\",:\\\"kind\"deck0123456789.eE-+ nulltruefalse");
        assert_false(wire_read_line(bytes, n, arena, &l, &f));
        assert_true(fault_set(&f));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(replies_round),
        cmocka_unit_test(lines_round),
        cmocka_unit_test(lines_are_canonical),
        cmocka_unit_test(a_reply_in_full),
        cmocka_unit_test(ids_agree),
        cmocka_unit_test(other_ways_to_say_it),
        cmocka_unit_test(null_is_not_given),
        cmocka_unit_test(what_get_adds_is_taken_back),
        cmocka_unit_test(service_resets_by_kind),
        cmocka_unit_test(voids),
        cmocka_unit_test(each_allocation_fails),
        cmocka_unit_test(changed_bytes),
        cmocka_unit_test(random_bytes),
    };
    return secrets_start() ? cmocka_run_group_tests(tests, start, stop) : 1;
}
