/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Each caution appears for its fact and for no other; texts fit and are sentences. Thresholds: common practice, no source. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "trade/cautions.h"

#include <stdio.h>
#include <string.h>

static struct deck deck;

static void calm(struct caution_facts *x)
{
    deck_init(&deck);
    deck.bias_dial.present = deck.level_dial.present = true;
    caution_facts_init(x);
    x->deck = &deck;
    x->tape_class = CLASS_TYPE_1;
}

#define FACTS(X)                                                                                                                           \
    X("dial-runs-out", x->bias_beyond = true; x->left_high_db = -1.2)                                                                      \
    X("dial-runs-out", x->level_beyond = true; x->left_low_db = 0.7)                                                                       \
    X("no-bias-dial", deck.bias_dial.present = false)                                                                                      \
    X("no-level-dial", deck.level_dial.present = false; x->for_noise_reduction = true)                                                     \
    X("dial-worth-learned", x->worth_rel_se[0] = 0.4)                                                                                      \
    X("noise-reduction-on", x->noise_reduction = true)                                                                                     \
    X("mpx-filter-on", x->mpx_filter = true)                                                                                               \
    X("no-results", x->club = x->of_stock = x->on_deck = 0)                                                                                \
    X("class-only", x->class_only = true; x->of_stock = 0)                                                                                 \
    X("few-results", x->of_stock = 1)                                                                                                      \
    X("few-results", x->on_deck = 2)                                                                                                       \
    X("old-result", x->newest_years = 2.5)                                                                                                 \
    X("start-of-tape", x->position_kind = POSITION_S; x->position_s = 0)                                                                   \
    X("start-of-tape", x->position_kind = POSITION_S; x->position_s = 29)                                                                  \
    X("position-unknown", x->position_kind = POSITION_COUNTER; x->position_why = "the deck does not say what its counter counts")          \
    X("position-converted", x->position_kind = POSITION_TURNS; x->position_s = 300)                                                        \
    X("recordings-many", x->recordings = 15)                                                                                               \
    X("lift-by-underbias", x->treble_db = 3)                                                                                               \
    X("type-3-equalisation", x->tape_class = CLASS_TYPE_3)
#define CASE(code_, ...)                                                                                                                   \
    case __COUNTER__ - FIRST: __VA_ARGS__; return code_;
enum { FIRST = __COUNTER__ + 1 };
static const char *spoil(struct caution_facts *x, int which)
{
    switch (which) {
        FACTS(CASE)
    }
    return NULL;
}

static void one_fact_one_caution(void **state)
{
    (void)state;
    struct caution out[CAUTIONS_MAX];
    struct caution_facts x;
    calm(&x);
    assert_int_equal(cautions_of(&x, out), 0);
    const char *code;
    int i = 0;
    for (; calm(&x), (code = spoil(&x, i)); i++) {
        if (cautions_of(&x, out) != 1 || strcmp(out[0].code, code))
            fail_msg("%d: %d, %s", i, cautions_of(&x, out), out[0].code);
        assert_true(strlen(out[0].text) > 30 && strlen(out[0].text) < sizeof out[0].text - 1);
        assert_int_equal(out[0].text[strlen(out[0].text) - 1], '.');
    }
    assert_int_equal(i, 19);
}

static void not_at_the_thresholds(void **state)
{
    (void)state;
    struct caution out[CAUTIONS_MAX];
    struct caution_facts x;
    calm(&x);
    x.position_kind = POSITION_S;
    x.position_s = CAUTION_START_S;
    x.recordings = CAUTION_RECORDINGS - 1;
    x.treble_db = 2.9;
    x.newest_years = CAUTION_OLD_YEARS;
    x.worth_rel_se[0] = x.worth_rel_se[1] = CAUTION_WORTH;
    deck.level_dial.present = false; /* without noise reduction it does not matter */
    assert_int_equal(cautions_of(&x, out), 0);
}

static void all_at_once_and_deck_less(void **state)
{
    (void)state;
    struct caution out[CAUTIONS_MAX];
    struct caution_facts x;
    calm(&x);
    for (int i = 0; i < 19; i++)
        if (i != 2 && i != 3)
            spoil(&x, i);
    int n = cautions_of(&x, out);
    assert_true(n >= 8 && n <= CAUTIONS_MAX);
    x.deck = NULL;
    assert_true(cautions_of(&x, out) > 0);
}

static void what_is_left_is_told(void **state)
{
    (void)state;
    struct caution out[CAUTIONS_MAX];
    struct caution_facts x;
    calm(&x);
    x.bias_beyond = true;
    x.left_high_db = -1.2;
    cautions_of(&x, out);
    assert_non_null(strstr(out[0].text, "1.2 dB dull"));
    x.left_high_db = 0.8;
    cautions_of(&x, out);
    assert_non_null(strstr(out[0].text, "0.8 dB bright"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_fact_one_caution),
        cmocka_unit_test(not_at_the_thresholds),
        cmocka_unit_test(all_at_once_and_deck_less),
        cmocka_unit_test(what_is_left_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
