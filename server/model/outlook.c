/* SPDX-License-Identifier: GPL-3.0-or-later
 * See outlook.h. */
#include "outlook.h"

#include "../trade/check.h"
#include "../trade/spool.h"
#include "flat_rows.h"
#include "view.h"

#include <string.h>

void model_slopes(const struct model_view *v, const struct model_question *q, struct slopes_at *out)
{
    struct setup setup;
    struct dial_worth shared[RESPONSES] = {{0}};
    int deck = view_find(v, view_hash(KEY_DECK, view_text(q->deck->id), 0, 0));
    if (deck >= 0 && v->decks[deck].deck_effect >= 0)
        for (int r = 0; r < RESPONSES; r++)
            shared[r] = (struct dial_worth){.db_per_unit = v->decks[deck].worth[r], .se = v->decks[deck].worth_se[r]};
    struct slope_kind kind = {.tape_class = q->stock ? q->stock->tape_class : q->tape_class,
                              .speed_mm_s = deck_setup(q->deck, q->setup ? q->setup : "", &setup) ? setup.speed_mm_s : ABSENT,
                              .low_hz = given(q->low_hz) ? q->low_hz : deck_low_hz(q->deck),
                              .high_hz = given(q->high_hz) ? q->high_hz : deck_high_hz(q->deck)};
    slope_table_ask(v->slopes, q->deck, kind, shared, out);
}

/* ---- one calibration ---- */

struct model_question model_question_of(const struct calibration *c, const struct deck *d, const struct stock *s)
{
    struct setup setup;
    struct model_question q = {.deck = d,
                               .stock = s,
                               .tape_class = s->tape_class,
                               .setup = c->setup,
                               .batch = c->batch,
                               .tape = c->tape,
                               .channel = c->channel,
                               .recordings = c->recordings,
                               .position_s = c->position_s,
                               .part = ABSENT,
                               .low_hz = c->low_hz,
                               .high_hz = c->high_hz,
                               .at_us = c->made_at_us};
    if (given(c->position_s) && deck_setup(d, c->setup, &setup)) {
        double side_s = side_seconds(s, &setup);
        if (given(side_s) && side_s > 0)
            q.part = fmin(c->position_s / side_s, 1);
    }
    return q;
}

void model_way(const struct model_view *v, const struct deck *d, const char *setup, enum bias_method method, double mean[RESPONSES])
{
    const char *word = strcmp(setup, "main") ? setup : "";
    int effect = view_find(v, view_hash(KEY_SETUP, view_text(d->id), view_text(word), (uint64_t)method));
    for (int r = 0; r < RESPONSES; r++)
        mean[r] = effect >= 0 ? v->effects[effect].mean[r] : 0;
}

void model_flat(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s,
                struct flat_result *out)
{
    struct model_question q = model_question_of(c, d, s);
    struct slopes_at at;
    model_slopes(v, &q, &at);
    struct flat_row row = flat_row_of(c, d, &at);
    flat_equivalent(&row, out);
    for (int r = 0; r < RESPONSES && out->read; r++)
        out->variance[r] += flat_noise(&at, d->meter_step_db, (enum response)r);
}

const char *model_left_out(const struct calibration *c, const struct stamp *stamp)
{
    if (stamp && stamp->is_void)
        return "void";
    if (c->noise_reduction)
        return "noise reduction";
    if (c->mpx_filter)
        return "MPX filter";
    return c->settled ? NULL : "did not settle";
}

/* ---- a stock, a deck ---- */

static double square(double x)
{
    return x * x;
}

/* The view's entry of a stock's side, of its family with its class, or of its class; −1 when there is none. */
static int side_entry(const struct model_view *v, const struct stock *s, bool *own)
{
    int entry = view_find(v, view_hash(KEY_STOCK, view_text(s->id), 0, 0));
    *own = entry >= 0 && v->stocks[entry].stock_effect >= 0;
    if (entry < 0 && s->family[0])
        entry = view_find(v, view_hash(KEY_FAMILY, view_text(s->family), (uint64_t)s->tape_class, 0));
    if (entry < 0)
        entry = v->head->class_first + (int)s->tape_class;
    return entry < v->head->stocks ? entry : -1;
}

void model_stock(const struct model_view *v, const struct stock *s, struct outlook_stock *out)
{
    const struct view_head *h = v->head;
    bool own;
    int entry = side_entry(v, s, &own), c = (int)s->tape_class;
    const struct view_stock *side = entry >= 0 ? &v->stocks[entry] : NULL;
    const double sheet[RESPONSES] = {s->sheet_bias_db, s->sheet_level_db};
    memset(out, 0, sizeof *out);
    own = own && side;
    out->rows = own ? v->effects[side->stock_effect].rows : 0;
    for (int r = 0; r < RESPONSES; r++) {
        const struct view_known *known = h->known;
        double family = h->sd[r][FAMILY], stock = h->sd[r][STOCK];
        out->sheet_share[r] = SHEET_MEAN + known[SHEET_AT + r].mean[r];
        out->sheet_share_se[r] = sqrt(known[SHEET_AT + r].variance[r]);
        out->label[r] = known[CLASS_AT + c].mean[r] + (given(sheet[r]) ? sheet[r] * out->sheet_share[r] : 0);
        out->label_se[r] =
            sqrt(known[CLASS_AT + c].variance[r] + (given(sheet[r]) ? square(sheet[r]) * known[SHEET_AT + r].variance[r] : 0));
        out->spread[r] = sqrt(square(family) + square(stock));
        out->mean[r] = out->label[r];
        bool in_family = side && side->family_effect >= 0;
        if (in_family)
            out->mean[r] += v->effects[side->family_effect].mean[r];
        if (own)
            out->mean[r] += v->effects[side->stock_effect].mean[r];
        double variance = side ? side->variance[r] : square(class_prior_sd(c));
        if (!own)
            variance += square(stock) + (in_family ? 0 : square(family));
        out->se[r] = sqrt(variance);
        out->tape_sd[r] = h->sd[r][TAPE];
        out->batch_sd[r] = h->sd[r][BATCH];
        out->pair_sd[r] = h->sd[r][PAIR];
        out->deck_class_sd[r] = h->sd[r][DECK_CLASS];
        out->sigma[r] = h->sigma[r][KIND_READ];
        out->blind_sigma[r] = h->sigma[r][KIND_BLIND];
        out->doubling[r] = known[RECORDINGS_AT + c].mean[r];
        out->doubling_se[r] = sqrt(known[RECORDINGS_AT + c].variance[r]);
    }
}

bool model_deck(const struct model_view *v, const struct deck *d, enum tape_class c, struct outlook_deck *out)
{
    const struct view_head *h = v->head;
    int found = view_find(v, view_hash(KEY_DECK, view_text(d->id), 0, 0));
    const struct view_deck *k = found >= 0 && v->decks[found].deck_effect >= 0 ? &v->decks[found] : NULL;
    bool with_class = c >= 0 && c < CLASS_COUNT;
    int effect = k && with_class ? k->class_effect[c] : -1;
    const struct view_base *base = k ? &v->bases[k->base[effect >= 0 ? (int)c : CLASS_COUNT]] : NULL;
    const struct view_era *era = k && k->base_era >= 0 ? &v->eras[k->base_era] : NULL;
    memset(out, 0, sizeof *out);
    out->rows = !k ? 0 : effect >= 0 ? v->effects[effect].rows : with_class ? 0 : v->effects[k->deck_effect].rows;
    for (int r = 0; r < RESPONSES; r++) {
        double unseen = with_class && effect < 0 ? square(h->sd[r][DECK_CLASS]) : 0;
        if (!k) {
            out->se[r] = sqrt(square(h->sd[r][MODEL]) + square(h->sd[r][DECK]) + unseen);
            out->per_year_se[r] = h->sd[r][TREND];
            continue;
        }
        const int adds[4] = {k->model_effect, k->deck_effect, era ? era->era_effect : -1, effect};
        for (int i = 0; i < 4; i++)
            out->offset[r] += adds[i] >= 0 ? v->effects[adds[i]].mean[r] : 0;
        if (era && era->trend_effect >= 0) {
            out->offset[r] += base->base_years * v->effects[era->trend_effect].mean[r];
            out->per_year[r] = v->effects[era->trend_effect].mean[r];
            out->per_year_se[r] = sqrt(v->effects[era->trend_effect].variance[r]);
        }
        for (int i = 0; i < k->service_count && era; i++) { /* known shifts up to its present era */
            const struct view_service *s = &v->services[k->service_first + i];
            if (s->made_at_us <= k->last_us && (i + 1 == k->service_count || v->services[k->service_first + i + 1].made_at_us > k->last_us))
                out->offset[r] += s->shift[r];
        }
        out->se[r] = sqrt(fmax(base->variance[r], 0) + unseen);
    }
    return k != NULL;
}
