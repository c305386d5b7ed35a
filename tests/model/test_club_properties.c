/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What must hold for any club: a canonical refit is a function of the rows alone, however they came; the smallest clubs answer; a misentry moves
 * little; a dial that ran out tells which way; rows that do not count do not count; what is served stays near the canonical answer.
 */
#include "../../server/model/club.h"

#include "../../server/ground/memory.h"
#include "invented.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define DECKS               10
#define STOCKS              18
#define SERVED_TOLERANCE_DB 0.05 /* what `biasbook check` allows */

static struct fault f;

/* Readings in 1/1024 of a mark, so that a zero can be shifted without rounding; some rows with their moves, so that slopes are learned too. */
static void make(struct invented *v, int rows, uint64_t seed)
{
    *v = (struct invented){.decks = DECKS, .stocks = STOCKS, .rows = rows, .tapes_each = 3, .readings = 0.7, .misentries = 0.02};
    invent(v, seed);
    for (int i = 0; i < rows; i++) {
        struct calibration *c = &v->row[i];
        c->bias = rint(c->bias * 1024) / 1024;
        c->level = rint(c->level * 1024) / 1024;
        if (i % 3 || !isfinite(c->low_db))
            continue;
        c->move_count = 2;
        c->moves[0] = (struct move){c->bias - 2, c->level, c->low_db - 0.15, c->high_db + 1.6 + 0.1 * (i % 5)};
        c->moves[1] = (struct move){c->bias, c->level, c->low_db, c->high_db};
    }
}

static void put(struct model *m, const struct calibration *c, bool is_void)
{
    static int64_t seq;
    struct stamp stamp = {.seq = ++seq, .revision = 1, .is_void = is_void};
    snprintf(stamp.member, sizeof stamp.member, "member %d", c->id.bytes[0] % 5);
    assert_true(model_put_calibration(m, c, &stamp));
    model_reached(m, stamp.seq);
}

static struct model_view *refitted(struct model *m)
{
    f = (struct fault){0};
    if (!model_refit(m, &f))
        fail_msg("no fit");
    struct model_view *view = model_publish(m, &f);
    assert_non_null(view);
    return view;
}

struct apart {
    double mean, se, range;
};

/* The largest differences over every deck with every stock, plain and with all that a question can name. */
static struct apart apart(const struct invented *v, const struct model_view *a, const struct model_view *b)
{
    struct apart most = {0};
    for (int d = 0; d < v->decks; d++)
        for (int s = 0; s < v->stocks; s++)
            for (int named_all = 0; named_all < 2; named_all++) {
                struct model_question q = invented_question(v, d, s);
                struct model_answer x, y;
                if (named_all) {
                    q.tape = "t1";
                    q.recordings = 3;
                    q.part = 0.8;
                    q.treble_db = 1;
                }
                model_ask(a, &q, &x);
                model_ask(b, &q, &y);
                for (int r = 0; r < RESPONSES; r++) {
                    assert_true(isfinite(x.mean[r]) && isfinite(x.se[r]) && isfinite(x.low90[r]));
                    most.mean = fmax(most.mean, fabs(x.mean[r] - y.mean[r]));
                    most.se = fmax(most.se, fabs(x.se[r] - y.se[r]));
                    most.range = fmax(most.range, fabs((x.high90[r] - x.low90[r]) - (y.high90[r] - y.low90[r])));
                }
            }
    return most;
}

static void same(const struct invented *v, struct model_view *a, struct model_view *b, const char *what)
{
    struct apart most = apart(v, a, b);
    if (!(most.mean <= 1e-9 && most.se <= 1e-9 && most.range <= 1e-9))
        fail_msg("%s: %g dB apart, se %g, range %g", what, most.mean, most.se, most.range);
    model_view_free(a);
    model_view_free(b);
}

/* ---- a function of the rows alone ---- */

static void test_order_of_arrival(void **state)
{
    (void)state;
    struct invented v;
    make(&v, 240, 31);
    struct model *a = invented_model(&v), *b = model_new();
    for (int i = 0; i < v.rows; i++)
        put(a, &v.row[i], false);
    for (int i = v.decks - 1; i >= 0; i--) /* names come in another order as well */
        assert_true(model_put_deck(b, &v.deck[i]));
    for (int i = v.stocks - 1; i >= 0; i--)
        assert_true(model_put_stock(b, &v.stock[i]));
    for (int i = 0; i < v.rows; i++)
        put(b, &v.row[(i * 77 + 13) % v.rows], false);
    same(&v, refitted(a), refitted(b), "another order");
    model_free(a);
    model_free(b);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

static void test_an_import_in_two(void **state)
{
    (void)state;
    struct invented v;
    make(&v, 240, 32);
    struct model *a = invented_model(&v), *b = invented_model(&v);
    for (int i = 0; i < v.rows; i++)
        put(a, &v.row[i], false);
    for (int i = 0; i < v.rows; i++) {
        put(b, &v.row[i], false);
        if (i == v.rows / 2) { /* fitted, served, and worked on in between */
            model_view_free(refitted(b));
            put(b, &v.row[0], false);
            assert_true(model_solve(b, &f));
        }
        if (i == v.rows / 2 + 20)
            assert_true(model_solve(b, &f));
    }
    same(&v, refitted(a), refitted(b), "in two");
    model_free(a);
    model_free(b);
    invented_free(&v);
}

/* Void, with noise reduction, with the filter, not settled: as if never logged. */
static void test_rows_that_do_not_count(void **state)
{
    (void)state;
    struct invented v;
    make(&v, 240, 33);
    struct model *a = invented_model(&v), *b = invented_model(&v);
    for (int i = 0; i < v.rows; i++) {
        struct calibration c = v.row[i];
        bool counts = i % 6 != 2;
        if (counts)
            put(a, &c, false);
        put(b, &c, false);
        if (i == v.rows / 2)
            model_view_free(refitted(b)); /* they did count then */
        if (counts)
            continue;
        if (i % 4 == 2) { /* voided later, having been there */
            put(b, &c, true);
            continue;
        }
        c.noise_reduction = i % 3 == 2;
        c.bias += 8;
        *(i % 4 == 0 ? &c.mpx_filter : &c.noise_reduction) = true;
        if (i % 8 == 0) {
            c.noise_reduction = c.mpx_filter = false;
            c.settled = false;
        }
        put(b, &c, false);
    }
    struct model_figures fa, fb;
    struct model_view *x = refitted(a), *y = refitted(b);
    model_view_figures(x, &fa);
    model_view_figures(y, &fb);
    assert_int_equal(fb.rows, v.rows);
    assert_int_equal(fb.rows_used, v.rows - v.rows / 6);
    assert_int_equal(fa.rows_used, fb.rows_used);
    same(&v, x, y, "rows that do not count");
    model_free(a);
    model_free(b);
    invented_free(&v);
}

/* Dials whose marks are numbered from elsewhere: the same dB. */
static void test_shifted_dials(void **state)
{
    (void)state;
    struct invented v;
    make(&v, 240, 34);
    struct model *a = invented_model(&v);
    for (int i = 0; i < v.rows; i++)
        put(a, &v.row[i], false);
    for (int d = 0; d < v.decks; d++) {
        struct dial *dials[] = {&v.deck[d].bias_dial, &v.deck[d].level_dial};
        for (int k = 0; k < 2; k++) {
            dials[k]->zero += 4;
            dials[k]->low += 4;
            dials[k]->high += 4;
        }
    }
    for (int i = 0; i < v.rows; i++) {
        v.row[i].bias += 4;
        v.row[i].level += 4; /* ABSENT stays so */
        for (int k = 0; k < v.row[i].move_count; k++) {
            v.row[i].moves[k].bias += 4;
            v.row[i].moves[k].level += 4;
        }
    }
    struct model *b = invented_model(&v);
    for (int i = 0; i < v.rows; i++)
        put(b, &v.row[i], false);
    same(&v, refitted(a), refitted(b), "shifted dials");
    model_free(a);
    model_free(b);
    invented_free(&v);
}

/* ---- the smallest clubs ---- */

static void sane(const struct invented *v, const struct model_view *view)
{
    for (int d = 0; d < v->decks; d++)
        for (int s = -1; s < v->stocks; s++) {
            struct model_question q = invented_question(v, d, s < 0 ? 0 : s);
            struct model_answer a;
            if (s < 0) {
                q.stock = NULL;
                q.tape_class = CLASS_TYPE_2;
            }
            q.treble_db = d % 2 ? 1.5 : 0;
            q.recordings = d % 3 ? 4 : -1;
            q.part = d % 2 ? 0.9 : ABSENT;
            model_ask(view, &q, &a);
            for (int r = 0; r < RESPONSES; r++) {
                double sum = 0;
                for (int p = 0; p < a.part_count; p++) {
                    sum += a.parts[p].value[r];
                    assert_true(fabs(a.parts[p].value[r] * 1e4 - rint(a.parts[p].value[r] * 1e4)) < 1e-6);
                }
                assert_true(fabs(sum - a.mean[r]) < 1e-9);
                assert_true(a.se[r] > 0 && a.se[r] < 4);
                assert_true(a.low90[r] < a.mean[r] && a.high90[r] > a.mean[r]);
            }
        }
}

static void test_smallest_clubs(void **state)
{
    (void)state;
    static const int sizes[] = {0, 1, 2, 3, 8, 60};
    for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++)
        for (int alike = 0; alike < 3; alike++) {
            struct invented v;
            make(&v, sizes[k], 35 + k);
            struct model *m = invented_model(&v);
            for (int i = 0; i < v.rows; i++) {
                struct calibration *c = &v.row[i];
                if (alike) { /* one deck; and all that was ever found there is the same */
                    strcpy(c->deck, v.deck[0].id);
                    c->level = 0.5;
                }
                if (alike == 2) {
                    strcpy(c->stock, v.stock[1].id);
                    c->bias = 1;
                    c->low_db = c->high_db = 0;
                    c->move_count = 0;
                }
                put(m, c, false);
            }
            struct model_view *view = refitted(m);
            sane(&v, view);
            if (alike == 2 && v.rows == 60) { /* 60 results of 0.5 dB: that is the answer */
                struct model_question q = invented_question(&v, 0, 1);
                struct model_answer a;
                model_ask(view, &q, &a);
                assert_int_equal(a.basis, BASIS_THIS_PAIR);
                assert_true(fabs(a.mean[BIAS] - 0.5) < 0.1 && a.se[BIAS] < 0.25);
            }
            if (!v.rows) {
                struct model_question q = invented_question(&v, 0, 1);
                struct model_answer a;
                model_ask(view, &q, &a);
                assert_int_equal(a.basis, BASIS_NO_RESULTS);
                assert_true(a.mean[BIAS] == 0 && a.se[BIAS] > 1.5); /* wide, not falsely sure */
            }
            model_view_free(view);
            model_free(m);
            invented_free(&v);
        }
    assert_int_equal(mem_alive(), 0);
}

/* ---- a misentry ---- */

static void test_a_misentry_moves_little(void **state)
{
    (void)state;
    struct invented v;
    make(&v, 300, 41);
    struct model *m = invented_model(&v);
    for (int i = 0; i < v.rows; i++)
        put(m, &v.row[i], false);
    struct model_view *right = refitted(m);
    static const char *const kinds[] = {"sign", "factor of ten", "wrong deck"};
    double worst[3] = {0}, plain = 0;
    for (int k = 0; k < 3; k++)
        for (int i = 20; i < v.rows; i += 60) {
            struct calibration c = v.row[i];
            if (k == 0)
                c.bias = -c.bias;
            else if (k == 1)
                c.bias *= 10;
            else
                snprintf(c.deck, sizeof c.deck, "deck-%d", (atoi(c.deck + 5) + 3) % 7); /* one with both dials */
            put(m, &c, false);
            struct model_view *wrong = refitted(m);
            struct apart most = apart(&v, right, wrong);
            worst[k] = fmax(worst[k], most.mean);
            plain = fmax(plain, k < 2 ? fabs(c.bias - v.row[i].bias) / 2 : 0);
            model_view_free(wrong);
            put(m, &v.row[i], false);
        }
    for (int k = 0; k < 3; k++) {
        print_message("%s: no suggestion moves by more than %.2f dB\n", kinds[k], worst[k]);
        assert_true(worst[k] < 0.35);
    }
    print_message("the largest of these misentries was %.1f dB\n", plain);
    assert_true(plain > 5);
    same(&v, right, refitted(m), "put right again");
    model_free(m);
    invented_free(&v);
}

/* ---- a dial that ran out ---- */

static struct calibration result(const struct invented *v, int n, int deck, int stock, double bias, double level)
{
    struct calibration c = v->row[0];
    memset(c.id.bytes, 0, sizeof c.id.bytes);
    memcpy(c.id.bytes, &n, sizeof n);
    strcpy(c.deck, v->deck[deck].id);
    strcpy(c.stock, v->stock[stock].id);
    c.tape[0] = 0;
    c.bias = bias;
    c.level = level;
    c.low_db = c.high_db = ABSENT;
    c.move_count = 0;
    c.recordings = -1;
    return c;
}

static struct model_answer answer(struct model *m, const struct invented *v, int deck, int stock)
{
    struct model_view *view = refitted(m);
    struct model_question q = invented_question(v, deck, stock);
    struct model_answer a;
    model_ask(view, &q, &a);
    model_view_free(view);
    return a;
}

static void test_an_end_stop(void **state)
{
    (void)state;
    struct invented v;
    struct model_answer a[3];
    make(&v, 250, 42);
    /* Deck 0's bias dial ended at 1 dB (2 marks) under a stock that nobody else has: an ordinary result, a stop at the high end, or a high end that is
     * less bias because the dial turns the other way. */
    for (int k = 0; k < 3; k++) {
        struct model *m = invented_model(&v);
        for (int i = 0; i < v.rows; i++)
            if (strcmp(v.row[i].stock, v.stock[STOCKS - 1].id) != 0 && strcmp(v.row[i].deck, v.deck[0].id) != 0)
                put(m, &v.row[i], false);
        struct deck turned = v.deck[0];
        if (k == 2) {
            turned.bias_dial.plus = PLUS_LESS;
            assert_true(model_put_deck(m, &turned));
        }
        struct calibration c = result(&v, 7, 0, STOCKS - 1, k == 2 ? -2 : 2, 0);
        c.bias_stop = k ? STOP_HIGH : STOP_NONE;
        put(m, &c, false);
        a[k] = answer(m, &v, 0, STOCKS - 1);
        model_free(m);
    }
    print_message("as it stands %.2f, more wanted %.2f, less wanted %.2f dB\n", a[0].mean[BIAS], a[1].mean[BIAS], a[2].mean[BIAS]);
    assert_true(a[1].mean[BIAS] > a[0].mean[BIAS] + 0.1); /* at least so much */
    assert_true(a[2].mean[BIAS] < a[0].mean[BIAS] - 0.1); /* at most so much */
    assert_true(a[1].se[BIAS] > 1.1 * a[0].se[BIAS]);     /* and how much is not known */
    assert_true(a[1].se[LEVEL] > a[0].se[LEVEL]);         /* the level was trimmed at another bias than wanted */
    assert_true(fabs(a[1].mean[LEVEL] - a[0].mean[LEVEL]) < 0.3);
    invented_free(&v);
}

/* Where others already say "far beyond", a stop says nothing new. Where twelve say "far short of it", it is a way of setting of its own and moves
 * the answer little, to which side depends on the sds that move with it. */
static void test_an_end_stop_among_others(void **state)
{
    (void)state;
    struct invented v;
    double moved[2];
    make(&v, 200, 43);
    for (int far = 0; far < 2; far++) {
        struct model *m = invented_model(&v);
        for (int i = 0; i < v.rows; i++)
            put(m, &v.row[i], false);
        for (int n = 0; n < 12; n++) {
            struct calibration c = result(&v, 100 + n, 1, 2, far ? 12 : 2, 0);
            c.low_db = c.high_db = 0;
            put(m, &c, false);
        }
        struct model_answer before = answer(m, &v, 1, 2), after;
        struct calibration c = result(&v, 99, 1, 2, 5, 0);
        c.bias_stop = STOP_HIGH;
        put(m, &c, false);
        after = answer(m, &v, 1, 2);
        moved[far] = after.mean[BIAS] - before.mean[BIAS];
        print_message("results at %.1f dB, a dial that ended at 2.5: %.2f, then %.2f\n", far ? 6.0 : 1.0, before.mean[BIAS],
                      after.mean[BIAS]);
        model_free(m);
    }
    assert_true(fabs(moved[1]) < 0.02);
    assert_true(fabs(moved[0]) < 0.15);
    invented_free(&v);
}

/* ---- served and canonical ---- */

static void test_served_and_canonical(void **state)
{
    (void)state;
    enum { LATE = 24 };
    struct invented v;
    make(&v, 400, 44);
    struct model *m = invented_model(&v);
    for (int i = 0; i < v.rows - LATE; i++)
        put(m, &v.row[i], false);
    model_view_free(refitted(m));
    /* a restart in between: the saved view, then all facts again */
    struct model_view *saved = model_publish(m, &f), *loaded;
    void *bytes;
    size_t n;
    assert_non_null(saved);
    assert_true(model_view_save(saved, &bytes, &n, &f));
    loaded = model_view_load(bytes, n, &f);
    assert_non_null(loaded);
    same(&v, saved, loaded, "saved and loaded");
    loaded = model_view_load(bytes, n, &f);
    mem_free(bytes);
    struct model *again = invented_model(&v);
    assert_true(model_warm(again, loaded));
    model_view_free(loaded);
    for (int i = 0; i < v.rows; i++)
        put(again, &v.row[i], false);
    for (int i = v.rows - LATE; i < v.rows; i++) {
        put(m, &v.row[i], false);
        if (i % 5 == 0)
            assert_true(model_solve(m, &f));
    }
    assert_true(model_solve(m, &f));
    assert_true(model_solve(again, &f));
    struct model_view *served = model_publish(m, &f), *restarted = model_publish(again, &f), *canonical = refitted(m);
    struct apart one = apart(&v, served, canonical), two = apart(&v, restarted, canonical);
    print_message("%d results after the fit: %.3f dB from canonical, after a restart %.3f dB\n", LATE, one.mean, two.mean);
    assert_true(one.mean <= SERVED_TOLERANCE_DB && two.mean <= SERVED_TOLERANCE_DB);
    /* and a fit comes to the canonical one, whatever was there before */
    struct model_job *job = model_fit_begin(m, &f);
    assert_non_null(job);
    assert_true(model_job_run(job, NULL, &f));
    assert_true(model_fit_adopt(m, job, &f));
    struct model_view *warm = model_publish(m, &f);
    struct apart three = apart(&v, warm, canonical);
    print_message("fitted from there: %.4f dB, range %.4f\n", three.mean, three.range);
    assert_true(three.mean <= 1e-9);
    model_view_free(served);
    model_view_free(restarted);
    model_view_free(canonical);
    model_view_free(warm);
    model_free(m);
    model_free(again);
    invented_free(&v);
    assert_int_equal(mem_alive(), 0);
}

/* The same results worked in one by one, or by a solve of all: the same variances, so the same answers, in clubs where one result in fifty is a misentry and each pair
 * has two, which of them slipped being told by others. What is left is the 0.02 that a weight may be from its end. */
static void test_one_by_one(void **state)
{
    (void)state;
    enum { LATE = 24, CLUBS = 6 };
    double worst = 0;
    for (uint64_t seed = 44; seed < 44 + CLUBS; seed++) {
        struct invented v;
        make(&v, 400, seed);
        struct model *m = invented_model(&v), *anew = invented_model(&v);
        for (int i = 0; i < v.rows - LATE; i++)
            put(m, &v.row[i], false);
        struct model_view *fitted = refitted(m);
        assert_true(model_warm(anew, fitted));
        for (int i = 0; i < v.rows; i++)
            put(anew, &v.row[i], false);
        for (int i = v.rows - LATE; i < v.rows; i++) {
            put(m, &v.row[i], false);
            assert_true(model_solve(m, &f));
        }
        assert_true(model_solve(anew, &f));
        struct model_view *a = model_publish(m, &f), *b = model_publish(anew, &f);
        worst = fmax(worst, apart(&v, a, b).mean);
        model_view_free(fitted);
        model_view_free(a);
        model_view_free(b);
        model_free(m);
        model_free(anew);
        invented_free(&v);
    }
    print_message("worked in one by one or all at once: %.4f dB apart at most\n", worst);
    assert_true(worst <= SERVED_TOLERANCE_DB / 2);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_order_of_arrival),
        cmocka_unit_test(test_an_import_in_two),
        cmocka_unit_test(test_rows_that_do_not_count),
        cmocka_unit_test(test_shifted_dials),
        cmocka_unit_test(test_smallest_clubs),
        cmocka_unit_test(test_a_misentry_moves_little),
        cmocka_unit_test(test_an_end_stop),
        cmocka_unit_test(test_an_end_stop_among_others),
        cmocka_unit_test(test_served_and_canonical),
        cmocka_unit_test(test_one_by_one),
    };
    return cmocka_run_group_tests_name("club properties", tests, NULL, NULL);
}
