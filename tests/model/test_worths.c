/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a mark of a `learn` dial is worth: found from shared tapes, not found where nothing tells.
 */
#include "../../server/model/view.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#define LEARNER 2
#define WORTH   0.5 /* what the invented dials are worth */

static const struct view_deck *deck_of(const struct model_view *v, const char *id)
{
    int at = view_find(v, view_hash(KEY_DECK, view_text(id), 0, 0));
    assert_true(at >= 0);
    return &v->decks[at];
}

static struct model_view *learned(struct invented *v, int decks, uint64_t seed)
{
    struct fault f = {0};
    *v = (struct invented){.decks = decks, .stocks = 16, .rows = 40 * decks, .tapes_each = 3, .readings = 0.8, .misentries = 0.02};
    invent(v, seed);
    v->deck[LEARNER].bias_dial.scale = SCALE_LEARN;
    struct model *m = model_new();
    assert_non_null(m);
    invented_put(v, m, NULL);
    assert_true(model_refit(m, &f));
    struct model_view *view = model_publish(m, &f);
    assert_non_null(view);
    model_free(m);
    return view;
}

static void test_found_from_shared_tapes(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct invented v;
        struct model_view *view = learned(&v, 8, seed);
        const struct view_deck *d = deck_of(view, v.deck[LEARNER].id);
        assert_true(d->worth_se[BIAS] > 0 && d->worth_se[BIAS] < 0.1);
        assert_true(fabs(d->worth[BIAS] - WORTH) < 3 * d->worth_se[BIAS] + 0.03);
        assert_true(d->worth_se[LEVEL] == 0); /* its level dial needs no learning */
        assert_true(deck_of(view, v.deck[0].id)->worth_se[BIAS] == 0);
        /* settings in marks are near the truth */
        double square = 0;
        int n = 0;
        for (int s = 0; s < 8; s++, n++) {
            struct model_question q = invented_question(&v, LEARNER, s);
            struct model_answer a;
            model_ask(view, &q, &a);
            double off = a.mean[BIAS] / a.worth[BIAS] * WORTH - invented_truth(&v, LEARNER, s, BIAS);
            square += off * off;
        }
        assert_true(sqrt(square / n) < 0.3);
        model_view_free(view);
        invented_free(&v);
    }
}

/* Where the other decks' results are not there, nothing is made up: the prior and the moves are all. */
static void test_not_found_alone(void **state)
{
    (void)state;
    struct invented v = {.decks = 9, .stocks = 16, .rows = 360, .tapes_each = 3, .readings = 0.8};
    struct fault f = {0};
    invent(&v, 4);
    v.deck[LEARNER].bias_dial.scale = SCALE_LEARN;
    struct model *m = model_new();
    assert_non_null(m);
    assert_true(model_put_deck(m, &v.deck[LEARNER]));
    for (int i = 0; i < v.stocks; i++)
        assert_true(model_put_stock(m, &v.stock[i]));
    for (int i = 0; i < v.rows; i++)
        assert_true(model_put_calibration(m, &v.row[i], NULL)); /* those of decks that are not known are ignored */
    assert_true(model_refit(m, &f));
    struct model_view *view = model_publish(m, &f);
    assert_true(deck_of(view, v.deck[LEARNER].id)->worth_se[BIAS] == 0);
    model_view_free(view);
    model_free(m);
    invented_free(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_found_from_shared_tapes), cmocka_unit_test(test_not_found_alone)};
    return cmocka_run_group_tests_name("worths", tests, NULL, NULL);
}
