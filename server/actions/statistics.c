/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/stocks/{id}/statistics: what the club knows of a stock. What it wants on an average deck and on each; how alike its tapes and batches are; what
 * recording over does; how often it settles; whether it is what its label says (stock_label.c); the maker's figure against what was found.
 */
#include "actions.h"
#include "answer.h"
#include "stock_page.h"
#include "suggest.h"

#include "../trade/classes.h"
#include "../trade/label.h"
#include "../trade/statistics.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void page_free(struct stock_page *p)
{
    groups_free(&p->decks);
    groups_free(&p->tapes);
    groups_free(&p->batches);
    groups_free(&p->whole);
    mem_free(p->deck);
    mem_free(p->key);
    mem_free(p->numbers);
    results_free(&p->results);
}

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
}

static bool number_decks(struct stock_page *p)
{
    for (int i = 0; i < p->results.count; i++) {
        int k = 0;
        while (k < p->deck_count && p->deck[k] != p->results.rows[i].deck)
            k++;
        if (k == p->deck_count)
            p->deck[p->deck_count++] = p->results.rows[i].deck;
        p->key[i] = k;
    }
    /* what the stock wants there: the deck's own place in time taken off */
    return groups_make(&p->results, p->key, 1u << PART_TIME | 1u << PART_WAY, &p->outlook, &p->decks);
}

static bool read_page(struct house *house, struct exchange *x, struct stock_page *p, struct fault *f)
{
    struct reader *r = reader_take(house->store, f);
    if (!r)
        return false;
    model_stock(p->view->model, p->stock, &p->outlook);
    bool ok = results_read(p->view, r, NULL, p->stock->id, &p->results, f);
    reader_give(r);
    if (!ok)
        return false;
    (void)x;
    size_t room = (size_t)p->results.count + 1;
    p->key = mem_zero(room, sizeof *p->key);
    p->numbers = mem_zero(room, sizeof *p->numbers);
    p->deck = mem_zero(room, sizeof(const struct deck *));
    if (!p->key || !p->numbers || !p->deck || !number_decks(p))
        return out_of_memory(f);
    for (int i = 0; i < p->results.count; i++)
        p->key[i] = p->results.rows[i].tape;
    if (!groups_make(&p->results, p->key, ALL_PARTS & ~(1u << PART_TAPE), &p->outlook, &p->tapes))
        return out_of_memory(f);
    for (int i = 0; i < p->results.count; i++)
        p->key[i] = p->results.rows[i].batch;
    if (!groups_make(&p->results, p->key, ALL_PARTS & ~(1u << PART_TAPE), &p->outlook, &p->batches))
        return out_of_memory(f);
    for (int i = 0; i < p->results.count; i++)
        p->key[i] = 0;
    return groups_make(&p->results, p->key, 1u << PART_DECK | 1u << PART_TIME | 1u << PART_WAY, &p->outlook, &p->whole) || out_of_memory(f);
}

/* ---- summaries ---- */

static int tape_of(const struct result *row)
{
    return row->tape;
}
static int batch_of(const struct result *row)
{
    return row->batch;
}
static int member_of(const struct result *row)
{
    return row->member;
}

typedef double (*number_of)(const struct result *row);
static double bias_of(const struct result *row)
{
    return row->left_out ? ABSENT : row->is.flat[BIAS];
}
static double level_of(const struct result *row)
{
    return row->left_out ? ABSENT : row->is.flat[LEVEL];
}
static double unsteady_of(const struct result *row)
{
    return row->unsteady_db;
}
static double peak_of(const struct result *row)
{
    return row->peak_db;
}

static struct summary summarise(const struct stock_page *p, number_of number)
{
    int n = 0;
    for (int i = 0; i < p->results.count; i++) {
        const struct result *row = &p->results.rows[i];
        double value = row->left_out && !strcmp(row->left_out, "void") ? ABSENT : number(row);
        if (given(value))
            p->numbers[n++] = value;
    }
    return summary_of(p->numbers, (size_t)n);
}

static double spread_of(const struct groups *g, enum response r, double usual)
{
    struct label_group *list = mem_zero((size_t)g->count + 1, sizeof *list);
    int n = 0;
    for (int i = 0; list && i < g->count; i++)
        if (given(g->list[i].mean[r]))
            list[n++] = (struct label_group){g->list[i].mean[r], g->list[i].variance[r]};
    double spread = label_spread(list, n, usual);
    mem_free(list);
    return spread;
}

static void write_response(struct buffer *b, struct stock_page *p, enum response r)
{
    const struct outlook_stock *o = &p->outlook;
    struct summary found = summarise(p, r == BIAS ? bias_of : level_of);
    json_name(b, r == BIAS ? "bias" : "level");
    buffer_char(b, '{');
    json_member_fixed(b, "db", o->mean[r], 4);
    json_member_fixed(b, "se_db", o->se[r], 4);
    json_member_fixed(b, "tape_sd_db", spread_of(&p->tapes, r, o->tape_sd[r]), 4);
    json_member_fixed(b, "batch_sd_db", spread_of(&p->batches, r, o->batch_sd[r]), 4);
    json_member_fixed(b, "median_db", found.median, 4);
    json_member_fixed(b, "low_db", found.low, 4);
    json_member_fixed(b, "high_db", found.high, 4);
    json_member_whole(b, "calibrations", (int64_t)found.n);
    json_member_fixed(b, "class_db", o->label[r], 4);
    json_member_fixed(b, "class_sd_db", o->spread[r], 4);
    json_member_fixed(b, "per_doubling_db", o->doubling[r], 4);
    json_member_fixed(b, "per_doubling_se_db", o->doubling_se[r], 4);
    buffer_char(b, '}');
}

/* ---- on each deck ---- */

static void write_decks(struct buffer *b, const struct stock_page *p, int64_t now_us)
{
    json_name(b, "on_decks");
    buffer_char(b, '[');
    for (int i = 0; i < p->decks.count; i++) {
        const struct group *g = &p->decks.list[i];
        struct suggestion s = {.question = model_question_plain(p->deck[g->key], p->stock, now_us)};
        suggestion_make(p->view, &s);
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "deck", s.question.deck->id);
        json_member_text(b, "name", s.question.deck->name);
        json_member_whole(b, "calibrations", g->rows);
        for (int r = 0; r < RESPONSES; r++) {
            const struct setting *set = r == BIAS ? &s.bias : &s.level;
            json_name(b, r == BIAS ? "bias" : "level");
            buffer_char(b, '{');
            json_member_fixed(b, "db", s.answer.mean[r], 4);
            json_member_fixed(b, "se_db", s.answer.se[r], 4);
            json_member_fixed(b, "low90_db", s.answer.low90[r], 4);
            json_member_fixed(b, "high90_db", s.answer.high90[r], 4);
            json_member_fixed(b, "found_db", g->mean[r], 4);
            json_member_fixed(b, "found_se_db", sqrt(g->variance[r]), 4);
            struct buffer mark;
            buffer_init(&mark, 64);
            if (set->dial->present)
                dial_reading_text(&mark, set->dial, set->reading);
            json_member_fixed(b, "dial", set->dial->present ? set->reading : ABSENT, 6);
            json_member_text_or_null(b, "mark", mark.data);
            json_member_text_or_null(b, "unit", set->dial->present ? dial_unit(set->dial) : NULL);
            json_member_flag(b, "beyond_dial", set->beyond);
            buffer_inherit(b, &mark);
            buffer_free(&mark);
            buffer_char(b, '}');
        }
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
}

struct logged {
    const struct deck *deck;
    int member, count;
};

static int by_count(const void *a, const void *b)
{
    const struct logged *x = a, *y = b;
    return y->count != x->count ? (y->count > x->count) - (y->count < x->count) : strcmp(x->deck->id, y->deck->id);
}

/* Who logged it on what. */
static void write_logged(struct buffer *b, const struct stock_page *p)
{
    struct logged *list = mem_zero((size_t)p->results.count + 1, sizeof *list);
    int n = 0;
    for (int i = 0; list && i < p->results.count; i++) {
        int k = 0;
        while (k < n && (list[k].deck != p->results.rows[i].deck || list[k].member != p->results.rows[i].member))
            k++;
        if (k == n)
            list[n++] = (struct logged){p->results.rows[i].deck, p->results.rows[i].member, 0};
        list[k].count++;
    }
    if (n)
        qsort(list, (size_t)n, sizeof *list, by_count);
    json_name(b, "logged");
    buffer_char(b, '[');
    for (int i = 0; i < n; i++) {
        buffer_text(b, i ? ",\n{" : "\n{");
        json_member_text(b, "deck", list[i].deck->id);
        json_member_text(b, "member", results_name(&p->results, list[i].member));
        json_member_whole(b, "calibrations", list[i].count);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
    mem_free(list);
}

/* ---- results one by one ---- */

static void write_results(struct buffer *b, const struct stock_page *p)
{
    int first = p->results.count > LIMIT_RESULTS_LISTED ? p->results.count - LIMIT_RESULTS_LISTED : 0;
    char id[UUID_TEXT];
    json_name(b, "results");
    buffer_char(b, '[');
    for (int i = p->results.count - 1; i >= first; i--) { /* newest first */
        const struct result *row = &p->results.rows[i];
        buffer_text(b, i == p->results.count - 1 ? "\n{" : ",\n{");
        json_member_text(b, "id", uuid_format(&row->id, id));
        json_member_time(b, "made_at", row->made_at_us, row->made_at_offset_minutes);
        json_member_text(b, "deck", row->deck->id);
        json_member_text(b, "member", results_name(&p->results, row->member));
        json_member_text(b, "tape", results_name(&p->results, row->tape));
        json_member_text(b, "batch", results_name(&p->results, row->batch));
        if (row->recordings >= 0)
            json_member_whole(b, "recordings", row->recordings);
        for (int r = 0; r < RESPONSES; r++) {
            json_member_fixed(b, r == BIAS ? "bias_db" : "level_db", row->is.flat[r], 3);
            json_member_fixed(b, r == BIAS ? "bias_apart_db" : "level_apart_db",
                              row->is.flat[r] - outlook_expected(&row->is, ALL_PARTS, (enum response)r), 3);
        }
        json_member_flag(b, "settled", row->settled);
        json_member_text_or_null(b, "left_out", row->left_out);
        buffer_char(b, '}');
    }
    buffer_char(b, ']');
    json_member_flag(b, "more", first > 0 || p->results.more);
}

static bool write_page(struct buffer *b, struct stock_page *p, struct arena *arena, int64_t now_us)
{
    int all = 0, settled = 0, unseen = 0, stopped = 0;
    for (int i = 0; i < p->results.count; i++) {
        const struct result *row = &p->results.rows[i];
        if (row->left_out && !strcmp(row->left_out, "void"))
            continue;
        all++;
        settled += row->settled;
        stopped += row->stopped;
        unseen += row->left_out != NULL;
    }
    struct summary unsteady = summarise(p, unsteady_of), peak = summarise(p, peak_of);
    buffer_char(b, '{');
    json_member_text(b, "stock", p->stock->id);
    json_member_text(b, "name", p->stock->name);
    json_member_text(b, "class", class_info(p->stock->tape_class)->id);
    json_member_whole(b, "calibrations", all);
    json_member_whole(b, "left_out", unseen);
    json_member_whole(b, "decks", p->deck_count);
    json_member_whole(b, "members", results_distinct(&p->results, member_of));
    json_member_whole(b, "tapes", results_distinct(&p->results, tape_of));
    json_member_whole(b, "batches", results_distinct(&p->results, batch_of));
    write_response(b, p, BIAS);
    write_response(b, p, LEVEL);
    json_member_fixed(b, "per_doubling_db", p->outlook.doubling[BIAS], 4);
    json_member_fixed(b, "settled_part", all ? (double)settled / all : ABSENT, 4);
    json_member_fixed(b, "stopped_part", all ? (double)stopped / all : ABSENT, 4);
    json_member_fixed(b, "unsteady_db", unsteady.median, 3);
    json_member_whole(b, "unsteady_calibrations", (int64_t)unsteady.n);
    json_member_fixed(b, "peak_db", peak.median, 2);
    json_member_whole(b, "peak_calibrations", (int64_t)peak.n);
    stock_page_sheet(b, p);
    if (!stock_page_label(b, p, arena))
        return false;
    write_decks(b, p, now_us);
    write_logged(b, p);
    write_results(b, p);
    buffer_text(b, "}\n");
    return true;
}

enum action_result action_stock_statistics(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {NULL};
    struct fault f = {0};
    struct view *v = live_take(house->live);
    struct stock_page p = {.view = v, .stock = captured_stock(v, x, &f)};
    bool ok = p.stock && parameters_allowed(&x->request, allowed, &f) && read_page(house, x, &p, &f);
    if (ok && !write_page(json_body(x), &p, x->arena, x->request.now_us))
        ok = out_of_memory(&f);
    page_free(&p);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
