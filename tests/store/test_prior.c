/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Suggestions before: kept, replaced, walked, forgotten; only numbers.
 */
#include "scratch.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MANY (3 * LIMIT_PRIOR_BATCH / 2)

static struct prior_suggestion one(int i)
{
    struct prior_suggestion p = {.calibration = uuid_make(), .basis = i % 6, .as_of = i};
    for (int k = 0; k < 2; k++) {
        p.mean[k] = i / 8.0 + k;
        p.se[k] = .25 + k;
        p.low90[k] = p.mean[k] - 1;
        p.high90[k] = p.mean[k] + 1;
    }
    return p;
}

struct seen {
    struct prior_suggestion *list;
    int count;
};

static bool is_there(void *user, const struct prior_suggestion *p)
{
    struct seen *s = user;
    for (int i = 0; i < MANY; i++)
        if (uuid_same(&s->list[i].calibration, &p->calibration)) {
            assert_int_equal(p->basis, s->list[i].basis);
            assert_memory_equal(p->mean, s->list[i].mean, sizeof p->mean);
            assert_memory_equal(p->high90, s->list[i].high90, sizeof p->high90);
            s->count++;
            return true;
        }
    return false;
}

static void kept_replaced_forgotten(void **state)
{
    struct scratch *s = *state;
    struct seen seen = {.list = calloc(MANY, sizeof *seen.list)};
    for (int i = 0; i < MANY; i++)
        seen.list[i] = one(i);
    assert_true(store_save_prior(s->store, seen.list, MANY, NULL));
    assert_true(store_save_prior(s->store, seen.list, 0, NULL));
    seen.list[3].mean[1] = -7;
    assert_true(store_save_prior(s->store, &seen.list[3], 1, NULL));
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(walk_prior(r, is_there, &seen, NULL), READ_OK);
    assert_int_equal(seen.count, MANY);
    struct prior_suggestion got;
    assert_int_equal(read_prior(r, &seen.list[3].calibration, &got, NULL), READ_OK);
    assert_true(got.mean[1] == -7);
    assert_int_equal(got.as_of, 3);
    struct uuid other = uuid_make();
    assert_int_equal(read_prior(r, &other, &got, NULL), READ_NONE);
    reader_give(r);
    assert_true(store_clear_prior(s->store, NULL));
    assert_int_equal(ask(s->path, "SELECT count(*) FROM prior_suggestion"), 0);
    assert_int_equal(store_last_seq(s->store), 0); /* no change of the facts */
    free(seen.list);
}

static void only_numbers(void **state)
{
    struct scratch *s = *state;
    struct prior_suggestion two[2] = {one(1), one(2)};
    struct fault f = {.kind = FAULT_NONE};
    two[1].se[0] = NAN;
    assert_false(store_save_prior(s->store, two, 2, &f));
    assert_string_equal(f.items[0].code, "not-finite");
    assert_int_equal(ask(s->path, "SELECT count(*) FROM prior_suggestion"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(kept_replaced_forgotten, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(only_numbers, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
