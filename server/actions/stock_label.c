/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Is a stock what its label says, are its batches and tapes; and the maker's figure against what the club found.
 */
#include "stock_page.h"

#include "../trade/classes.h"
#include "../trade/label.h"
#include "../wire/wire.h"

#include <math.h>

#define STANDING 64  /* results of one tape or batch that are tried without each other */
#define UNLIKELY 0.5 /* below: "not what its label says" is pointed out */

/* ---- the label ---- */

static void write_odds(struct buffer *b, enum tape_class label, const struct label_odds *odds)
{
    json_member_fixed(b, "right", odds->right, 4);
    json_member_text(b, "class", class_info(label)->id);
    if (odds->otherwise != CLASS_NONE) {
        json_member_text(b, "rather", class_info(odds->otherwise)->id);
        json_member_fixed(b, "rather_chance", odds->as[odds->otherwise], 4);
        json_member_fixed(b, "odds", odds->right > 0 ? fmin(odds->as[odds->otherwise] / odds->right, 1e6) : 1e6, 2);
    }
}

/* Whether the doubt stands without any one of the results: one alone may as well be a misentry. */
static bool stands(const struct stock_page *p, bool batch, const struct group *g, const double usual[RESPONSES])
{
    double x[RESPONSES][STANDING], v[RESPONSES][STANDING];
    int n = 0;
    for (int i = 0; i < p->results.count && n < STANDING; i++) {
        const struct result *row = &p->results.rows[i];
        if ((batch ? row->batch : row->tape) != g->key || row->left_out || !given(row->is.flat[BIAS]) || !given(row->is.flat[LEVEL]))
            continue;
        for (int r = 0; r < RESPONSES; r++) {
            double sd = outlook_sd(&row->is, &p->outlook, (enum response)r);
            x[r][n] = row->is.flat[r] - outlook_expected(&row->is, ALL_PARTS & ~(1u << PART_TAPE), (enum response)r);
            v[r][n] = sd * sd;
        }
        n++;
    }
    for (int without = 0; without < n; without++) {
        struct label_evidence e = {.spread = {usual[BIAS], usual[LEVEL]}};
        struct label_odds odds;
        for (int r = 0; r < RESPONSES; r++) {
            double kept_x = x[r][without], kept_v = v[r][without];
            x[r][without] = x[r][n - 1], v[r][without] = v[r][n - 1];
            e.apart[r] = robust_mean(x[r], v[r], n - 1, &e.variance[r]);
            x[r][n - 1] = x[r][without], v[r][n - 1] = v[r][without];
            x[r][without] = kept_x, v[r][without] = kept_v;
        }
        label_weigh(p->stock->tape_class, &e, &odds);
        if (!(odds.right < UNLIKELY))
            return false;
    }
    return n > 1;
}

static void write_doubtful(struct buffer *b, const struct stock_page *p, const char *name, const struct groups *g,
                           const double usual[RESPONSES])
{
    int written = 0;
    json_name(b, name);
    buffer_char(b, '[');
    for (int i = 0; i < g->count; i++) {
        const struct group *one = &g->list[i];
        struct label_odds odds;
        if (one->rows < 3 || !given(one->mean[BIAS]) || !given(one->mean[LEVEL]))
            continue;
        struct label_evidence e = {
            {one->mean[BIAS], one->mean[LEVEL]}, {one->variance[BIAS], one->variance[LEVEL]}, {usual[BIAS], usual[LEVEL]}};
        label_weigh(p->stock->tape_class, &e, &odds);
        if (odds.right >= UNLIKELY || !stands(p, g == &p->batches, one, usual))
            continue;
        buffer_text(b, written++ ? ",\n{" : "\n{");
        json_member_text(b, "name", results_name(&p->results, one->key));
        json_member_whole(b, "calibrations", one->rows);
        json_member_fixed(b, "bias_apart_db", one->mean[BIAS], 3);
        json_member_fixed(b, "level_apart_db", one->mean[LEVEL], 3);
        write_odds(b, p->stock->tape_class, &odds);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

/* Variance of the whole stock's mean: decks, tapes and single results each have their own share. */
static double whole_variance(const struct stock_page *p, enum response r)
{
    const struct outlook_stock *o = &p->outlook;
    double decks = p->decks.count > 0 ? p->decks.count : 1, tapes = p->tapes.count > 0 ? p->tapes.count : 1;
    double label = o->label_se[r] * o->label_se[r];
    return p->whole.list[0].variance[r] + o->pair_sd[r] * o->pair_sd[r] / decks + o->tape_sd[r] * o->tape_sd[r] / tapes + label;
}

/* How the other stocks of its class differ among each other: without this one, so that it does not hide itself. */
static bool class_spread(const struct stock_page *p, struct arena *a, double spread[RESPONSES])
{
    int count, n = 0;
    const struct stock **stocks = catalog_stocks(p->view, a, MEDIUM_NONE, &count);
    struct label_group *groups = stocks ? arena_alloc(a, ((size_t)count + 1) * RESPONSES * sizeof *groups) : NULL;
    if (!groups)
        return false;
    for (int i = 0; i < count; i++) {
        struct outlook_stock o;
        if (stocks[i] == p->stock || stocks[i]->tape_class != p->stock->tape_class)
            continue;
        model_stock(p->view->model, stocks[i], &o);
        for (int r = 0; o.rows > 0 && r < RESPONSES; r++)
            groups[r * count + n] =
                (struct label_group){o.mean[r] - o.label[r], fmax(o.se[r] * o.se[r] - o.label_se[r] * o.label_se[r], 0)};
        n += o.rows > 0;
    }
    for (int r = 0; r < RESPONSES; r++)
        spread[r] = label_spread(groups + (size_t)r * (size_t)count, n, LABEL_STOCK_SD_DB);
    return true;
}

bool stock_page_label(struct buffer *b, const struct stock_page *p, struct arena *arena)
{
    double spread[RESPONSES];
    if (!class_spread(p, arena, spread))
        return false;
    const struct outlook_stock *o = &p->outlook;
    const struct group *whole = p->whole.count ? &p->whole.list[0] : NULL;
    json_name(b, "label");
    buffer_char(b, '{');
    json_member_text(b, "class", class_info(p->stock->tape_class)->id);
    if (whole && whole->rows >= 2 && given(whole->mean[BIAS]) && given(whole->mean[LEVEL])) {
        struct label_evidence e = {{whole->mean[BIAS] - o->label[BIAS], whole->mean[LEVEL] - o->label[LEVEL]},
                                   {whole_variance(p, BIAS), whole_variance(p, LEVEL)},
                                   {spread[BIAS], spread[LEVEL]}};
        struct label_odds odds;
        label_weigh(p->stock->tape_class, &e, &odds);
        json_name(b, "stock");
        buffer_char(b, '{');
        json_member_whole(b, "calibrations", whole->rows);
        json_member_fixed(b, "bias_apart_db", e.apart[BIAS], 3);
        json_member_fixed(b, "level_apart_db", e.apart[LEVEL], 3);
        json_member_flag(b, "doubtful", odds.right < UNLIKELY);
        write_odds(b, p->stock->tape_class, &odds);
        buffer_char(b, '}');
    } else {
        buffer_text(b, ",\"stock\":null");
    }
    double inside[RESPONSES];
    for (int r = 0; r < RESPONSES; r++)
        inside[r] = sqrt(o->tape_sd[r] * o->tape_sd[r] + o->batch_sd[r] * o->batch_sd[r]);
    write_doubtful(b, p, "batches", &p->batches, inside);
    write_doubtful(b, p, "tapes", &p->tapes, inside);
    buffer_char(b, '}');
    return true;
}

/* ---- the maker's figure ---- */

void stock_page_sheet(struct buffer *b, const struct stock_page *p)
{
    const double said[RESPONSES] = {p->stock->sheet_bias_db, p->stock->sheet_level_db};
    const struct outlook_stock *o = &p->outlook;
    const struct group *whole = p->whole.count ? &p->whole.list[0] : NULL;
    json_name(b, "sheet");
    if (!given(said[BIAS]) && !given(said[LEVEL])) {
        buffer_text(b, "null");
        return;
    }
    buffer_char(b, '{');
    for (int r = 0; r < RESPONSES; r++) {
        if (!given(said[r]))
            continue;
        double bare = o->label[r] - said[r] * o->sheet_share[r]; /* the class without the figure */
        json_name(b, r == BIAS ? "bias" : "level");
        buffer_char(b, '{');
        json_member_fixed(b, "said_db", said[r], 3);
        json_member_fixed(b, "found_db", whole ? whole->mean[r] - bare : ABSENT, 3);
        json_member_fixed(b, "found_se_db", whole ? sqrt(whole_variance(p, (enum response)r)) : ABSENT, 3);
        json_member_fixed(b, "club_share", o->sheet_share[r], 3);
        json_member_fixed(b, "club_share_se", o->sheet_share_se[r], 3);
        buffer_char(b, '}');
    }
    buffer_char(b, '}');
}
