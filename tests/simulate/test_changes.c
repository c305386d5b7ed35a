/* SPDX-License-Identifier: GPL-3.0-or-later
 * Decks that change and decks that do not, in invented clubs made from how tape answers to bias: is the change noticed, when and how large; do quiet decks stay quiet. The whole way from results to signals, as the deck's page goes it.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "diary.h"

#include "model/outlook.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DECKS   8
#define STOCKS  40
#define FROM_US (1672531200LL * 1000000)
#define TO_US   (1735689600LL * 1000000) /* two years */
#define JUMP_DB 0.9
#define RESULTS 110 /* of each deck that are looked at */
#define SIGNALS 16

struct scene {
    struct club *club;
    struct diary_row *rows;
    int n;
    struct model *model;
    struct model_view *view;
};

/* Eight cassette decks without services; the first one's bias rises by 0.9 dB in the middle of the time, nobody notices. */
static struct club *make_club(uint64_t seed, double jump_db)
{
    struct club_size size = {.decks = DECKS + 2, .stocks = STOCKS, .members = 8, .from_us = FROM_US, .to_us = TO_US};
    struct club *c = club_random(seed, &size);
    assert_non_null(c);
    c->service_count = 0;
    for (int i = 0; i < c->deck_count; i++) {
        c->decks[i].change_count = 0;
        c->decks[i].drift_bias_db_year *= 0.3;
        c->decks[i].drift_treble_db_year *= 0.3;
        c->decks[i].wear_db *= 0.3;
    }
    if (jump_db != 0)
        c->decks[0].change[c->decks[0].change_count++] =
            (struct bench_change){.at_us = FROM_US + (TO_US - FROM_US) / 2, .bias_db = jump_db};
    return c;
}

static void make_scene(struct scene *s, struct club *club, long rows)
{
    struct diary *d = diary_new(club, rows);
    struct fault f = {0};
    struct stamp stamp = {.revision = 1};
    *s = (struct scene){.club = club, .rows = calloc((size_t)rows, sizeof *s->rows), .model = model_new()};
    assert_non_null(d);
    assert_true(s->rows && s->model);
    for (int i = 0; i < club->deck_count; i++)
        assert_true(model_put_deck(s->model, &club->decks[i].record));
    for (int i = 0; i < club->stock_count; i++)
        assert_true(model_put_stock(s->model, &club->stocks[i].record));
    while (s->n < rows && diary_next(d, &s->rows[s->n])) {
        stamp.seq = s->n + 1;
        assert_true(model_put_calibration(s->model, &s->rows[s->n].calibration, &stamp));
        s->n++;
    }
    model_reached(s->model, s->n);
    assert_true(model_refit(s->model, &f));
    s->view = model_publish(s->model, &f);
    assert_non_null(s->view);
    diary_free(d);
}

static void drop_scene(struct scene *s)
{
    model_view_free(s->view);
    model_free(s->model);
    free(s->rows);
    club_free(s->club);
}

/* The signals of one deck from at most `most` of its results. `first_after`: index of the first used result made after `at_us`, −1 = none. */
static int signals_of(const struct scene *s, int deck, int most, int64_t at_us, struct course_signal *signals, int *first_after,
                      int *results)
{
    struct course_result *list = calloc((size_t)s->n + 1, sizeof *list);
    struct outlook_row *row = calloc((size_t)s->n + 1, sizeof *row);
    double *standing[RESPONSES], *spread[RESPONSES];
    const struct deck *d = &s->club->decks[deck].record;
    int n = 0, found = 0;
    *first_after = -1;
    for (int i = 0; i < s->n && n < most; i++) {
        const struct calibration *c = &s->rows[i].calibration;
        if (strcmp(c->deck, d->id))
            continue;
        const struct stock *k = &s->club->stocks[s->rows[i].stock].record;
        model_explain(s->view, c, d, k, &row[n]);
        /* a number for each named tape of each stock: here the diary's own */
        int tape = c->tape[0] ? s->rows[i].stock * 4096 + s->rows[i].batch * 64 + s->rows[i].tape : -1;
        list[n] = (struct course_result){c->made_at_us, k, tape, model_left_out(c, NULL) == NULL, &row[n]};
        if (*first_after < 0 && c->made_at_us >= at_us && list[n].used)
            *first_after = n;
        n++;
    }
    for (int r = 0; r < RESPONSES; r++) {
        standing[r] = calloc((size_t)n + 1, sizeof(double));
        spread[r] = calloc((size_t)n + 1, sizeof(double));
    }
    assert_true(model_course(s->view, d, list, n, STOCKS * 4096, NULL, 0, standing, spread, signals, SIGNALS, &found));
    *results = n;
    for (int r = 0; r < RESPONSES; r++) {
        free(standing[r]);
        free(spread[r]);
    }
    free(list);
    free(row);
    return found;
}

static void jumps_and_quiet(void **state)
{
    (void)state;
    int jumps = 0, found = 0, dated = 0, sized = 0, quiet = 0, alarms = 0, crowded = 0;
    for (uint64_t seed = 700; seed < 708; seed++) {
        struct scene s;
        make_scene(&s, make_club(seed, JUMP_DB), 1400);
        int here = 0, of = 0;
        for (int d = 0; d < s.club->deck_count; d++) {
            struct course_signal signal[SIGNALS];
            int after, results, n = signals_of(&s, d, d ? RESULTS : 2 * RESULTS, FROM_US + (TO_US - FROM_US) / 2, signal, &after, &results);
            if (s.club->decks[d].record.medium != MEDIUM_CASSETTE || results < 70 || !s.club->decks[d].record.bias_dial.present)
                continue;
            if (d == 0) {
                if (after < 20 || results - after < 15) /* too few on either side for anybody */
                    continue;
                jumps++;
                int best = -1;
                for (int i = 0; i < n; i++)
                    if (signal[i].response == BIAS && (best < 0 || abs(signal[i].at.since - after) < abs(signal[best].at.since - after)))
                        best = i;
                if (best < 0) {
                    print_message("seed %d: not noticed\n", (int)seed);
                    continue;
                }
                found++;
                dated += abs(signal[best].at.since - after) <= 8;
                sized += fabs(signal[best].at.size_db + JUMP_DB) <= 0.4; /* more bias from the preset is less on the dial */
                print_message("seed %d: since %+d results, size %.2f ± %.2f, of %d results, %d after\n", (int)seed,
                              signal[best].at.since - after, signal[best].at.size_db, signal[best].at.size_se_db, results, results - after);
            } else {
                of++;
                here += n > 0;
                for (int i = 0; i < n; i++)
                    print_message("seed %d deck %d: %s %.2f ± %.2f at %d of %d\n", (int)seed, d,
                                  signal[i].response == BIAS ? "bias" : "level", signal[i].at.size_db, signal[i].at.size_se_db,
                                  signal[i].at.since, results);
            }
        }
        quiet += of;
        alarms += here;
        crowded += here > 2;
        drop_scene(&s);
    }
    print_message("%d jumps: %d noticed, %d with their date to eight results, %d with their size to 0.4 dB; %d of %d quiet decks gave a "
                  "signal, more than two in %d clubs\n",
                  jumps, found, dated, sized, alarms, quiet, crowded);
    assert_true(jumps >= 6 && quiet >= 30);
    assert_true(found == jumps && dated * 10 >= jumps * 9 && sized * 10 >= jumps * 9);
    assert_int_equal(crowded, 0);
    assert_true(alarms * 7 <= quiet * 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(jumps_and_quiet)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
