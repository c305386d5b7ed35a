/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Answers a question from a view's tables: sums of effects for the mean, of variances and covariances for its error. Microseconds, no
 * allocation, any number of threads.
 */
#include "view.h"

#include "../trade/check.h"
#include "../trade/flat.h"
#include "flat_rows.h"

#include <string.h>

#define CARRY_YEARS      1.0 /* a trend is carried at most so far past the deck's last result */
#define Z90              1.6448536269514722
#define T90              2.1318467863266499 /* 95 % quantile of Student's t with four degrees of freedom */
#define PLAIN_POSITION_S 600.0              /* where on the tape a result is expected when the question does not say */

const char *basis_kind_text(enum basis_kind k)
{
    static const char *const text[BASIS_KINDS] = {"this pair", "never together", "new deck", "new stock", "class only", "no results"};
    return k >= 0 && k < BASIS_KINDS ? text[k] : "";
}

/* What the question turned out to name. Effects are indices, −1 = not known to the view. */
struct named {
    const struct view_deck *deck;   /* NULL = no result on it */
    const struct view_stock *stock; /* entry of its side; always set, unless there are no stocks at all */
    int stock_entry, base;
    bool stock_known; /* has results of its own */
    bool own_entry;   /* its side has an entry of its own, the maker's figure in it */
    int tape_class, pair, batch, tape, channel, setup, model;
    int combo_batch, combo_tape;
    bool wants_batch, wants_tape, wants_channel, wants_setup, wants_model;
    const struct view_era *era; /* the one asked, NULL = no result in it */
    bool new_era, base_era;     /* a reset since the last result; it is the one inside the base */
    double years;               /* trend's argument */
    double shift[RESPONSES];
};

struct sum {
    struct model_answer *out;
    double variance[RESPONSES];
};

static double rounded(double x)
{
    double r = round(x * 1e4) / 1e4;
    return r == 0 ? 0 : r;
}

static void part(struct model_answer *out, const char *name, double bias, double level)
{
    bias = rounded(bias);
    level = rounded(level);
    if (out->part_count == MODEL_PARTS)
        return;
    out->parts[out->part_count++] = (struct model_part){.name = name, .value = {bias, level}};
    out->mean[BIAS] += bias;
    out->mean[LEVEL] += level;
}

static void part_of_effect(const struct model_view *v, struct model_answer *out, const char *name, int effect, double factor)
{
    if (effect >= 0)
        part(out, name, factor * v->effects[effect].mean[BIAS], factor * v->effects[effect].mean[LEVEL]);
    else
        part(out, name, 0, 0);
}

static void part_of_both(const struct model_view *v, struct model_answer *out, const char *name, int one, int other)
{
    double sum[RESPONSES] = {0};
    for (int r = 0; r < RESPONSES; r++)
        sum[r] = (one >= 0 ? v->effects[one].mean[r] : 0) + (other >= 0 ? v->effects[other].mean[r] : 0);
    part(out, name, sum[BIAS], sum[LEVEL]);
}

/* ---- names ---- */

static void find_stock(const struct model_view *v, const struct model_question *q, struct named *n)
{
    const struct view_head *h = v->head;
    n->tape_class = q->stock ? (int)q->stock->tape_class : (int)q->tape_class;
    int entry = -1;
    if (q->stock) {
        uint64_t id = view_text(q->stock->id);
        entry = view_find(v, view_hash(KEY_STOCK, id, 0, 0));
        n->own_entry = entry >= 0;
        n->stock_known = entry >= 0 && v->stocks[entry].stock_effect >= 0;
        n->wants_batch = q->batch && *q->batch;
        n->wants_tape = q->tape && *q->tape;
        n->batch = n->wants_batch ? view_find(v, view_hash(KEY_BATCH, id, view_text(q->batch), 0)) : -1;
        n->tape = n->wants_tape ? view_find(v, view_hash(KEY_TAPE, id, view_text(q->tape), 0)) : -1;
    }
    if (entry < 0 && q->stock && q->stock->family[0])
        entry = view_find(v, view_hash(KEY_FAMILY, view_text(q->stock->family), (uint64_t)n->tape_class, 0));
    if (entry < 0 && n->tape_class >= 0 && n->tape_class < CLASS_COUNT) /* class entries follow the stocks */
        entry = h->class_first + n->tape_class;
    n->stock_entry = entry;
    n->stock = entry >= 0 && entry < h->stocks ? &v->stocks[entry] : NULL;
}

/* Era, shift and the trend's argument at the instant asked. */
static void find_time(const struct model_view *v, const struct model_question *q, struct named *n)
{
    const struct view_deck *d = n->deck;
    int era = 0;
    for (int i = 0; i < d->service_count; i++) {
        const struct view_service *s = &v->services[d->service_first + i];
        if (s->made_at_us > q->at_us)
            break;
        era = s->era;
        n->shift[BIAS] = s->shift[BIAS];
        n->shift[LEVEL] = s->shift[LEVEL];
    }
    for (int i = 0; i < d->era_count; i++)
        if (v->eras[d->era_first + i].number == era)
            n->era = &v->eras[d->era_first + i];
    n->base_era = n->era && d->base_era >= 0 && n->era == &v->eras[d->base_era];
    n->new_era = !n->era && d->service_count > 0;
    if (n->era) {
        double latest = clock_years_between(n->era->middle_us, n->era->last_us) + CARRY_YEARS;
        double asked = clock_years_between(n->era->middle_us, q->at_us);
        n->years = asked > latest ? latest : asked < -latest ? -latest : asked;
    }
}

static void find_deck(const struct model_view *v, const struct model_question *q, struct named *n)
{
    uint64_t id = view_text(q->deck->id);
    int deck = view_find(v, view_hash(KEY_DECK, id, 0, 0));
    const struct view_deck *d = deck >= 0 ? &v->decks[deck] : NULL;
    n->wants_model = q->deck->model[0] != 0;
    n->model = -1;
    if (d && d->deck_effect >= 0) {
        n->deck = d;
        n->model = d->model_effect;
        n->base = d->base[n->tape_class >= 0 && n->tape_class < CLASS_COUNT ? n->tape_class : CLASS_COUNT];
        find_time(v, q, n);
    } else {
        uint64_t model = view_text(q->deck->model);
        n->model = n->wants_model ? view_find(v, view_hash(KEY_MODEL, model, 0, 0)) : -1;
        n->base = n->model >= 0 ? view_find(v, view_hash(KEY_MODEL_BASE, model, 0, 0)) : -1;
        if (n->base < 0)
            n->base = v->head->base_none;
        if (d) { /* services are known though no result is */
            n->deck = d;
            find_time(v, q, n);
            n->deck = NULL;
            n->era = NULL;
        }
    }
    n->wants_channel = q->channel != CHANNEL_BOTH;
    n->wants_setup = q->setup && *q->setup && strcmp(q->setup, "main") != 0;
    n->channel = n->wants_channel ? view_find(v, view_hash(KEY_CHANNEL, id, (uint64_t)q->channel, 0)) : -1;
    n->setup = n->wants_setup ? view_find(v, view_hash(KEY_SETUP, id, view_text(q->setup), METHOD_FLAT)) : -1;
    n->pair = n->combo_batch = n->combo_tape = -1;
    if (!q->stock)
        return;
    uint64_t stock = view_text(q->stock->id);
    n->pair = view_find(v, view_hash(KEY_PAIR, id, stock, 0));
    n->combo_batch = n->batch >= 0 ? view_find(v, view_hash(KEY_PAIR_BATCH, id, stock, view_text(q->batch))) : -1;
    n->combo_tape = n->tape >= 0 ? view_find(v, view_hash(KEY_PAIR_TAPE, id, stock, view_text(q->tape))) : -1;
}

/* ---- mean ---- */

static int class_effect(const struct named *n)
{
    return n->deck && n->tape_class >= 0 && n->tape_class < CLASS_COUNT ? n->deck->class_effect[n->tape_class] : -1;
}

/* The maker's figure counts by the learned share even for a stock nobody has logged. */
static double sheet_of(const struct model_question *q, enum response r)
{
    if (!q->stock)
        return 0;
    double x = r == BIAS ? q->stock->sheet_bias_db : q->stock->sheet_level_db;
    return given(x) ? x : 0;
}

static void stock_parts(const struct model_view *v, const struct model_question *q, const struct named *n, struct model_answer *out)
{
    const struct view_head *h = v->head;
    int c = n->tape_class;
    if (c >= 0 && c < CLASS_COUNT) {
        part(out, "class", h->known[CLASS_AT + c].mean[BIAS], h->known[CLASS_AT + c].mean[LEVEL]);
        if (q->recordings != 0) {
            double x = recordings_value(q->recordings);
            part(out, "recordings", x * h->known[RECORDINGS_AT + c].mean[BIAS], x * h->known[RECORDINGS_AT + c].mean[LEVEL]);
        }
    }
    if (given(q->part)) {
        double x = place_value(q->part);
        part(out, "place", x * h->known[PLACE_AT].mean[BIAS], x * h->known[PLACE_AT].mean[LEVEL]);
    }
    double sheet[RESPONSES];
    for (int r = 0; r < RESPONSES; r++)
        sheet[r] = sheet_of(q, (enum response)r) * (SHEET_MEAN + h->known[SHEET_AT + r].mean[r]);
    if (q->stock && (given(q->stock->sheet_bias_db) || given(q->stock->sheet_level_db)))
        part(out, "sheet", sheet[BIAS], sheet[LEVEL]);
    if (q->stock) {
        bool family = q->stock->family[0] != 0; /* a family of one is shown with its stock */
        int of_family = n->stock ? n->stock->family_effect : -1, of_stock = n->stock_known ? n->stock->stock_effect : -1;
        if (family)
            part_of_effect(v, out, "family", of_family, 1);
        part_of_both(v, out, "stock", family ? -1 : of_family, of_stock);
    }
    if (n->wants_batch)
        part_of_effect(v, out, "batch", n->batch, 1);
    if (n->wants_tape)
        part_of_effect(v, out, "tape", n->tape, 1);
}

static void deck_parts(const struct model_view *v, const struct model_question *q, const struct named *n, struct model_answer *out)
{
    if (n->wants_model)
        part_of_effect(v, out, "deck model", n->model, 1);
    part_of_both(v, out, "deck", n->wants_model ? -1 : n->model, n->deck ? n->deck->deck_effect : -1);
    if (n->wants_channel)
        part_of_effect(v, out, "channel", n->channel, 1);
    if (n->wants_setup)
        part_of_effect(v, out, "setup", n->setup, 1);
    double era[RESPONSES] = {n->shift[BIAS], n->shift[LEVEL]};
    if (n->era && n->era->era_effect >= 0)
        for (int r = 0; r < RESPONSES; r++)
            era[r] += v->effects[n->era->era_effect].mean[r];
    if (era[BIAS] != 0 || era[LEVEL] != 0)
        part(out, "era", era[BIAS], era[LEVEL]);
    if (n->era)
        part_of_effect(v, out, "change over time", n->era->trend_effect, n->years);
    if (n->deck)
        part_of_effect(v, out, "deck and class", class_effect(n), 1);
    if (q->stock && n->deck)
        part_of_effect(v, out, "pair", n->pair, 1);
}

/* ---- variance of the mean ---- */

static double square(double x)
{
    return x * x;
}

static double stock_variance(const struct model_view *v, const struct model_question *q, const struct named *n, enum response r)
{
    const struct view_head *h = v->head;
    double sum = 0;
    int c = n->tape_class;
    if (!n->stock)
        return square(class_prior_sd(n->tape_class)) + square(h->sd[r][FAMILY]) + square(h->sd[r][STOCK]);
    sum += n->stock->variance[r];
    if (c >= 0 && c < CLASS_COUNT && q->recordings != 0) {
        double x = recordings_value(q->recordings);
        sum += x * x * h->known[RECORDINGS_AT + c].variance[r] + 2 * x * n->stock->with_recordings[r];
    }
    if (given(q->part)) {
        double x = place_value(q->part);
        sum += x * x * h->known[PLACE_AT].variance[r] + 2 * x * n->stock->with_place[r];
    }
    if (!n->stock_known) { /* of one's own: the whole spread; a class question asks for any stock of it */
        sum += square(h->sd[r][STOCK]);
        if (n->stock->family_effect < 0)
            sum += square(h->sd[r][FAMILY]);
        if (!n->own_entry)
            sum += square(sheet_of(q, r)) * h->known[SHEET_AT + r].variance[r];
    }
    static const enum block inside[2] = {BATCH, TAPE};
    const int effect[2] = {n->batch, n->tape}, combo[2] = {n->combo_batch, n->combo_tape};
    const bool wanted[2] = {n->wants_batch, n->wants_tape};
    for (int k = 0; k < 2; k++) {
        if (!wanted[k])
            continue;
        if (effect[k] < 0)
            sum += square(h->sd[r][inside[k]]);
        else
            sum += v->effects[effect[k]].variance[r] + 2 * v->effects[effect[k]].with_stock[r];
        if (combo[k] >= 0)
            sum += 2 * v->combos[combo[k]][r];
    }
    return sum;
}

static double time_variance(const struct model_view *v, const struct named *n, enum response r)
{
    const struct view_head *h = v->head;
    const struct view_base *b = &v->bases[n->base];
    if (n->new_era)
        return b->timeless[r] + square(h->sd[r][ERA]);
    double sum = b->variance[r];
    if (n->era && n->era->trend_effect >= 0) {
        const struct view_effect *trend = &v->effects[n->era->trend_effect];
        double more = n->years - b->base_years;
        if (n->base_era)
            sum += square(more) * trend->variance[r] + 2 * more * trend->with_base[r];
        else
            sum = b->timeless[r] + square(n->years) * trend->variance[r] +
                  (n->era->era_effect >= 0 ? v->effects[n->era->era_effect].variance[r] + 2 * n->years * n->era->trend_with_era[r] : 0);
    }
    return sum;
}

static double deck_variance(const struct model_view *v, const struct model_question *q, const struct named *n, enum response r)
{
    const struct view_head *h = v->head;
    double sum = time_variance(v, n, r);
    if (!n->deck) { /* a deck of its own, of a known model or not */
        sum += square(h->sd[r][DECK]) + square(h->sd[r][DECK_CLASS]);
        if (n->model < 0)
            sum += square(h->sd[r][MODEL]);
    } else if (class_effect(n) < 0) {
        sum += square(h->sd[r][DECK_CLASS]);
    }
    if (n->pair >= 0) {
        const struct view_effect *p = &v->effects[n->pair];
        sum += p->variance[r] + 2 * ((double)p->with_base[r] + (double)p->with_stock[r]);
    } else {
        sum += square(h->sd[r][PAIR]);
    }
    const int effect[2] = {n->channel, n->setup};
    static const enum block inside[2] = {CHANNEL, SETUP};
    const bool wanted[2] = {n->wants_channel, n->wants_setup};
    for (int k = 0; k < 2; k++)
        if (wanted[k])
            sum += effect[k] < 0 ? square(h->sd[r][inside[k]])
                                 : v->effects[effect[k]].variance[r] + 2 * (double)v->effects[effect[k]].with_base[r];
    (void)q;
    return sum;
}

/* Twice the covariance of times recorded over, and of the place, with the deck's side, the pair and the tape. */
static double covariance_of_known(const struct model_view *v, const struct model_question *q, const struct named *n, enum response r)
{
    const float *with = v->bases[n->base].with_known[r];
    const int effect[3] = {n->pair, n->wants_batch ? n->batch : -1, n->wants_tape ? n->tape : -1};
    int c = n->tape_class;
    bool recorded = c >= 0 && c < CLASS_COUNT && q->recordings != 0;
    double recordings = recorded ? (double)with[RECORDINGS_AT + c] : 0, place = (double)with[PLACE_AT];
    for (int i = 0; i < 3; i++)
        if (effect[i] >= 0) {
            recordings += (double)v->effects[effect[i]].with_recordings[r];
            place += (double)v->effects[effect[i]].with_place[r];
        }
    if (recorded && given(q->part))
        place += recordings_value(q->recordings) * v->head->place_with_recordings[r][c];
    return 2 * (recorded ? recordings_value(q->recordings) * recordings : 0) + (given(q->part) ? 2 * place_value(q->part) * place : 0);
}

/* ---- the rest of the answer ---- */

static void basis(const struct model_view *v, const struct model_question *q, const struct named *n, struct model_answer *out)
{
    const struct view_head *h = v->head;
    out->club = (long)h->rows_used;
    out->members = (long)h->members;
    out->pair = n->pair >= 0 ? v->effects[n->pair].rows : 0;
    out->on_deck = n->deck ? v->effects[n->deck->deck_effect].rows : 0;
    out->of_stock = n->stock_known ? v->effects[n->stock->stock_effect].rows : 0;
    if (!out->club)
        out->basis = BASIS_NO_RESULTS;
    else if (!q->stock || (!out->on_deck && !out->of_stock))
        out->basis = BASIS_CLASS_ONLY;
    else if (!out->of_stock)
        out->basis = BASIS_NEW_STOCK;
    else if (!out->on_deck)
        out->basis = BASIS_NEW_DECK;
    else
        out->basis = out->pair ? BASIS_THIS_PAIR : BASIS_NEVER_TOGETHER;
}

static void slopes_and_treble(const struct model_view *v, const struct model_question *q, const struct named *n, struct model_answer *out,
                              double treble_variance[RESPONSES], double noise[RESPONSES])
{
    struct slopes_at at;
    struct setup setup;
    struct dial_worth shared[RESPONSES] = {{0}};
    double speed = deck_setup(q->deck, q->setup ? q->setup : "", &setup) ? setup.speed_mm_s : ABSENT;
    struct slope_kind kind = {.tape_class = (enum tape_class)n->tape_class,
                              .speed_mm_s = speed,
                              .low_hz = given(q->low_hz) ? q->low_hz : deck_low_hz(q->deck),
                              .high_hz = given(q->high_hz) ? q->high_hz : deck_high_hz(q->deck)};
    for (int r = 0; n->deck && r < RESPONSES; r++)
        shared[r] = (struct dial_worth){.db_per_unit = n->deck->worth[r], .se = n->deck->worth_se[r]};
    int class_place = n->tape_class >= 0 && n->tape_class < CLASS_COUNT ? n->tape_class : CLASS_COUNT;
    int place = n->deck ? (int)(n->deck - v->decks) * (CLASS_COUNT + 1) + class_place : -1;
    slopes_memo_ask(v->memo, place, v->slopes, q->deck, kind, shared, &at);
    out->a = at.slopes.a;
    out->a_se = at.slopes.a_se;
    out->b = at.slopes.b;
    out->b_se = at.slopes.b_se;
    for (int r = 0; r < RESPONSES; r++) {
        out->worth[r] = at.worth[r].db_per_unit;
        out->worth_se[r] = at.worth[r].se;
        out->reading_sd[r] = at.reading_sd[r];
        noise[r] = flat_noise(&at, q->deck->meter_step_db, (enum response)r);
    }
    double treble = given(q->treble_db) ? q->treble_db : 0;
    double flat[RESPONSES] = {0, 0}, setting[RESPONSES], sum_variance, sum = slopes_sum(&at.seen, &sum_variance);
    flat_to_setting(&at.seen, flat, treble, setting);
    treble_variance[BIAS] = square(treble / square(sum)) * sum_variance;
    treble_variance[LEVEL] = square(treble / sum) * square(at.seen.a_se) + square(at.seen.a) * treble_variance[BIAS];
    if (treble != 0)
        part(out, "treble", setting[BIAS], setting[LEVEL]);
}

/* Where a result logged with readings lands: the mean's error, the tape's own if it is not named, and a t residual. */
static void range(const struct model_view *v, const struct model_question *q, const struct named *n, const double noise[RESPONSES],
                  struct model_answer *out)
{
    const struct view_head *h = v->head;
    double position = given(q->position_s) ? q->position_s : PLAIN_POSITION_S;
    double labelled = h->rows_used ? (double)h->labelled_rows / (double)h->rows_used : 0;
    double wander = 1 + START_EXTRA * exp(-position / START_SECONDS);
    for (int r = 0; r < RESPONSES; r++) {
        double mean = square(out->se[r]) + noise[r];
        if (!n->wants_tape)
            mean += labelled * square(h->sd[r][TAPE]) + (1 - labelled) * square(UNNAMED_SD);
        if (!n->wants_batch && !n->wants_tape)
            mean += labelled * square(h->sd[r][BATCH]) * 0.5;
        double half = sqrt(square(Z90) * mean + square(T90) * square(h->sigma[r][KIND_READ]) * wander);
        half *= h->multiplier[r][out->basis];
        out->low90[r] = out->mean[r] - half;
        out->high90[r] = out->mean[r] + half;
    }
}

void model_ask(const struct model_view *v, const struct model_question *q, struct model_answer *out)
{
    struct named n = {.pair = -1, .batch = -1, .tape = -1};
    double treble[RESPONSES], noise[RESPONSES];
    memset(out, 0, sizeof *out);
    find_stock(v, q, &n);
    find_deck(v, q, &n);
    basis(v, q, &n, out);
    stock_parts(v, q, &n, out);
    deck_parts(v, q, &n, out);
    slopes_and_treble(v, q, &n, out, treble, noise);
    for (int r = 0; r < RESPONSES; r++) {
        double with = n.stock ? view_covariance(v, (enum response)r, n.base, n.stock_entry) : 0;
        double variance = stock_variance(v, q, &n, (enum response)r) + deck_variance(v, q, &n, (enum response)r) + 2 * with + treble[r] +
                          covariance_of_known(v, q, &n, (enum response)r);
        out->se[r] = sqrt(variance > 0 ? variance : 0);
    }
    range(v, q, &n, noise, out);
}
