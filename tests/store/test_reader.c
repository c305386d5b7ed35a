/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Reading: what was written comes back to the last member, snapshots hold still, the pool has its bound.
 */
#include "scratch.h"

#include "trade/check.h"

#include <stdio.h>
#include <string.h>

static double at(int i)
{
    return (double)i / 8 - 3; /* exact in binary, different for each member */
}

static struct deck full_deck(void)
{
    struct deck d = a_deck("deck-full");
    snprintf(d.model, sizeof d.model, "Model 7");
    d.tracks = 4;
    d.per_channel = true;
    d.bias_dial.scale = SCALE_POINTS;
    d.bias_dial.db_per_unit = ABSENT;
    d.bias_dial.point_count = LIMIT_DIAL_POINTS;
    for (int i = 0; i < LIMIT_DIAL_POINTS; i++) {
        d.bias_dial.points[i][0] = i;
        d.bias_dial.points[i][1] = at(i);
    }
    d.eq_dial = (struct dial){
        .present = true, .low = 0, .high = 10, .step = 1, .zero = ABSENT, .plus = PLUS_LESS, .scale = SCALE_LEARN, .db_per_unit = ABSENT};
    d.setup_count = LIMIT_SETUPS;
    for (int i = 0; i < LIMIT_SETUPS; i++) {
        struct setup *u = &d.setups[i];
        snprintf(u->id, sizeof u->id, "setup-%d", LIMIT_SETUPS - i);
        u->speed_mm_s = i % 2 ? 47.625 : ABSENT;
        snprintf(u->equalisation, sizeof u->equalisation, "%dus", i);
        snprintf(u->selector, sizeof u->selector, "\xC3\xBC%d", i);
        u->direction = i % 2 ? DIRECTION_REVERSE : DIRECTION_FORWARD;
    }
    d.counter.kind = COUNTER_POINTS;
    d.counter.point_count = LIMIT_COUNTER_POINTS;
    for (int i = 0; i < LIMIT_COUNTER_POINTS; i++)
        d.counter.points[i] = (struct counter_point){30 + i, at(i), at(i + 1), at(i + 2), at(i + 3)};
    d.low_hz = 400;
    d.high_hz = 12500;
    d.tone_db = -10;
    d.reference_nwb_m = 250;
    d.meter_step_db = .5;
    d.warm_up_minutes = 20;
    d.notes = "two lines\nand an umlaut \xC3\xA4";
    return d;
}

static struct calibration full_calibration(void)
{
    struct calibration c = a_calibration("deck-a", "stock-a");
    snprintf(c.setup, sizeof c.setup, "fast");
    c.channel = CHANNEL_RIGHT;
    c.side = SIDE_B;
    snprintf(c.batch, sizeof c.batch, "B 12");
    snprintf(c.tape, sizeof c.tape, "my 3rd");
    c.position_kind = POSITION_COUNTER;
    c.position_typed = 217;
    c.position_s = 431.25;
    c.recordings = 0;
    c.eq = at(2);
    c.bias_stop = STOP_HIGH;
    c.level_stop = STOP_LOW;
    c.bias_method = METHOD_OVERBIAS;
    double *reals[] = {&c.drop_db, &c.drop_hz, &c.low_db,  &c.high_db,   &c.low_balance_db, &c.high_balance_db,
                       &c.low_hz,  &c.high_hz, &c.tone_db, &c.treble_db, &c.unsteady_db,    &c.peak_db};
    for (int i = 0; i < 12; i++)
        *reals[i] = at(i + 3);
    c.settled = false;
    c.noise_reduction = c.mpx_filter = c.for_noise_reduction = true;
    c.move_count = LIMIT_MOVES;
    for (int i = 0; i < LIMIT_MOVES; i++)
        c.moves[i] = (struct move){at(i), i % 3 ? ABSENT : at(i + 1), at(i + 2), at(i + 3)};
    c.proof_count = LIMIT_PROOF;
    for (int i = 0; i < LIMIT_PROOF; i++)
        c.proof[i] = (struct proof){1000 * (i + 1), at(i), i % 2 ? ABSENT : at(i)};
    c.notes = "dirty heads";
    return c;
}

static bool same_real(double a, double b)
{
    return (isnan(a) && isnan(b)) || fabs(a - b) <= 0;
}

/* The digest goes over everything typed, so equal digests are equal records; what it leaves out is compared beside it. */
static void everything_comes_back(void **state)
{
    struct scratch *s = *state;
    uint8_t before[32], after[32];
    struct stamp stamp;
    make_pair(s->store);
    struct deck d = full_deck(), d2;
    assert_outcome(put_deck(s->store, &d, NULL), WRITE_CREATED);
    struct stock t = a_stock("stock-full"), t2;
    snprintf(t.family, sizeof t.family, "family");
    t.medium = MEDIUM_CASSETTE;
    t.alias_count = LIMIT_ALIASES;
    for (int i = 0; i < LIMIT_ALIASES; i++)
        snprintf(t.aliases[i], sizeof t.aliases[i], "alias %d", LIMIT_ALIASES - i);
    snprintf(t.wrapper, sizeof t.wrapper, "gold on black");
    snprintf(t.made_from, sizeof t.made_from, "1984");
    snprintf(t.made_to, sizeof t.made_to, "1986-05");
    t.side_minutes = 45, t.length_m = 135, t.thickness_um = 12, t.hub_mm = 22, t.sheet_bias_db = .5, t.sheet_level_db = -1.5;
    t.notes = "notes";
    assert_outcome(put_stock(s->store, &t, NULL), WRITE_CREATED);
    struct calibration c = full_calibration(), c2;
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
    struct service v = a_service("deck-a"), v2;
    v.made_at_offset_minutes = -90;
    v.resets = true, v.bias_shift_db = .25, v.level_shift_db = -.5, v.notes = "new belts";
    assert_outcome(put_service(s->store, &v, NULL), WRITE_CREATED);
    struct deck_check k = a_check("deck-a"), k2;
    k.low_db = 1, k.low_balance_db = 2, k.high_balance_db = 3, k.notes = "n";
    assert_outcome(put_check(s->store, &k, NULL), WRITE_CREATED);

    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(read_deck(r, "deck-full", s->arena, &d2, &stamp, NULL), READ_OK);
    digest_deck(&d, before), digest_deck(&d2, after);
    assert_memory_equal(before, after, 32);
    assert_int_equal(stamp.seq, 3);
    assert_int_equal(read_stock(r, "stock-full", s->arena, &t2, &stamp, NULL), READ_OK);
    digest_stock(&t, before), digest_stock(&t2, after);
    assert_memory_equal(before, after, 32);
    assert_int_equal(read_calibration(r, &c.id, s->arena, &c2, &stamp, NULL), READ_OK);
    digest_calibration(&c, before), digest_calibration(&c2, after);
    assert_memory_equal(before, after, 32);
    assert_true(same_real(c2.position_s, 431.25));
    assert_string_equal(c2.setup, "fast");
    assert_int_equal(stamp.revision, 1);
    assert_true(stamp.stored_us > 0 && !stamp.is_void);
    assert_string_equal(stamp.member, "");
    assert_int_equal(read_service(r, &v.id, s->arena, &v2, &stamp, NULL), READ_OK);
    digest_service(&v, before), digest_service(&v2, after);
    assert_memory_equal(before, after, 32);
    assert_int_equal(read_check(r, &k.id, s->arena, &k2, &stamp, NULL), READ_OK);
    digest_check(&k, before), digest_check(&k2, after);
    assert_memory_equal(before, after, 32);
    assert_string_equal(k2.notes, "n");
    reader_give(r);
}

/* And of the least that can be written, nothing but what was typed. */
static void nothing_given_stays_not_given(void **state)
{
    struct scratch *s = *state;
    struct stamp stamp;
    make_pair(s->store);
    struct deck d, d2;
    deck_init(&d);
    snprintf(d.id, sizeof d.id, "bare");
    snprintf(d.name, sizeof d.name, "Bare");
    d.medium = MEDIUM_REEL;
    assert_outcome(put_deck(s->store, &d, NULL), WRITE_CREATED);
    struct calibration c, c2;
    calibration_init(&c);
    c.id = uuid_make();
    c.made_at_us = 5;
    snprintf(c.deck, sizeof c.deck, "bare");
    snprintf(c.stock, sizeof c.stock, "stock-a");
    assert_outcome(put_calibration(s->store, &c, NULL), WRITE_CREATED);
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(read_deck(r, "bare", s->arena, &d2, &stamp, NULL), READ_OK);
    assert_false(d2.bias_dial.present || d2.level_dial.present || d2.eq_dial.present);
    assert_true(d2.heads == -1 && d2.tracks == -1 && isnan(d2.low_hz) && !d2.notes && d2.setup_count == 0);
    assert_int_equal(read_calibration(r, &c.id, s->arena, &c2, &stamp, NULL), READ_OK);
    assert_true(isnan(c2.bias) && isnan(c2.position_typed) && c2.recordings == -1 && c2.settled && !c2.notes);
    assert_int_equal(c2.position_kind, POSITION_NONE);
    assert_int_equal(c2.side, SIDE_NONE);
    assert_string_equal(c2.setup, "");
    reader_give(r);
}

static void unknown_is_none(void **state)
{
    struct scratch *s = *state;
    struct deck d;
    struct stock t;
    struct calibration c;
    struct service v;
    struct deck_check k;
    struct stamp stamp;
    struct uuid id = uuid_make();
    struct fault f = {.kind = FAULT_NONE};
    char text[8];
    struct reader *r = reader_take(s->store, &f);
    assert_int_equal(read_deck(r, "x", s->arena, &d, &stamp, &f), READ_NONE);
    assert_int_equal(read_stock(r, "x", s->arena, &t, &stamp, &f), READ_NONE);
    assert_int_equal(read_calibration(r, &id, s->arena, &c, &stamp, &f), READ_NONE);
    assert_int_equal(read_service(r, &id, s->arena, &v, &stamp, &f), READ_NONE);
    assert_int_equal(read_check(r, &id, s->arena, &k, &stamp, &f), READ_NONE);
    assert_int_equal(read_fact(r, "x", text, sizeof text, &f), READ_NONE);
    assert_false(fault_set(&f));
    reader_give(r);
    reader_give(NULL);
}

/* ---- walks over decks and stocks ---- */
struct names {
    char text[200];
    int stop_after;
};

static bool add_name(struct names *n, const char *id)
{
    strncat(n->text, id, sizeof n->text - strlen(n->text) - 1);
    strncat(n->text, " ", sizeof n->text - strlen(n->text) - 1);
    return --n->stop_after != 0;
}

static bool deck_name(void *user, const struct deck *d, const struct stamp *stamp)
{
    (void)stamp;
    return add_name(user, d->id);
}

static bool stock_name(void *user, const struct stock *t, const struct stamp *stamp)
{
    (void)stamp;
    return add_name(user, t->id);
}

static void walks_by_slug_and_page(void **state)
{
    struct scratch *s = *state;
    static const char *const ids[] = {"m", "c", "9", "x-1", "b"};
    for (int i = 0; i < 5; i++) {
        struct deck d = a_deck(ids[i]);
        struct stock t = a_stock(ids[i]);
        put_deck(s->store, &d, NULL);
        put_stock(s->store, &t, NULL);
    }
    struct deck d = a_deck("c"); /* a corrected deck is walked once, as it stands */
    d.heads = 2;
    put_deck(s->store, &d, "*");
    struct reader *r = reader_take(s->store, NULL);
    struct names all = {"", 0}, page = {"", 0}, last = {"", 0}, stopped = {"", 2};
    assert_int_equal(walk_decks(r, NULL, 0, deck_name, &all, NULL), READ_OK);
    assert_string_equal(all.text, "9 b c m x-1 ");
    walk_stocks(r, NULL, 2, stock_name, &page, NULL);
    assert_string_equal(page.text, "9 b ");
    walk_stocks(r, "b", 9, stock_name, &last, NULL);
    assert_string_equal(last.text, "c m x-1 ");
    assert_int_equal(walk_decks(r, NULL, 0, deck_name, &stopped, NULL), READ_OK);
    assert_string_equal(stopped.text, "9 b ");
    reader_give(r);
}

static bool count_service(void *user, const struct service *v, const struct stamp *stamp)
{
    int *n = user;
    assert_true(stamp->seq > 0 && v->made_at_us > 0);
    n[0]++;
    return true;
}

static bool count_check(void *user, const struct deck_check *k, const struct stamp *stamp)
{
    int *n = user;
    assert_true(stamp->seq > 0 && k->made_at_us > 0);
    n[0]++;
    return true;
}

static void services_and_checks_of_a_deck(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct deck d = a_deck("deck-b");
    put_deck(s->store, &d, NULL);
    for (int i = 0; i < 3; i++) {
        struct service v = a_service(i ? "deck-a" : "deck-b");
        struct deck_check k = a_check(i ? "deck-a" : "deck-b");
        put_service(s->store, &v, NULL);
        put_check(s->store, &k, NULL);
    }
    struct reader *r = reader_take(s->store, NULL);
    int of_a = 0, of_all = 0, of_none = 0, checks = 0;
    walk_services(r, "deck-a", count_service, &of_a, NULL);
    walk_services(r, NULL, count_service, &of_all, NULL);
    walk_services(r, "deck-x", count_service, &of_none, NULL);
    walk_checks(r, "deck-b", count_check, &checks, NULL);
    assert_int_equal(of_a, 2);
    assert_int_equal(of_all, 3);
    assert_int_equal(of_none, 0);
    assert_int_equal(checks, 1);
    walk_checks(r, NULL, count_check, &checks, NULL);
    assert_int_equal(checks, 4);
    reader_give(r);
}

static void snapshot_holds_still(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct reader *r = reader_take(s->store, NULL);
    struct calibration c = a_calibration("deck-a", "stock-a"), got;
    struct stamp stamp;
    put_calibration(s->store, &c, NULL);
    assert_int_equal(read_calibration(r, &c.id, s->arena, &got, &stamp, NULL), READ_NONE);
    reader_give(r);
    r = reader_take(s->store, NULL);
    assert_int_equal(read_calibration(r, &c.id, s->arena, &got, &stamp, NULL), READ_OK);
    reader_give(r);
}

static void *give_later(void *argument)
{
    struct timespec t = {.tv_nsec = 30000000};
    nanosleep(&t, NULL);
    reader_give(argument);
    return NULL;
}

static void pool_has_its_bound(void **state)
{
    struct scratch *s = *state;
    struct reader *r[LIMIT_READERS];
    for (int i = 0; i < LIMIT_READERS; i++)
        assert_non_null(r[i] = reader_take(s->store, NULL));
    pthread_t t;
    assert_int_equal(pthread_create(&t, NULL, give_later, r[0]), 0);
    struct reader *waited = reader_take(s->store, NULL); /* waits for the one that is given back */
    assert_ptr_equal(waited, r[0]);
    pthread_join(t, NULL);
    for (int i = 0; i < LIMIT_READERS; i++)
        reader_give(r[i]);
    assert_int_equal(s->store->readers, LIMIT_READERS);
}

static void readers_cannot_write(void **state)
{
    struct scratch *s = *state;
    struct reader *r = reader_take(s->store, NULL);
    assert_false(sql_text(&r->c, "DELETE FROM fact", NULL));
    assert_false(sql_text(&r->c, "ATTACH ':memory:' AS x; ATTACH ':memory:' AS y", NULL));
    reader_give(r);
}

static void each_allocation_failing(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration c = full_calibration(), got;
    struct deck d = full_deck(), d2;
    struct stamp stamp;
    put_calibration(s->store, &c, NULL);
    put_deck(s->store, &d, NULL);
    for (long n = 1; n < 50; n++) {
        struct fault f = {.kind = FAULT_NONE};
        struct arena *small = arena_new(1 << 16);
        mem_fail_at(n, 1);
        struct reader *r = reader_take(s->store, &f);
        struct names all = {"", 0};
        bool ok = r && read_calibration(r, &c.id, small, &got, &stamp, &f) == READ_OK &&
                  read_deck(r, "deck-full", small, &d2, &stamp, &f) == READ_OK && walk_decks(r, NULL, 0, deck_name, &all, &f) == READ_OK;
        mem_fail_at(0, 0);
        reader_give(r);
        arena_free(small);
        if (ok)
            return;
        assert_int_equal(f.kind, FAULT_MEMORY);
    }
    fail();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(everything_comes_back, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(nothing_given_stays_not_given, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(unknown_is_none, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(walks_by_slug_and_page, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(services_and_checks_of_a_deck, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(snapshot_holds_still, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(pool_has_its_bound, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(readers_cannot_write, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(each_allocation_failing, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
