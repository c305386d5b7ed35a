/* SPDX-License-Identifier: GPL-3.0-or-later
 * The judge judged: who knows the truth has no error, who is half a decibel off is exactly that, ranges are counted as they are, plain means do what
 * arithmetic says.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "judge.h"

#include "ground/memory.h"

struct knowing {
    struct estimator e;
    const struct club *club;
    double off, half; /* added to the truth; half the range, negative = none */
};

static bool knowing_learn(void *state, const struct diary_row *row, long seq)
{
    (void)state, (void)row, (void)seq;
    return true;
}

static bool knowing_settle(void *state, bool whole)
{
    (void)state, (void)whole;
    return true;
}

static bool knowing_ask(void *state, const struct judge_question *q, struct judge_answer *out)
{
    const struct knowing *k = state;
    double truth[2];
    diary_truth(k->club, q->deck, q->stock, q->setup, q->channel, q->at_us, truth);
    double learned = k->club->decks[q->deck].dial[BENCH_BIAS].learned;
    *out = (struct judge_answer){truth[0] + k->off,          truth[1] + k->off, truth[0] - k->half, truth[0] + k->half, 1.3,
                                 learned > 0 ? learned : 1.0};
    return true;
}

static void knowing_release(void *state)
{
    mem_free(state);
}

static struct estimator *make(const struct club *c, int which)
{
    static const double OFF[4] = {0, 0.5, -0.25, 0}, HALF[4] = {10, 0, -1, 1.2};
    struct knowing *k = mem_zero(1, sizeof *k);
    if (!k)
        return NULL;
    *k = (struct knowing){{"knows", k, knowing_learn, knowing_settle, knowing_ask, knowing_release}, c, OFF[which], HALF[which]};
    return &k->e;
}

static const struct judge_case CASE = {71, 12, 30, 8, 1.0, 300, 200, false, 20};

static void errors_are_what_they_are(void **state)
{
    (void)state;
    struct judge_score s[4] = {{0}};
    assert_true(judge(&CASE, make, 4, s));
    assert_true(s[0].pairs > 100 && s[0].level_pairs > 50);
    assert_true(judge_rmse(s[0].bias_sq, s[0].pairs) < 1e-6 && judge_rmse(s[0].level_sq, s[0].level_pairs) < 1e-6);
    assert_true(fabs(judge_rmse(s[1].bias_sq, s[1].pairs) - 0.5) < 1e-6 && fabs(s[1].worst - 0.5) < 1e-6);
    assert_true(fabs(judge_rmse(s[2].bias_sq, s[2].pairs) - 0.25) < 1e-6);
}

static void ranges_are_counted(void **state)
{
    (void)state;
    struct judge_score s[4] = {{0}};
    assert_true(judge(&CASE, make, 4, s));
    assert_true(s[0].later > 50 && s[0].later_inside == s[0].later && s[0].next_inside == s[0].next); /* ten decibels hold everything */
    assert_true(s[0].clean <= s[0].later && s[0].clean >= s[0].later * 9 / 10);
    assert_true(s[1].later_inside < s[1].later / 20);       /* no width holds next to nothing */
    assert_int_equal(s[2].later, 0);                        /* no range given */
    assert_true(s[3].clean_inside * 100 > s[3].clean * 88); /* tapes and readings scatter by less */
}

static struct estimator *plain(const struct club *c, int which)
{
    return plain_new(c, (enum plain)which);
}

/* With hundreds of results on few decks and tapes, knowing the tape beats knowing the class, and knowing the deck too beats both. */
static void plain_means_stand_in_order(void **state)
{
    (void)state;
    struct judge_score s[PLAIN_COUNT] = {{0}};
    for (uint64_t seed = 71; seed < 75; seed++) {
        struct judge_case k = {seed, 12, 30, 8, 1.0, 900, 10, false, 0};
        assert_true(judge(&k, plain, PLAIN_COUNT, s));
    }
    assert_true(s[PLAIN_STOCK].bias_sq < s[PLAIN_CLASS].bias_sq);
    assert_true(s[PLAIN_TWO_WAY].bias_sq < 0.6 * s[PLAIN_STOCK].bias_sq);
    assert_true(s[PLAIN_TWO_WAY].bias_sq > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(errors_are_what_they_are),
        cmocka_unit_test(ranges_are_counted),
        cmocka_unit_test(plain_means_stand_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
