/* SPDX-License-Identifier: GPL-3.0-or-later
 * The product's estimator, asked the way the daemon asks it. */
#include "judge.h"

#include "ground/memory.h"
#include "model/club.h"

#include <stdio.h>

struct judged_model {
    struct estimator e;
    const struct club *club;
    struct model *model;
    struct model_view *view;
    int service_next;
    long seq;
};

static bool model_learn(void *state, const struct diary_row *row, long seq)
{
    struct judged_model *m = state;
    struct stamp stamp = {.revision = 1, .stored_us = row->calibration.made_at_us};
    (void)seq;
    for (; m->service_next < m->club->service_count && m->club->services[m->service_next].made_at_us <= row->calibration.made_at_us;
         m->service_next++) {
        stamp.seq = ++m->seq;
        if (!model_put_service(m->model, &m->club->services[m->service_next], &stamp))
            return false;
    }
    stamp.seq = ++m->seq;
    snprintf(stamp.member, sizeof stamp.member, "%s", m->club->members[row->member].name);
    if (!model_put_calibration(m->model, &row->calibration, &stamp))
        return false;
    model_reached(m->model, m->seq);
    return true;
}

static bool model_settle(void *state, bool whole)
{
    struct judged_model *m = state;
    struct fault f = {0};
    char text[400];
    struct model_view *view = NULL;
    if ((whole ? model_refit(m->model, &f) : model_solve(m->model, &f)) && (view = model_publish(m->model, &f))) {
        model_view_free(m->view);
        m->view = view;
        return true;
    }
    fprintf(stderr, "estimator: %s\n", fault_text(&f, text, sizeof text));
    return false;
}

static bool model_answer(void *state, const struct judge_question *q, struct judge_answer *out)
{
    struct judged_model *m = state;
    const struct bench_deck *d = &m->club->decks[q->deck];
    struct model_question ask = {
        .deck = &d->record,
        .stock = &m->club->stocks[q->stock].record,
        .tape_class = m->club->stocks[q->stock].record.tape_class,
        .setup = d->setup[q->setup].id,
        .batch = q->batch,
        .tape = q->tape,
        .channel = q->channel,
        .recordings = q->recordings,
        .position_s = q->position_s,
        .part = q->part,
        .treble_db = 0,
        .low_hz = ABSENT,
        .high_hz = ABSENT,
        .at_us = q->at_us,
    };
    struct model_answer a;
    model_ask(m->view, &ask, &a);
    *out = (struct judge_answer){a.mean[BIAS], a.mean[LEVEL], a.low90[BIAS], a.high90[BIAS], a.a + a.b, a.worth[BIAS]};
    return true;
}

static void model_release(void *state)
{
    struct judged_model *m = state;
    model_view_free(m->view);
    model_free(m->model);
    mem_free(m);
}

struct estimator *club_model_new(const struct club *c)
{
    struct judged_model *m = mem_zero(1, sizeof *m);
    if (!m)
        return NULL;
    m->club = c;
    m->model = model_new();
    bool ok = m->model != NULL;
    for (int i = 0; ok && i < c->deck_count; i++)
        ok = model_put_deck(m->model, &c->decks[i].record);
    for (int i = 0; ok && i < c->stock_count; i++)
        ok = model_put_stock(m->model, &c->stocks[i].record);
    m->e = (struct estimator){"biasbook", m, model_learn, model_settle, model_answer, model_release};
    if (ok)
        return &m->e;
    model_release(m);
    return NULL;
}
