/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What things are called and counted in changes nothing: marks of another size, a dial turned round, percent or ratio, a scale given by points, other names, another
 * year. The canonical refit gives the same dB to 1e-9. Decks have moves here, so that slopes are learned from them too.
 */
#include "invented.h"

#include "../../server/ground/memory.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define SAME 1e-9
#define YEAR (365LL * 86400000000LL)

static struct invented club(void)
{
    struct invented v = {.decks = 6, .stocks = 9, .rows = 150, .tapes_each = 3, .readings = 0.8, .misentries = 0.02};
    invent(&v, 31);
    for (int i = 0; i < v.rows; i++) {
        struct calibration *c = &v.row[i];
        if (!given(c->low_db) || !given(c->bias) || i % 3 == 0)
            continue;
        double by = 0.4 + lot_uniform(&v.lot); /* dB below where it was left, as found */
        c->moves[c->move_count++] = (struct move){c->bias - 2 * by, c->level, c->low_db - 0.12 * by + 0.05 * lot_normal(&v.lot),
                                                  c->high_db + 1.4 * by + 0.1 * lot_normal(&v.lot)};
        c->moves[c->move_count++] = (struct move){c->bias, c->level, c->low_db, c->high_db};
    }
    return v;
}

static struct model_view *refitted(const struct invented *v)
{
    struct model *m = model_new();
    struct fault f = {0};
    assert_non_null(m);
    invented_put(v, m, NULL);
    assert_true(model_refit(m, &f));
    struct model_view *view = model_publish(m, &f);
    assert_non_null(view);
    model_free(m);
    return view;
}

/* Readings of both dials of deck `deck`, in results and moves, through `other`. */
static void reread(struct invented *v, int deck, double (*other)(double))
{
    for (int i = 0; i < v->rows; i++) {
        struct calibration *c = &v->row[i];
        if (strcmp(c->deck, v->deck[deck].id) != 0)
            continue;
        c->bias = other(c->bias);
        c->level = given(c->level) ? other(c->level) : ABSENT;
        for (int k = 0; k < c->move_count; k++) {
            c->moves[k].bias = other(c->moves[k].bias);
            c->moves[k].level = given(c->moves[k].level) ? other(c->moves[k].level) : ABSENT;
        }
    }
}

static void same_answers(const struct invented *a, const struct invented *b, int64_t later_us)
{
    struct model_view *before = refitted(a), *after = refitted(b);
    double most = 0, spread = 0;
    for (int d = 0; d < a->decks; d++)
        for (int s = 0; s < a->stocks; s++)
            for (int w = 0; w < 2; w++) {
                struct model_question q = invented_question(a, d, s), p = invented_question(b, d, s);
                struct model_answer one, other;
                q.recordings = p.recordings = w ? 2 : -1;
                q.treble_db = p.treble_db = w;
                p.at_us += later_us;
                model_ask(before, &q, &one);
                model_ask(after, &p, &other);
                assert_int_equal(one.basis, other.basis);
                for (int r = 0; r < RESPONSES; r++) {
                    most = fmax(most, fabs(one.mean[r] - other.mean[r]));
                    most = fmax(most, fabs(one.se[r] - other.se[r]));
                    most = fmax(most, fabs(one.high90[r] - other.high90[r]));
                    spread = fmax(spread, fabs(one.mean[r]));
                }
            }
    model_view_free(before);
    model_view_free(after);
    if (!(most <= SAME))
        fail_msg("answers differ by %.3g dB", most);
    assert_true(spread > 0.5); /* they say something */
}

static double four_times(double reading)
{
    return 4 * reading;
}

static double turned_round(double reading)
{
    return -reading;
}

/* Marks a quarter as large, four times as many of them. */
static void test_marks_of_another_size(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    for (int d = 0; d < 3; d++) {
        struct dial *both[2] = {&b.deck[d].bias_dial, &b.deck[d].level_dial};
        reread(&b, d, four_times);
        for (int k = 0; k < 2; k++) {
            both[k]->low *= 4;
            both[k]->high *= 4;
            both[k]->step *= 4;
            both[k]->db_per_unit /= 4;
        }
    }
    same_answers(&a, &b, 0);
    invented_free(&a);
    invented_free(&b);
    assert_int_equal(mem_alive(), 0);
}

static void test_a_dial_turned_round(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    reread(&b, 1, turned_round);
    b.deck[1].bias_dial.plus = b.deck[1].level_dial.plus = PLUS_LESS;
    same_answers(&a, &b, 0);
    invented_free(&a);
    invented_free(&b);
}

/* The same straight scale, given as dB a mark and by two of its points. */
static void test_a_scale_by_points(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    struct dial *both[2] = {&b.deck[2].bias_dial, &b.deck[2].level_dial};
    for (int k = 0; k < 2; k++) {
        both[k]->scale = SCALE_POINTS;
        both[k]->point_count = 2;
        both[k]->points[0][0] = -20, both[k]->points[0][1] = -10;
        both[k]->points[1][0] = 20, both[k]->points[1][1] = 10;
    }
    same_answers(&a, &b, 0);
    invented_free(&a);
    invented_free(&b);
}

static double to_percent(double half_db)
{
    return 100 * pow(10, half_db / 40);
}

static double to_ratio(double half_db)
{
    return pow(10, half_db / 40);
}

/* One dial in percent of the preset, and the same as a ratio to it. */
static void test_percent_and_ratio(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    reread(&a, 0, to_percent);
    reread(&b, 0, to_ratio);
    struct dial *percent[2] = {&a.deck[0].bias_dial, &a.deck[0].level_dial}, *ratio[2] = {&b.deck[0].bias_dial, &b.deck[0].level_dial};
    for (int k = 0; k < 2; k++) {
        *percent[k] =
            (struct dial){.present = true, .low = 20, .high = 400, .step = 1, .zero = 100, .scale = SCALE_PERCENT, .db_per_unit = ABSENT};
        *ratio[k] =
            (struct dial){.present = true, .low = 0.2, .high = 4, .step = 0.01, .zero = 1, .scale = SCALE_RATIO, .db_per_unit = ABSENT};
    }
    same_answers(&a, &b, 0);
    invented_free(&a);
    invented_free(&b);
}

static void test_other_names(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    for (int d = 0; d < b.decks; d++) {
        snprintf(b.deck[d].id, sizeof b.deck[d].id, "%c-machine", 'z' - d);
        if (b.deck[d].model[0])
            snprintf(b.deck[d].model, sizeof b.deck[d].model, "make %d", 9 - d / 5);
    }
    for (int s = 0; s < b.stocks; s++) {
        snprintf(b.stock[s].id, sizeof b.stock[s].id, "%c-tape", 'y' - s);
        if (b.stock[s].family[0])
            snprintf(b.stock[s].family, sizeof b.stock[s].family, "coat %d", 7 - s / 8);
    }
    for (int i = 0; i < b.rows; i++) {
        int d = 0, s = 0;
        while (strcmp(a.deck[d].id, b.row[i].deck) != 0)
            d++;
        while (strcmp(a.stock[s].id, b.row[i].stock) != 0)
            s++;
        snprintf(b.row[i].deck, sizeof b.row[i].deck, "%s", b.deck[d].id);
        snprintf(b.row[i].stock, sizeof b.row[i].stock, "%s", b.stock[s].id);
        snprintf(b.row[i].tape, sizeof b.row[i].tape, "box %c", 'c' - a.row[i].tape[1] % 3);
    }
    same_answers(&a, &b, 0);
    invented_free(&a);
    invented_free(&b);
}

static void test_another_year(void **state)
{
    (void)state;
    struct invented a = club(), b = club();
    for (int i = 0; i < b.rows; i++)
        b.row[i].made_at_us += 4 * YEAR;
    same_answers(&a, &b, 4 * YEAR);
    invented_free(&a);
    invented_free(&b);
    assert_int_equal(mem_alive(), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_marks_of_another_size), cmocka_unit_test(test_a_dial_turned_round),
                                       cmocka_unit_test(test_a_scale_by_points),     cmocka_unit_test(test_percent_and_ratio),
                                       cmocka_unit_test(test_other_names),           cmocka_unit_test(test_another_year)};
    return cmocka_run_group_tests_name("units", tests, NULL, NULL);
}
