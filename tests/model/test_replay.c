/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The track record: every result once, in order of time, and nothing knows its own day or what comes after; ranges measured by it hold.
 */
#include "../../server/model/replay_inside.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define DAY_US 86400000000LL

struct record {
    struct replay_row row[600];
    int count;
};

static bool keep(void *user, const struct replay_row *row)
{
    struct record *r = user;
    r->row[r->count++] = *row;
    return true;
}

static void facts_of(const struct invented *v, struct facts *x)
{
    facts_init(x);
    for (int i = 0; i < v->decks; i++)
        assert_true(facts_put_deck(x, &v->deck[i], NULL));
    for (int i = 0; i < v->stocks; i++)
        assert_true(facts_put_stock(x, &v->stock[i], NULL));
    for (int i = 0; i < v->rows; i++) {
        struct stamp stamp = {.is_void = i % 50 == 49};
        assert_true(facts_put_row(x, &v->row[i], &stamp, NULL));
    }
}

static struct record *replayed(const struct invented *v, int blocks, double skip)
{
    struct facts x;
    struct variances var;
    struct fault f = {0};
    struct equation_options o = {.before_us = CLOCK_NONE};
    struct record *r = calloc(1, sizeof *r);
    facts_of(v, &x);
    variances_prior(&var);
    struct replay p = {.facts = &x, .options = &o, .variances = &var, .blocks = blocks, .skip = skip};
    assert_true(replay_run(&p, keep, r, &f));
    facts_free(&x);
    return r;
}

static struct invented club(void)
{
    struct invented v = {.decks = 6, .stocks = 10, .rows = 300, .tapes_each = 3, .readings = 0.8, .misentries = 0.02};
    invent(&v, 8);
    return v;
}

static void test_each_row_once_and_in_order(void **state)
{
    (void)state;
    struct invented v = club();
    struct record *r = replayed(&v, 12, 0);
    assert_int_equal(r->count, v.rows - v.rows / 50);
    for (int i = 0; i < r->count; i++) {
        const struct replay_row *row = &r->row[i];
        assert_true(i == 0 || row->made_at_us >= r->row[i - 1].made_at_us);
        assert_true(row->known_before_us <= row->made_at_us - row->made_at_us % DAY_US); /* not even its own day */
        long known = 0;
        for (int k = 0; k < r->count; k++)
            known += r->row[k].made_at_us < row->known_before_us;
        assert_int_equal(row->known_rows, known);
    }
    assert_int_equal(r->row[0].basis, BASIS_NO_RESULTS);
    free(r);
    invented_free(&v);
}

static void test_nothing_knows_its_future(void **state)
{
    (void)state;
    struct invented v = club(), changed = club();
    int64_t split = v.row[150].made_at_us - v.row[150].made_at_us % DAY_US;
    for (int i = 0; i < changed.rows; i++)
        if (changed.row[i].made_at_us >= split)
            changed.row[i].bias += 4; /* what comes later is all different */
    struct record *a = replayed(&v, 12, 0), *b = replayed(&changed, 12, 0);
    assert_int_equal(a->count, b->count);
    int same = 0, other = 0;
    for (int i = 0; i < a->count; i++) {
        bool early = a->row[i].known_before_us <= split;
        for (int r = 0; early && r < RESPONSES; r++)
            assert_true(a->row[i].mean[r] == b->row[i].mean[r] && a->row[i].low90[r] == b->row[i].low90[r]);
        same += early;
        other += !early && a->row[i].mean[BIAS] != b->row[i].mean[BIAS];
    }
    assert_true(same > 100 && other > 50);
    free(a);
    free(b);
    invented_free(&v);
    invented_free(&changed);
}

/* What is held against the range is the flat equivalent: setting, corrected by the readings. */
static void test_observed(void **state)
{
    (void)state;
    struct invented v = club();
    struct record *r = replayed(&v, 4, 0.2);
    int looked = 0;
    for (int i = 0; i < r->count; i++)
        for (int k = 0; k < v.rows; k++)
            if (uuid_same(&v.row[k].id, &r->row[i].id) && r->row[i].read && given(v.row[k].bias)) {
                int stock = atoi(v.row[k].stock + strlen("stock-"));
                struct slopes b = slopes_prior((struct slope_kind){.tape_class = v.stock[stock].tape_class, ABSENT, ABSENT, ABSENT});
                double flat = 0.5 * v.row[k].bias + (v.row[k].high_db - v.row[k].low_db) / (b.a + b.b);
                assert_true(fabs(flat - r->row[i].observed[BIAS]) < 1e-9);
                looked++;
            }
    assert_true(looked > 100);
    free(r);
    invented_free(&v);
}

static void test_ranges(void **state)
{
    (void)state;
    struct invented v = club();
    struct facts x;
    struct variances var;
    struct fault f = {0};
    struct equation_options o = {.before_us = CLOCK_NONE};
    facts_of(&v, &x);
    variances_prior(&var);
    assert_true(replay_ranges(&x, &o, &var, NULL, &f));
    for (int r = 0; r < RESPONSES; r++) {
        /* the invented rows scatter half as much as the prior believes, so pairs that are known want a narrower range */
        assert_true(var.multiplier[r][BASIS_THIS_PAIR] < 1 && var.multiplier[r][BASIS_THIS_PAIR] > 0.2);
        assert_true(var.multiplier[r][BASIS_NO_RESULTS] == RANGE_OWN); /* never tried: the model's own */
    }
    facts_free(&x);
    atomic_bool stop = true;
    facts_of(&v, &x);
    assert_false(replay_ranges(&x, &o, &var, &stop, &f)); /* asked to give up */
    assert_int_equal(f.kind, FAULT_NONE);
    facts_free(&x);
    invented_free(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_each_row_once_and_in_order), cmocka_unit_test(test_nothing_knows_its_future),
                                       cmocka_unit_test(test_observed), cmocka_unit_test(test_ranges)};
    return cmocka_run_group_tests_name("replay", tests, NULL, NULL);
}
