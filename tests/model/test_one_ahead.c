/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Errors one step ahead against real refits: a club of 60 results is fitted anew, from the priors, on the rows before each day of results, and each result is then held against
 * that fit's answer. The replay holds it against the effects of the same rows with today's sds, so it comes
 *
 *   to the same number, where the refit is given today's sds as well: to what the parts' rounding to 0.0001 dB and single precision of the tables leave;
 *   to about the same, where it has those of its own few rows: this close in the mean, since sds of sixty rows are known to a third at best.
 */
#include "../../server/model/replay_inside.h"
#include "invented.h"

#include "../../server/ground/memory.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#define ROWS   60
#define BLOCKS 10
#define LEARN  24 /* rows before the first that is asked for by a refit of its own: with fewer the sds are the priors' */

struct ahead {
    struct replay_row row[ROWS];
    int count;
};

static bool keep(void *user, const struct replay_row *row)
{
    struct ahead *a = user;
    a->row[a->count++] = *row;
    return true;
}

static void facts_before(const struct invented *v, int64_t before_us, struct facts *x)
{
    facts_init(x);
    for (int i = 0; i < v->decks; i++)
        assert_true(facts_put_deck(x, &v->deck[i], NULL));
    for (int i = 0; i < v->stocks; i++)
        assert_true(facts_put_stock(x, &v->stock[i], NULL));
    for (int i = 0; i < v->rows; i++)
        if (v->row[i].made_at_us < before_us)
            assert_true(facts_put_row(x, &v->row[i], &(struct stamp){.seq = i + 1}, NULL));
}

static const struct calibration *row_of(const struct invented *v, const struct uuid *id)
{
    for (int i = 0; i < v->rows; i++)
        if (uuid_same(&v->row[i].id, id))
            return &v->row[i];
    fail();
    return NULL;
}

/* A club that knows nothing but the rows before `before_us`, with these sds. */
static struct model_view *known_before(const struct invented *v, int64_t before_us, const struct variances *sds)
{
    struct facts x;
    struct club_fit fit;
    struct fault f = {0};
    struct equation_options o = {.before_us = CLOCK_NONE};
    facts_before(v, before_us, &x);
    assert_true(club_fit_open(&fit, &x, &o, &f));
    fit.rounds = 1; /* as often as the replay weighs its rows */
    struct model_view *view = view_build(&fit, &x, &o, sds, 0, &f);
    assert_non_null(view);
    club_fit_free(&fit);
    facts_free(&x);
    return view;
}

/* The canonical refit of those rows. */
static struct model_view *refitted_before(const struct invented *v, int64_t before_us)
{
    struct model *m = invented_model(v);
    struct fault f = {0};
    for (int i = 0; i < v->rows; i++)
        if (v->row[i].made_at_us < before_us)
            assert_true(model_put_calibration(m, &v->row[i], &(struct stamp){.seq = i + 1, .revision = 1}));
    model_reached(m, v->rows);
    assert_true(model_refit(m, &f));
    struct model_view *view = model_publish(m, &f);
    assert_non_null(view);
    model_free(m);
    return view;
}

static struct model_answer asked(const struct invented *v, const struct model_view *view, const struct calibration *c)
{
    int deck = 0, stock = 0;
    while (strcmp(v->deck[deck].id, c->deck) != 0)
        deck++;
    while (strcmp(v->stock[stock].id, c->stock) != 0)
        stock++;
    struct model_question q = invented_question(v, deck, stock);
    q.tape = c->tape;
    q.batch = c->batch;
    q.recordings = c->recordings;
    q.position_s = c->position_s;
    q.part = fmin(c->position_s / (v->stock[stock].side_minutes * 60), 1);
    q.at_us = c->made_at_us;
    struct model_answer a;
    model_ask(view, &q, &a);
    return a;
}

static void test_against_refits(void **state)
{
    (void)state;
    struct invented v = {.decks = 4, .stocks = 6, .rows = ROWS, .tapes_each = 3, .readings = 0.8};
    struct facts x;
    struct variances today;
    struct fault f = {0};
    struct equation_options o = {.before_us = CLOCK_NONE};
    struct club_fit fit;
    struct ahead ahead = {.count = 0};
    invent(&v, 77);
    facts_before(&v, INT64_MAX, &x);
    variances_prior(&today);
    assert_true(club_fit_open(&fit, &x, &o, &f) && club_fit_variances(&fit, &today, FIT_TOLERANCE, NULL, &f));
    club_fit_free(&fit);
    struct replay p = {.facts = &x, .options = &o, .variances = &today, .blocks = BLOCKS};
    assert_true(replay_run(&p, keep, &ahead, &f));
    assert_int_equal(ahead.count, ROWS);

    struct model_view *same = NULL, *own = NULL;
    double mean = 0, se = 0, apart = 0, size = 0, error_replayed = 0, error_own = 0;
    int views = 0, n = 0;
    for (int i = 0; i < ahead.count; i++) {
        const struct replay_row *row = &ahead.row[i];
        if (i == 0 || row->known_before_us != ahead.row[i - 1].known_before_us) {
            model_view_free(same);
            model_view_free(own);
            same = known_before(&v, row->known_before_us, &today);
            own = refitted_before(&v, row->known_before_us);
            views++;
        }
        struct model_answer held = asked(&v, same, row_of(&v, &row->id)), refit = asked(&v, own, row_of(&v, &row->id));
        for (int r = 0; r < RESPONSES; r++) {
            if (!row->tells[r])
                continue;
            mean = fmax(mean, fabs((row->observed[r] - row->mean[r]) - (row->observed[r] - held.mean[r])));
            se = fmax(se, fabs(row->se[r] / held.se[r] - 1));
            if (row->known_rows < LEARN)
                continue;
            apart += (row->mean[r] - refit.mean[r]) * (row->mean[r] - refit.mean[r]);
            size += row->se[r] / refit.se[r] - 1;
            error_replayed += (row->observed[r] - row->mean[r]) * (row->observed[r] - row->mean[r]);
            error_own += (row->observed[r] - refit.mean[r]) * (row->observed[r] - refit.mean[r]);
            n++;
        }
    }
    model_view_free(same);
    model_view_free(own);
    print_message(
        "%d refits, %d errors. With the same sds: errors %.6f dB, se %.6f apart at most. With their own: %.3f dB apart (rms), se by "
        "%+.0f %%; rms error %.3f replayed, %.3f refitted\n",
        views, n, mean, se, sqrt(apart / n), 100 * size / n, sqrt(error_replayed / n), sqrt(error_own / n));
    assert_true(views >= BLOCKS - 1 && n >= 40);
    assert_true(mean < 1e-9 && se < 1e-6);
    assert_true(sqrt(apart / n) < 0.25 * sqrt(error_own / n)); /* a quarter of what either errs by */
    assert_true(fabs(size / n) < 0.25);
    assert_true(fabs(sqrt(error_replayed / error_own) - 1) < 0.1);
    facts_free(&x);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_refits)};
    return cmocka_run_group_tests_name("one ahead", tests, NULL, NULL);
}
