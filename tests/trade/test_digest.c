/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A digest changes with every member that was typed and with nothing else. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "ground/secrets.h"
#include "trade/check.h"

#include <stdio.h>
#include <string.h>

static void a_calibration(struct calibration *c)
{
    calibration_init(c);
    c->id = (struct uuid){{1, 2, 3}};
    strcpy(c->deck, "shed");
    strcpy(c->stock, "blue-90");
    c->made_at_us = 1;
    c->bias = 1.5;
    c->move_count = 2;
    c->moves[0] = (struct move){1, 2, 3, 4};
    c->moves[1] = (struct move){5, 6, 7, 8};
}

static bool same(const struct calibration *a, const struct calibration *b)
{
    uint8_t x[32], y[32];
    digest_calibration(a, x);
    digest_calibration(b, y);
    return digest_same(x, y);
}

/* clang-format off */
#define EDITS(X) \
    X(c->id.bytes[15] = 9) X(strcpy(c->deck, "attic")) X(strcpy(c->stock, "attic")) X(strcpy(c->setup, "fast")) \
    X(c->channel = CHANNEL_LEFT) X(c->side = SIDE_B) X(strcpy(c->batch, "7")) X(strcpy(c->tape, "7")) X(c->made_at_us = 2) \
    X(c->made_at_offset_minutes = 60) X(c->position_kind = POSITION_S; c->position_typed = 7) \
    X(c->position_kind = POSITION_TURNS; c->position_typed = 7) X(c->recordings = 0) X(c->bias = 7) X(c->level = 7) X(c->eq = 7) \
    X(c->bias_stop = STOP_LOW) X(c->level_stop = STOP_LOW) X(c->bias_method = METHOD_BY_EAR) X(c->drop_db = 7) X(c->drop_hz = 7) \
    X(c->low_db = 7) X(c->high_db = 7) X(c->low_balance_db = 7) X(c->high_balance_db = 7) X(c->low_hz = 7) X(c->high_hz = 7) \
    X(c->tone_db = 7) X(c->treble_db = 7) X(c->unsteady_db = 7) X(c->settled = false) X(c->noise_reduction = true) \
    X(c->mpx_filter = true) X(c->for_noise_reduction = true) X(c->move_count = 1) X(c->moves[0].bias = 7) X(c->moves[1].level = 7) \
    X(c->moves[0].low_db = ABSENT) X(c->moves[1].high_db = 7) X(c->proof_count = 1; c->proof[0] = (struct proof){1, 2, 3}) \
    X(c->peak_db = 7) X(c->notes = "7")
/* clang-format on */
#define EDIT(...)                                                                                                                          \
    case __COUNTER__ - FIRST: __VA_ARGS__; break;
enum { FIRST = __COUNTER__ + 1 };
static bool edit(struct calibration *c, int which)
{
    switch (which) {
        EDITS(EDIT)
    default: return false;
    }
    return true;
}

static void every_member_counts(void **state)
{
    (void)state;
    static struct calibration all[64];
    int n = 1;
    a_calibration(&all[0]);
    for (; n < 64; n++) {
        a_calibration(&all[n]);
        if (!edit(&all[n], n - 1))
            break;
    }
    assert_int_equal(n, 43); /* 42 edits and the plain one */
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            if (same(&all[i], &all[k]) != (i == k))
                fail_msg("edits %d and %d", i - 1, k - 1);
}

static void what_does_not_count(void **state)
{
    (void)state;
    static struct calibration a, b;
    a_calibration(&a);
    a_calibration(&b);
    b.position_s = 12;                            /* derived */
    b.position_typed = 5;                         /* of no kind */
    b.moves[2].bias = 1;                          /* past the count */
    b.notes = "";                                 /* the same as none */
    strcpy(b.setup, "main");                      /* the default */
    b.treble_db = 0;                              /* likewise */
    memset(b.batch + 1, 'x', sizeof b.batch - 1); /* after the end of a text */
    assert_true(same(&a, &b));
    a.bias = 0.0, b.bias = -0.0;
    assert_true(same(&a, &b));
}

/* Neighbouring texts and lists do not run into each other. */
static void boundaries(void **state)
{
    (void)state;
    static struct calibration a, b;
    a_calibration(&a), a_calibration(&b);
    strcpy(a.batch, "ab"), strcpy(b.batch, "a"), strcpy(b.tape, "b");
    assert_false(same(&a, &b));
    a_calibration(&a), a_calibration(&b);
    a.moves[0] = (struct move){1, ABSENT, ABSENT, ABSENT}, a.moves[1] = (struct move){ABSENT, 2, ABSENT, ABSENT};
    b.moves[0] = (struct move){1, 2, ABSENT, ABSENT}, b.moves[1] = (struct move){ABSENT, ABSENT, ABSENT, ABSENT};
    assert_false(same(&a, &b));
}

static void other_records(void **state)
{
    (void)state;
    static struct deck d, e;
    uint8_t x[32], y[32];
    deck_init(&d), deck_init(&e);
    digest_deck(&d, x), digest_deck(&e, y);
    assert_true(digest_same(x, y));
    e.bias_dial.low = 3; /* of a dial that is not there */
    digest_deck(&e, y);
    assert_true(digest_same(x, y));
    e.bias_dial.present = true;
    digest_deck(&e, y);
    assert_false(digest_same(x, y));
    d = e;
    d.level_dial = d.bias_dial, d.bias_dial.present = false; /* the same dial in another place */
    digest_deck(&d, x);
    assert_false(digest_same(x, y));
    struct stock s, t;
    stock_init(&s), stock_init(&t);
    s.tape_class = CLASS_TYPE_1, t.tape_class = CLASS_TYPE_2;
    digest_stock(&s, x), digest_stock(&t, y);
    assert_false(digest_same(x, y));
    struct service v, w;
    service_init(&v), service_init(&w);
    w.resets = true;
    digest_service(&v, x), digest_service(&w, y);
    assert_false(digest_same(x, y));
    struct deck_check g, h;
    deck_check_init(&g), deck_check_init(&h);
    h.kind = CHECK_CONTROL_TAPE;
    digest_check(&g, x), digest_check(&h, y);
    assert_false(digest_same(x, y));
}

/* Digests stand in every club's file: they must come out as they always did, however the bytes are gathered. This one was worked out when each piece was summed alone. */
static void as_it_always_was(void **state)
{
    (void)state;
    static char notes[2001];
    struct calibration c;
    uint8_t digest[32];
    char hex[DIGEST_HEX];
    a_calibration(&c);
    c.move_count = 40;
    for (int i = 0; i < 40; i++)
        c.moves[i] = (struct move){i, -i, 0.5 * i, 1};
    memset(notes, 'n', sizeof notes - 1);
    c.notes = notes;
    digest_calibration(&c, digest);
    assert_string_equal(digest_hex(digest, hex), "95fc13da614d06a6cc6c686fec8639b83fedb600d15b0e861317eee6bf4fff54");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_member_counts), cmocka_unit_test(what_does_not_count), cmocka_unit_test(boundaries),
        cmocka_unit_test(other_records),       cmocka_unit_test(as_it_always_was),
    };
    return secrets_start() ? cmocka_run_group_tests(tests, NULL, NULL) : 1;
}
