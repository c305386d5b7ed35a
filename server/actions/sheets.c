/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Sheets to print: for one deck the starting setting of every stock, for one stock that on every deck; each in the deck's own marks with its range.
 */
#include "actions.h"
#include "answer.h"
#include "results.h"
#include "suggest.h"

#include "../trade/check.h"
#include "../trade/classes.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct sheet_row {
    const struct deck *deck;
    const struct stock *stock;
    double mean; /* of bias, dB */
    long pair;
};

enum sheet_order { ORDER_NAME, ORDER_CLASS, ORDER_BIAS, ORDER_USED };

/* What a sheet is asked for; the same for all its rows. */
struct sheet {
    const struct view *view;
    const char *setup;
    long recordings;
    double treble_db;
    bool logged; /* only what was logged on this deck (of this stock) */
    enum sheet_order order;
    struct sheet_row *rows;
    int count;
};

static bool read_parameters(const struct exchange *x, struct sheet *s, struct fault *f)
{
    static const char *const allowed[] = {"setup", "recordings", "treble_db", "logged", "sort", NULL};
    static const char *const orders[] = {"name", "class", "bias", "used"};
    const struct request *q = &x->request;
    const char *sort = request_parameter(q, "sort");
    s->recordings = -1;
    s->setup = request_parameter(q, "setup");
    if (!s->setup)
        s->setup = "";
    bool fine = parameters_allowed(q, allowed, f);
    fine = parameter_count(q, "recordings", 0, LIMIT_RECORDINGS, &s->recordings, f) && fine;
    fine = parameter_number(q, "treble_db", -LIMIT_TREBLE_DB, LIMIT_TREBLE_DB, &s->treble_db, f) && fine;
    fine = parameter_flag(q, "logged", &s->logged, f) && fine;
    for (int i = 0; sort && *sort && i <= 4; i++) {
        if (i == 4)
            return fault_add(f, FAULT_UNACCEPTABLE, "sort", "unknown-order", "sort by name, class, bias or used");
        if (!strcmp(sort, orders[i])) {
            s->order = (enum sheet_order)i;
            break;
        }
    }
    return fine;
}

static void suggest_row(const struct sheet *s, const struct sheet_row *row, int64_t at_us, struct suggestion *out)
{
    memset(out, 0, sizeof *out);
    out->question = model_question_plain(row->deck, row->stock, at_us);
    out->question.setup = s->setup;
    out->question.recordings = (int)s->recordings;
    out->question.treble_db = s->treble_db;
    suggestion_make(s->view, out);
}

/* ---- order ---- */

static int by_names(const struct sheet_row *x, const struct sheet_row *y)
{
    int order = strcmp(x->stock->name, y->stock->name);
    if (!order)
        order = strcmp(x->deck->name, y->deck->name);
    return order ? order : strcmp(x->stock->id, y->stock->id);
}
static int by_name(const void *a, const void *b)
{
    return by_names(a, b);
}
static int by_class(const void *a, const void *b)
{
    const struct sheet_row *x = a, *y = b;
    return x->stock->tape_class != y->stock->tape_class
               ? (x->stock->tape_class > y->stock->tape_class) - (x->stock->tape_class < y->stock->tape_class)
               : by_names(x, y);
}
static int by_bias(const void *a, const void *b)
{
    const struct sheet_row *x = a, *y = b;
    return x->mean != y->mean ? (x->mean > y->mean) - (x->mean < y->mean) : by_names(x, y);
}
static int by_use(const void *a, const void *b)
{
    const struct sheet_row *x = a, *y = b;
    return x->pair != y->pair ? (y->pair > x->pair) - (y->pair < x->pair) : by_names(x, y);
}

static void put_in_order(struct sheet *s, int64_t at_us)
{
    static int (*const orders[])(const void *, const void *) = {by_name, by_class, by_bias, by_use};
    int kept = 0;
    for (int i = 0; i < s->count; i++) {
        struct suggestion one;
        suggest_row(s, &s->rows[i], at_us, &one);
        s->rows[i].mean = one.answer.mean[BIAS];
        s->rows[i].pair = one.answer.pair;
        if (!s->logged || one.answer.pair > 0)
            s->rows[kept++] = s->rows[i];
    }
    s->count = kept;
    if (kept)
        qsort(s->rows, (size_t)kept, sizeof *s->rows, orders[s->order]);
}

/* ---- answer ---- */

static void write_setting(struct buffer *b, const char *name, const struct setting *s, bool is_bias)
{
    json_name(b, name);
    buffer_char(b, '{');
    if (s->dial->present) {
        struct buffer words, mark[3];
        const double readings[3] = {s->reading, s->low90_reading, s->high90_reading};
        buffer_init(&words, 1024);
        setting_words(&words, s, is_bias);
        json_member_fixed(b, "dial", s->reading, 6);
        json_member_text(b, "unit", dial_unit(s->dial));
        json_member_text(b, "words", words.data ? words.data : "");
        buffer_inherit(b, &words);
        buffer_free(&words);
        static const char *const names[3] = {"mark", "low90_mark", "high90_mark"};
        for (int i = 0; i < 3; i++) {
            buffer_init(&mark[i], 128);
            dial_reading_text(&mark[i], s->dial, readings[i]);
            json_member_text(b, names[i], mark[i].data ? mark[i].data : "");
            buffer_inherit(b, &mark[i]);
            buffer_free(&mark[i]);
        }
        json_name(b, "range90_dial");
        buffer_char(b, '['), buffer_fixed(b, s->low90_reading, 6), buffer_char(b, ','), buffer_fixed(b, s->high90_reading, 6),
            buffer_char(b, ']');
    } else {
        json_name(b, "dial");
        buffer_text(b, "null");
    }
    json_member_fixed(b, "db", s->db, 3);
    json_member_fixed(b, "se_db", s->se_db, 3);
    json_name(b, "range90_db");
    buffer_char(b, '['), buffer_fixed(b, s->low90_db, 3), buffer_char(b, ','), buffer_fixed(b, s->high90_db, 3), buffer_char(b, ']');
    json_member_flag(b, "beyond_dial", s->beyond);
    buffer_char(b, '}');
}

static void write_rows(struct buffer *b, const struct sheet *s, int64_t at_us)
{
    for (int i = 0; i < s->count; i++) {
        struct suggestion one;
        suggest_row(s, &s->rows[i], at_us, &one);
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "stock", s->rows[i].stock->id);
        json_member_text(b, "stock_name", s->rows[i].stock->name);
        json_member_text(b, "deck", s->rows[i].deck->id);
        json_member_text(b, "deck_name", s->rows[i].deck->name);
        json_member_text(b, "class", class_info(s->rows[i].stock->tape_class)->id);
        write_setting(b, "bias", &one.bias, true);
        write_setting(b, "level", &one.level, false);
        json_name(b, "expect");
        buffer_char(b, '{');
        json_member_fixed(b, "low_db", one.expect_low_db, 2);
        json_member_fixed(b, "high_db", one.expect_high_db, 2);
        buffer_char(b, '}');
        json_member_text(b, "basis", basis_kind_text(one.answer.basis));
        json_member_whole(b, "calibrations", one.answer.pair);
        buffer_char(b, '}');
    }
}

static bool sheet_rows(struct exchange *x, struct sheet *s, const struct deck *deck, const struct stock *stock, struct fault *f)
{
    int count;
    const struct stock **stocks = deck ? catalog_stocks(s->view, x->arena, deck->medium, &count) : NULL;
    const struct deck **decks = stock ? catalog_decks(s->view, x->arena, stock_medium(stock), &count) : NULL;
    if (!stocks && !decks)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    s->rows = arena_alloc(x->arena, ((size_t)count + 1) * sizeof *s->rows);
    if (!s->rows)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
    for (int i = 0; i < count; i++)
        s->rows[s->count++] = (struct sheet_row){.deck = deck ? deck : decks[i], .stock = stock ? stock : stocks[i]};
    put_in_order(s, x->request.now_us);
    return true;
}

static void write_sheet(struct buffer *b, const struct sheet *s, const struct exchange *x, const char *kind, const char *id,
                        const char *name)
{
    struct model_figures figures;
    model_view_figures(s->view->model, &figures);
    buffer_char(b, '{');
    json_member_text(b, kind, id);
    json_member_text(b, "name", name);
    json_member_text(b, "setup", s->setup[0] ? s->setup : "main");
    json_member_fixed(b, "treble_db", s->treble_db, 3);
    if (s->recordings >= 0)
        json_member_whole(b, "recordings", s->recordings);
    json_member_time(b, "made_at", x->request.now_us, 0);
    json_member_whole(b, "as_of", figures.as_of);
    json_name(b, "rows");
    buffer_char(b, '[');
    write_rows(b, s, x->request.now_us);
    buffer_text(b, "]}\n");
}

enum action_result action_deck_sheet(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct setup setup;
    struct view *v = live_take(house->live);
    struct sheet s = {.view = v};
    const struct deck *d = captured_deck(v, x, &f);
    bool ok = d && read_parameters(x, &s, &f);
    if (ok && !deck_setup(d, s.setup, &setup))
        ok = fault_add(&f, FAULT_UNKNOWN, "setup", "unknown-setup", "this deck has no setup '%.64s'", s.setup);
    ok = ok && sheet_rows(x, &s, d, NULL, &f);
    if (ok)
        write_sheet(json_body(x), &s, x, "deck", d->id, d->name);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}

enum action_result action_stock_sheet(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct view *v = live_take(house->live);
    struct sheet s = {.view = v};
    const struct stock *k = captured_stock(v, x, &f);
    bool ok = k && read_parameters(x, &s, &f);
    if (ok && s.setup[0] && strcmp(s.setup, "main"))
        ok = fault_add(&f, FAULT_UNACCEPTABLE, "setup", "not-here",
                       "setups are a deck's own: a stock's sheet is for the main setup of each deck");
    s.setup = "";
    ok = ok && sheet_rows(x, &s, NULL, k, &f);
    if (ok)
        write_sheet(json_body(x), &s, x, "stock", k->id, k->name);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
