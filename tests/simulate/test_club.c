/* SPDX-License-Identifier: GPL-3.0-or-later
 * Invented clubs: every record is one that the log would accept, the same seed gives the same club, and the demo holds what its README promises. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "diary.h"

#include "trade/check.h"
#include "trade/classes.h"

#include <stdio.h>
#include <string.h>

static const struct club_size SMALL = {24, 70, 12, 1728900000LL * 1000000, 1792800000LL * 1000000, false};

static void accept(bool ok, const struct fault *f, const char *what)
{
    char text[400];
    if (!ok)
        fail_msg("%s: %s", what, fault_text(f, text, sizeof text));
}

static const struct deck *deck_named(const struct club *c, const char *id)
{
    for (int i = 0; i < c->deck_count; i++)
        if (strcmp(c->decks[i].record.id, id) == 0)
            return &c->decks[i].record;
    return NULL;
}

static void records_are_accepted(struct club *c, long rows)
{
    struct fault f = {0};
    for (int i = 0; i < c->deck_count; i++)
        accept(check_deck(&c->decks[i].record, &f), &f, c->decks[i].record.id);
    for (int i = 0; i < c->stock_count; i++)
        accept(check_stock(&c->stocks[i].record, &f), &f, c->stocks[i].record.id);
    for (int i = 0; i < c->service_count; i++)
        accept(check_service(&c->services[i], deck_named(c, c->services[i].deck), c->to_us, &f), &f, "service");
    for (int i = 0; i < c->check_count; i++)
        accept(check_deck_check(&c->checks[i], deck_named(c, c->checks[i].deck), c->to_us, &f), &f, "check");
    struct diary *d = diary_new(c, rows);
    struct diary_row row;
    int64_t before = 0;
    long n = 0;
    for (; diary_next(d, &row); n++) {
        const struct deck *deck = deck_named(c, row.calibration.deck);
        assert_non_null(deck);
        char id[UUID_TEXT];
        accept(check_calibration(&row.calibration, deck, &c->stocks[row.stock].record, c->to_us, &f), &f,
               uuid_format(&row.calibration.id, id));
        struct uuid again;
        assert_true(uuid_parse(uuid_format(&row.calibration.id, id), &again));
        assert_true(row.calibration.made_at_us > before);
        before = row.calibration.made_at_us;
    }
    assert_int_equal(n, rows);
    diary_free(d);
}

static void demo_records(void **state)
{
    (void)state;
    struct club *c = club_demo(CLUB_DEMO_SEED);
    assert_non_null(c);
    records_are_accepted(c, CLUB_DEMO_ROWS);
    club_free(c);
}

static void random_records(void **state)
{
    (void)state;
    for (uint64_t seed = 900; seed < 904; seed++) {
        struct club *c = club_random(seed, &SMALL);
        assert_non_null(c);
        records_are_accepted(c, 1500);
        club_free(c);
    }
}

static void same_seed_same_club(void **state)
{
    (void)state;
    struct club *a = club_random(77, &SMALL), *b = club_random(77, &SMALL), *other = club_random(78, &SMALL);
    struct diary *da = diary_new(a, 300), *db = diary_new(b, 300), *dc = diary_new(other, 300);
    struct diary_row ra, rb, rc;
    int differ = 0;
    while (diary_next(da, &ra)) {
        uint8_t xa[32], xb[32];
        assert_true(diary_next(db, &rb) && diary_next(dc, &rc));
        digest_calibration(&ra.calibration, xa);
        digest_calibration(&rb.calibration, xb);
        assert_memory_equal(xa, xb, sizeof xa);
        differ += strcmp(ra.calibration.stock, rc.calibration.stock) != 0;
    }
    assert_true(differ > 100);
    diary_free(da), diary_free(db), diary_free(dc);
    club_free(a), club_free(b), club_free(other);
}

/* What the demo must contain: the README beside it lists the cases. */
static void demo_holds_its_cases(void **state)
{
    (void)state;
    struct club *c = club_demo(CLUB_DEMO_SEED);
    struct diary *d = diary_new(c, CLUB_DEMO_ROWS);
    struct diary_row row;
    int classes[CLASS_COUNT] = {0}, stops = 0, slips = 0, moves = 0, again = 0, per_channel = 0, attic[2] = {0, 0}, chrome = 0, setups = 0;
    int64_t jump = c->decks[1].change[0].at_us;
    while (diary_next(d, &row)) {
        const struct calibration *k = &row.calibration;
        classes[c->stocks[row.stock].record.tape_class]++;
        stops += k->bias_stop != STOP_NONE || k->level_stop != STOP_NONE;
        slips += row.fact.misentry != ENTRY_RIGHT;
        moves += k->move_count > 1;
        again += row.place.recordings > 0;
        per_channel += k->channel != CHANNEL_BOTH;
        setups += row.place.setup > 0;
        if (row.deck == 1)
            attic[k->made_at_us >= jump]++;
        chrome += strcmp(k->stock, "velnar-chrome-90") == 0;
    }
    assert_true(c->member_count >= 8 && c->deck_count >= 14 && c->stock_count >= 40);
    for (int i = 0; i < CLASS_COUNT; i++)
        assert_in_range(classes[i], 5, CLUB_DEMO_ROWS);
    assert_in_range(stops, 20, 120);
    assert_in_range(slips, 9, 35); /* about 2 % */
    assert_in_range(moves, 250, CLUB_DEMO_ROWS);
    assert_in_range(again, 200, 700);
    assert_true(per_channel >= 40 && setups >= 15);
    assert_true(attic[0] >= 50 && attic[1] >= 50); /* enough on both sides of the jump to see it */
    assert_true(chrome >= 12);
    diary_free(d);

    /* the deck that changes wants 0.9 dB less on its dial from that day on */
    double before[2], after[2];
    diary_truth(c, 1, 0, 0, CHANNEL_BOTH, jump - 1, before);
    diary_truth(c, 1, 0, 0, CHANNEL_BOTH, jump + 1, after);
    assert_true(fabs(before[0] - after[0] - 0.9) < 0.15);
    club_free(c);
}

/* A cassette sold as type 2 with a type 1 coating wants some 3 dB less bias than its neighbours at the type 2 position. */
static void label_that_lies(void **state)
{
    (void)state;
    struct club *c = club_demo(CLUB_DEMO_SEED);
    double lies = 0, others = 0;
    int n = 0;
    for (int s = 0; s < c->stock_count; s++) {
        double truth[2];
        if (c->stocks[s].record.tape_class != CLASS_TYPE_2)
            continue;
        diary_truth(c, 0, s, 0, CHANNEL_BOTH, c->from_us, truth);
        if (strcmp(c->stocks[s].record.id, "velnar-chrome-90") == 0)
            lies = truth[0];
        else
            others += truth[0], n++;
    }
    assert_true(n >= 6);
    assert_true(lies < others / n - 2.0);
    club_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(demo_records),         cmocka_unit_test(random_records),  cmocka_unit_test(same_seed_same_club),
        cmocka_unit_test(demo_holds_its_cases), cmocka_unit_test(label_that_lies),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
