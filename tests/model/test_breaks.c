/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Changes that nobody wrote down: a jump is found with its date, straight drift and quiet decks are left alone, and the next suggestion follows the jump.
 */
#include "../../server/model/view.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define JUMPER  1
#define DRIFTER 2
#define JUMP    1.2 /* dB */

static int64_t middle(const struct invented *v)
{
    return v->row[0].made_at_us / 2 + v->row[v->rows - 1].made_at_us / 2;
}

static struct model_view *fitted(struct invented *v, uint64_t seed, struct model **model)
{
    struct fault f = {0};
    *v = (struct invented){.decks = 8, .stocks = 14, .rows = 400, .tapes_each = 4, .readings = 0.85, .misentries = 0.02};
    invent(v, seed);
    for (int i = 0; i < v->rows; i++) {
        struct calibration *c = &v->row[i];
        if (strcmp(c->deck, v->deck[JUMPER].id) == 0 && c->made_at_us > middle(v))
            c->bias += JUMP / 0.5; /* marks of half a dB */
        if (strcmp(c->deck, v->deck[DRIFTER].id) == 0)
            c->bias += 0.3 / 0.5 * clock_years_between(v->row[0].made_at_us, c->made_at_us);
    }
    *model = model_new();
    assert_non_null(*model);
    invented_put(v, *model, NULL);
    assert_true(model_refit(*model, &f));
    struct model_view *view = model_publish(*model, &f);
    assert_non_null(view);
    return view;
}

static int found_on(const struct model_view *v, const char *id, int64_t *when)
{
    int at = view_find(v, view_hash(KEY_DECK, view_text(id), 0, 0)), n = 0;
    for (int i = 0; i < v->decks[at].service_count; i++)
        if (v->services[v->decks[at].service_first + i].found) {
            *when = v->services[v->decks[at].service_first + i].made_at_us;
            n++;
        }
    return n;
}

static void test_a_jump_and_a_drift(void **state)
{
    (void)state;
    for (uint64_t seed = 31; seed < 35; seed++) {
        struct invented v;
        struct model *m;
        struct model_view *view = fitted(&v, seed, &m);
        int64_t when = 0;
        assert_int_equal(found_on(view, v.deck[JUMPER].id, &when), 1);
        int between = 0; /* results of the deck between the truth and what was found */
        for (int i = 0; i < v.rows; i++)
            between += strcmp(v.row[i].deck, v.deck[JUMPER].id) == 0 && (v.row[i].made_at_us > middle(&v)) != (v.row[i].made_at_us > when);
        assert_true(between <= 8);
        for (int d = 0; d < v.decks; d++)
            if (d != JUMPER)
                assert_int_equal(found_on(view, v.deck[d].id, &when), 0);
        double off = 0;
        for (int s = 0; s < 7; s++) {
            struct model_question q = invented_question(&v, JUMPER, s);
            struct model_answer a;
            model_ask(view, &q, &a);
            off += (a.mean[BIAS] - invented_truth(&v, JUMPER, s, BIAS) - JUMP) / 7;
        }
        assert_true(fabs(off) < 0.3);
        model_view_free(view);
        model_free(m);
        invented_free(&v);
    }
}

/* A restart brings back what was found: the eras are saved with the tables. */
static void test_kept_over_a_restart(void **state)
{
    (void)state;
    struct invented v;
    struct fault f = {0};
    struct model *m, *again = model_new();
    struct model_view *view = fitted(&v, 31, &m);
    assert_non_null(again);
    assert_true(model_warm(again, view));
    invented_put(&v, again, NULL);
    assert_true(model_solve(again, &f));
    struct model_view *second = model_publish(again, &f);
    assert_non_null(second);
    int64_t a = 0, b = 1;
    assert_int_equal(found_on(view, v.deck[JUMPER].id, &a), found_on(second, v.deck[JUMPER].id, &b));
    assert_true(a == b);
    for (int s = 0; s < v.stocks; s++) {
        struct model_question q = invented_question(&v, JUMPER, s);
        struct model_answer x, y;
        model_ask(view, &q, &x);
        model_ask(second, &q, &y);
        assert_true(fabs(x.mean[BIAS] - y.mean[BIAS]) < 0.02 && fabs(x.se[BIAS] - y.se[BIAS]) < 0.02);
    }
    model_view_free(view);
    model_view_free(second);
    model_free(m);
    model_free(again);
    invented_free(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_a_jump_and_a_drift), cmocka_unit_test(test_kept_over_a_restart)};
    return cmocka_run_group_tests_name("breaks", tests, NULL, NULL);
}
