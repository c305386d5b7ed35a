/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One step ahead: learn what came before, ask for the next block, go on. For the track record and for the range's multipliers.
 */
#include "replay_inside.h"

#include "../ground/memory.h"
#include "../trade/dial.h"
#include "flat_rows.h"

#include <stdlib.h>
#include <string.h>

#define DAY_US 86400000000LL

struct turn {
    int64_t made_at_us;
    struct uuid id;
    int fact;
};

static int by_time(const void *a, const void *b)
{
    const struct turn *x = a, *y = b;
    if (x->made_at_us != y->made_at_us)
        return x->made_at_us < y->made_at_us ? -1 : 1;
    return memcmp(x->id.bytes, y->id.bytes, sizeof x->id.bytes);
}

static int64_t day_of(int64_t us)
{
    return us >= 0 ? us / DAY_US : -((-us + DAY_US - 1) / DAY_US);
}

static bool chosen(const struct fact_row *row, const struct facts *x, const struct equation_options *o)
{
    return row->state == ROW_USED && equation_sampled(row, x->used, o->sample);
}

static struct turn *order_rows(const struct facts *x, const struct equation_options *o, int *count)
{
    struct turn *all = mem_zero((size_t)x->row_count + 1, sizeof *all);
    *count = 0;
    for (int i = 0; all && i < x->row_count; i++)
        if (chosen(&x->rows[i], x, o))
            all[(*count)++] = (struct turn){x->rows[i].made_at_us, x->rows[i].id, i};
    if (all)
        qsort(all, (size_t)*count, sizeof *all, by_time);
    return all;
}

/* ---- one row ---- */

static struct model_question question_of(const struct facts *x, const struct fact_row *row)
{
    return (struct model_question){.deck = &x->decks[row->deck]->deck,
                                   .stock = &x->stocks[row->stock]->stock,
                                   .tape_class = CLASS_NONE,
                                   .setup = words_text(&x->words, row->setup),
                                   .batch = words_text(&x->words, row->batch),
                                   .tape = words_text(&x->words, row->tape),
                                   .channel = (enum channel)row->channel,
                                   .recordings = row->recordings,
                                   .position_s = row->position_s,
                                   .part = row->part,
                                   .treble_db = 0,
                                   .low_hz = row->low_hz,
                                   .high_hz = row->high_hz,
                                   .at_us = row->made_at_us};
}

static double step_of(const struct dial *d, double worth, double reading)
{
    return d->present && given(reading) ? fabs(dial_step(d) * dial_db_per_unit(d, worth, reading)) : 0;
}

static void row_of(const struct replay *p, const struct model_view *v, int fact, struct flat_memo *memo, struct replay_row *out)
{
    const struct fact_row *row = &p->facts->rows[fact];
    const struct fact_deck *d = p->facts->decks[row->deck];
    const struct fact_stock *s = p->facts->stocks[row->stock];
    struct row_response response;
    struct model_question q = question_of(p->facts, row);
    struct model_answer a;
    double shift[RESPONSES];
    row_respond(p->facts, row, p->options, memo, &response);
    facts_shift(d, row->made_at_us, shift);
    model_ask(v, &q, &a);
    *out = (struct replay_row){.id = row->id,
                               .made_at_us = row->made_at_us,
                               .known_rows = (long)v->head->rows_used,
                               .basis = a.basis,
                               .read = response.kind[BIAS] == KIND_READ && row->method == METHOD_FLAT};
    const struct dial *dials[RESPONSES] = {&d->deck.bias_dial, &d->deck.level_dial};
    for (int r = 0; r < RESPONSES; r++) {
        out->mean[r] = a.mean[r];
        out->se[r] = a.se[r];
        out->low90[r] = a.low90[r];
        out->high90[r] = a.high90[r];
        out->observed[r] = response.y[r] + shift[r] + (given(s->sheet[r]) ? SHEET_MEAN * s->sheet[r] : 0);
        out->tells[r] = response.kind[r] != KIND_NONE && !response.stop[r];
        out->step_db[r] = step_of(dials[r], a.worth[r], row->reading[r]);
    }
}

/* ---- blocks ---- */

static struct model_view *view_before(const struct replay *p, int64_t before_us, struct fault *f)
{
    struct equation_options o = *p->options;
    struct club_fit fit;
    struct model_view *v = NULL;
    o.before_us = before_us;
    if (club_fit_open(&fit, p->facts, &o, f)) {
        fit.rounds = 1;
        v = view_build(&fit, p->facts, &o, p->variances, 0, f);
    }
    club_fit_free(&fit);
    return v;
}

static int block_end(const struct turn *all, int count, int from, int size)
{
    int end = from + size;
    while (end < count && day_of(all[end].made_at_us) == day_of(all[end - 1].made_at_us))
        end++;
    return end < count ? end : count;
}

bool replay_run(const struct replay *p, replay_callback callback, void *user, struct fault *f)
{
    int count;
    struct turn *all = order_rows(p->facts, p->options, &count);
    if (!all)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while replaying the results");
    struct flat_memo memo;
    flat_memo_init(&memo);
    int first = (int)(p->skip * count);
    int size = (count - first + p->blocks - 1) / (p->blocks > 0 ? p->blocks : 1);
    if (first > 0) /* a block begins with a day */
        first = block_end(all, count, first - 1, 1);
    bool ok = true, more = true;
    for (int from = first; ok && more && from < count;) {
        int end = block_end(all, count, from, size > 0 ? size : 1);
        if (p->stop && *p->stop) {
            ok = false;
            break;
        }
        int64_t before = day_of(all[from].made_at_us) * DAY_US;
        struct model_view *v = view_before(p, before, f);
        ok = v != NULL;
        for (int i = from; ok && more && i < end; i++) {
            struct replay_row row;
            row_of(p, v, all[i].fact, &memo, &row);
            row.known_before_us = before;
            more = callback(user, &row);
        }
        model_view_free(v);
        from = end;
    }
    mem_free(all);
    return ok;
}

/* ---- the range ---- */

struct ratios {
    double *of[RESPONSES][BASIS_KINDS];
    int count[RESPONSES][BASIS_KINDS], room;
};

static bool take_ratio(void *user, const struct replay_row *row)
{
    struct ratios *t = user;
    for (int r = 0; r < RESPONSES && row->read; r++) {
        double half = 0.5 * (row->high90[r] - row->low90[r]);
        if (row->tells[r] && half > 0 && t->count[r][row->basis] < t->room)
            t->of[r][row->basis][t->count[r][row->basis]++] = fabs(row->observed[r] - row->mean[r]) / half;
    }
    return true;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double multiplier(double *ratio, int n)
{
    if (n == 0)
        return RANGE_OWN;
    qsort(ratio, (size_t)n, sizeof *ratio, ascending);
    double at = RANGE_QUANTILE * (n + 1) - 1;
    int k = at < 0 ? 0 : at >= n - 1 ? n - 1 : (int)at;
    double q = k + 1 < n ? ratio[k] + (at - k) * (ratio[k + 1] - ratio[k]) : ratio[k];
    return (n * q + RANGE_WEIGHT * RANGE_OWN) / (n + RANGE_WEIGHT);
}

bool replay_ranges(const struct facts *x, const struct equation_options *o, struct variances *v, const atomic_bool *stop, struct fault *f)
{
    struct equation_options some = *o;
    struct ratios t = {.room = x->used};
    struct replay p = {.facts = x, .options = &some, .variances = v, .blocks = RANGE_BLOCKS, .skip = RANGE_SKIP, .stop = stop};
    some.sample = RANGE_ROWS;
    bool ok = true;
    for (int r = 0; r < RESPONSES; r++)
        for (int k = 0; k < BASIS_KINDS; k++) {
            v->multiplier[r][k] = 1;
            t.of[r][k] = mem_zero((size_t)t.room + 1, sizeof(double));
            ok = ok && t.of[r][k];
        }
    if (!ok)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while measuring the ranges");
    ok = ok && replay_run(&p, take_ratio, &t, f);
    for (int r = 0; r < RESPONSES; r++)
        for (int k = 0; k < BASIS_KINDS; k++) {
            if (ok)
                v->multiplier[r][k] = multiplier(t.of[r][k], t.count[r][k]);
            mem_free(t.of[r][k]);
        }
    return ok;
}
