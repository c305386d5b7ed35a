/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * GET /api/decks/{id}/hints[?calibration=UUID]: is it the tape or the deck, with odds; and what to check first, each hint with the results it rests on. The case is the
 * result named, else the deck's newest; "recent" are its results since the last change that was noticed, else its newest dozen.
 */
#include "actions.h"
#include "answer.h"
#include "deck_course.h"

#include "../trade/hints.h"
#include "../trade/statistics.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RECENT         12   /* results, when no change was noticed */
#define USUAL_LEAST    4    /* values that a usual figure is taken from */
#define UNSTEADY_SD_DB 0.25 /* least scatter of a wander and of a balance as read: from memory */
#define BALANCE_SD_DB  0.25
#define HINTS_MOST     8

enum figure { UNSTEADY, LOW_BALANCE, HIGH_BALANCE, FIGURES };

/* What a figure usually is on one deck; ABSENT when too few results say. */
struct usual {
    const struct deck *deck;
    double median[FIGURES], sd[FIGURES];
};

struct page {
    struct deck_course course;
    struct results others; /* of the case's stock, this deck's among them */
    int at;                /* the case: index of course.results */
    int64_t recent_us;
    bool noticed; /* recent begins with a change that was noticed */
    struct hint_row *rows;
    const struct result **of; /* the result behind each row */
    int count, recent;
    double *room;
    struct usual *usual; /* one a deck met so far */
    int usual_count;
    int64_t stood_from, stood_to; /* the stretch that `stood_db` is of; from > to: none yet */
    double stood_db[RESPONSES];
};

/* ---- the case ---- */

static bool find_case(struct page *p, const struct request *q, struct fault *f)
{
    const char *text = request_parameter(q, "calibration");
    struct uuid id;
    p->at = -1;
    if (text && *text && !uuid_parse(text, &id))
        return fault_add(f, FAULT_MALFORMED, "calibration", "not-a-uuid", "give a calibration's id, a UUID");
    for (int i = p->course.results.count - 1; i >= 0 && p->at < 0; i--) {
        const struct result *row = &p->course.results.rows[i];
        if (text && *text ? uuid_same(&row->id, &id) : !row->left_out)
            p->at = i;
    }
    if (p->at < 0 && text && *text)
        return fault_add(f, FAULT_UNKNOWN, "calibration", "unknown-calibration", "this deck has no calibration of this id");
    return true;
}

/* Since the last change that was noticed; else the newest dozen of the present era, but not more than its newer half: the rest says where the deck stood. */
static void find_recent(struct page *p)
{
    const struct deck_course *c = &p->course;
    int64_t until = p->at >= 0 ? c->results.rows[p->at].made_at_us : INT64_MAX, era = INT64_MIN;
    int of_era = 0;
    p->recent_us = INT64_MAX;
    for (int i = 0; i < c->signal_count; i++) {
        int64_t since = c->results.rows[c->signals[i].at.since].made_at_us;
        if (since <= until) {
            p->recent_us = since;
            p->noticed = true;
        }
    }
    for (int i = 0; i < c->service_count; i++)
        if (c->services[i].resets && c->services[i].made_at_us <= until)
            era = c->services[i].made_at_us;
    if (p->noticed && p->recent_us < era) /* put right since */
        p->noticed = false;
    for (int i = 0; i < c->results.count; i++)
        of_era += !c->results.rows[i].left_out && c->results.rows[i].made_at_us <= until && c->results.rows[i].made_at_us >= era;
    int most = of_era / 2 < 1 ? 1 : of_era / 2 < RECENT ? of_era / 2 : RECENT;
    for (int i = c->results.count - 1, seen = 0; !p->noticed && i >= 0 && seen < most; i--) {
        const struct result *row = &c->results.rows[i];
        if (row->left_out || row->made_at_us > until || row->made_at_us < era)
            continue;
        p->recent_us = row->made_at_us;
        seen++;
    }
}

/* ---- residuals ---- */

/* Where the deck stood around a result: in the era of services that it lies in, the recent results taken out; for the recent ones, before them. */
static const double *stood(struct page *p, int64_t at_us)
{
    const struct deck_course *c = &p->course;
    int64_t from = INT64_MIN, to = INT64_MAX,
            asked = at_us >= p->recent_us && p->recent_us > INT64_MIN ? p->recent_us - (p->noticed ? 1 : 0) : at_us;
    for (int i = 0; i < c->service_count; i++) {
        if (!c->services[i].resets)
            continue;
        if (c->services[i].made_at_us <= asked)
            from = c->services[i].made_at_us;
        else if (c->services[i].made_at_us <= to)
            to = c->services[i].made_at_us - 1;
    }
    if (at_us >= p->recent_us || (from < p->recent_us && to >= p->recent_us))
        to = p->recent_us - 1;
    if (p->stood_from == from && p->stood_to == to)
        return p->stood_db;
    p->stood_from = from;
    p->stood_to = to;
    for (int r = 0; r < RESPONSES; r++) {
        int n = 0;
        for (int i = 0; i < c->results.count; i++)
            if (c->results.rows[i].made_at_us >= from && c->results.rows[i].made_at_us <= to && given(c->spread[r][i]))
                p->room[n++] = c->standing[r][i];
        p->stood_db[r] = n >= USUAL_LEAST ? summary_of(p->room, (size_t)n).median : ABSENT;
    }
    return p->stood_db;
}

static double figure_of(const struct result *row, enum figure k)
{
    return k == UNSTEADY ? row->unsteady_db : k == LOW_BALANCE ? row->low_balance_db : row->high_balance_db;
}

static bool same_tape(const struct page *p, const struct results *from, const struct result *row)
{
    const struct result *asked = &p->course.results.rows[p->at];
    return row->stock == asked->stock && asked->tape >= 0 && row->tape >= 0 &&
           !strcmp(results_name(from, row->tape), results_name(&p->course.results, asked->tape));
}

/* Median and scatter over a deck's results that are neither recent nor of the tape asked about; worked out once a deck. */
static const struct usual *usual_on(struct page *p, const struct deck *d)
{
    static const double least_sd[FIGURES] = {UNSTEADY_SD_DB, BALANCE_SD_DB, BALANCE_SD_DB};
    for (int i = 0; i < p->usual_count; i++)
        if (p->usual[i].deck == d)
            return &p->usual[i];
    const bool own = d == p->course.deck;
    const struct results *from = own ? &p->course.results : &p->others;
    struct usual *u = &p->usual[p->usual_count++];
    u->deck = d;
    for (int k = 0; k < FIGURES; k++) {
        int n = 0;
        for (int i = 0; i < from->count; i++) {
            const struct result *row = &from->rows[i];
            if (row->deck == d && !(own && row->made_at_us >= p->recent_us) && given(figure_of(row, (enum figure)k)) &&
                !same_tape(p, from, row))
                p->room[n++] = figure_of(row, (enum figure)k);
        }
        u->median[k] = n >= USUAL_LEAST ? summary_of(p->room, (size_t)n).median : ABSENT;
        for (int i = 0; i < n; i++)
            p->room[i] = fabs(p->room[i] - u->median[k]);
        u->sd[k] =
            n ? fmax(least_sd[k], 1.4826 * summary_of(p->room, (size_t)n).median) : ABSENT; /* of a normal: sd = 1.4826 · median of |x| */
    }
    return u;
}

static void share_of_case(const struct page *p, const struct results *from, const struct result *row, struct hint_row *out)
{
    const struct result *asked = &p->course.results.rows[p->at];
    out->on_deck = row->deck == asked->deck;
    out->of_class = row->stock->tape_class == asked->stock->tape_class;
    out->of_stock = row->stock == asked->stock;
    out->of_batch = out->of_stock && asked->batch >= 0 && row->batch >= 0 &&
                    !strcmp(results_name(from, row->batch), results_name(&p->course.results, asked->batch));
    out->of_tape = same_tape(p, from, row) || uuid_same(&row->id, &asked->id);
    out->recent = out->on_deck && row->made_at_us >= p->recent_us;
    out->stopped = row->stopped;
    out->unsettled = !row->settled;
}

static void add_figures(struct page *p, const struct result *row, struct hint_row *out)
{
    static const enum hint_sign signs[FIGURES] = {HINT_UNSTEADY, HINT_LOW_BALANCE, HINT_HIGH_BALANCE};
    const struct usual *u = usual_on(p, row->deck);
    for (int k = 0; k < FIGURES; k++) {
        double value = figure_of(row, (enum figure)k) - u->median[k];
        out->value[signs[k]] = isfinite(value) ? value : ABSENT;
        out->sd[signs[k]] = u->sd[k];
    }
}

static void add_row(struct page *p, const struct results *from, const struct result *row, const double value[RESPONSES],
                    const double sd[RESPONSES])
{
    struct hint_row *out = &p->rows[p->count];
    *out = (struct hint_row){.tag = p->count};
    share_of_case(p, from, row, out);
    for (int r = 0; r < RESPONSES; r++) {
        out->value[r] = value[r]; /* HINT_BIAS, HINT_LEVEL come first, in this order */
        out->sd[r] = sd[r];
    }
    add_figures(p, row, out);
    p->recent += out->recent;
    p->of[p->count++] = row;
}

static bool gather(struct page *p)
{
    const struct deck_course *c = &p->course;
    size_t room = (size_t)(c->results.count + p->others.count) + 1;
    p->rows = mem_zero(room, sizeof *p->rows);
    p->of = mem_zero(room, sizeof(const struct result *));
    p->room = mem_zero(room, sizeof *p->room);
    p->usual = mem_zero(room, sizeof *p->usual);
    p->stood_from = INT64_MAX;
    if (!p->rows || !p->of || !p->room || !p->usual)
        return false;
    for (int i = 0; i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        double value[RESPONSES], sd[RESPONSES];
        if (row->left_out && row->settled) /* void, or noise reduction on; one that would not line up still tells that */
            continue;
        const double *level = stood(p, row->made_at_us);
        for (int r = 0; r < RESPONSES; r++) {
            value[r] = given(c->spread[r][i]) ? c->standing[r][i] - level[r] : ABSENT; /* ABSENT also when the level is */
            sd[r] = c->spread[r][i];
        }
        add_row(p, &c->results, row, value, sd);
    }
    for (int i = 0; i < p->others.count; i++) {
        const struct result *row = &p->others.rows[i];
        double value[RESPONSES], sd[RESPONSES];
        if (row->deck == c->deck || row->left_out)
            continue;
        for (int r = 0; r < RESPONSES; r++) {
            double one = outlook_sd(&row->is, &c->club, (enum response)r);
            value[r] = row->is.flat[r] - outlook_expected(&row->is, ALL_PARTS & ~(1u << PART_TAPE), (enum response)r);
            sd[r] = sqrt(one * one + c->club.tape_sd[r] * c->club.tape_sd[r]);
        }
        add_row(p, &p->others, row, value, sd);
    }
    return true;
}

/* ---- answer ---- */

static const char *const SCOPES[HINT_SCOPES] = {"nothing", "deck",  "deck and class",        "this tape",
                                                "batch",   "stock", "this tape on this deck"};
static const char *const SIGNS[HINT_SIGNS] = {"bias", "level", "unsteady", "low_balance", "high_balance"};

static void write_finding(struct buffer *b, const struct hint_finding *found)
{
    json_member_text(b, "verdict", hint_verdict_text(found->verdict));
    json_member_fixed(b, "odds", fmin(found->odds, 1e6), 2);
    json_name(b, "chance");
    buffer_char(b, '{');
    json_member_fixed(b, "tape", found->tape, 4);
    json_member_fixed(b, "deck", found->deck, 4);
    json_member_fixed(b, "nothing", found->chance[HINT_NOTHING], 4);
    json_name(b, "scopes");
    buffer_char(b, '{');
    for (int s = 0; s < HINT_SCOPES; s++)
        json_member_fixed(b, SCOPES[s], found->chance[s], 4);
    buffer_text(b, "}}");
    json_member_text(b, "scope", SCOPES[found->scope]);
    json_name(b, "size_db");
    buffer_char(b, '{');
    for (int s = 0; s < HINT_SIGNS; s++)
        json_member_fixed(b, SIGNS[s], found->scope == HINT_NOTHING ? ABSENT : found->size[s], 3);
    buffer_char(b, '}');
    json_member_whole(b, "results", found->rows);
    json_member_text(b, "would_tell", found->would_tell);
}

static void write_hit(struct buffer *b, const struct page *p, const struct hint_hit *hit)
{
    char id[UUID_TEXT];
    buffer_char(b, '{');
    json_member_text(b, "code", hit->rule->code);
    json_member_text(b, "pattern", hit->rule->pattern);
    json_member_text(b, "scope", SCOPES[hit->rule->scope]);
    json_member_fixed(b, "chance", hit->chance, 3);
    if (hit->rule->cause == CAUSE_OFFSET) {
        json_member_text(b, "sign", SIGNS[hit->rule->sign]);
        json_member_fixed(b, "size_db", hit->size_db, 3);
        json_member_fixed(b, "size_se_db", hit->size_se_db, 3);
    } else {
        json_member_fixed(b, "part", hit->size_db, 3);
        json_member_fixed(b, "part_elsewhere", hit->size_se_db, 3);
    }
    json_name(b, "checks");
    buffer_char(b, '[');
    for (int i = 0; i < HINT_CHECKS && hit->rule->checks[i]; i++) {
        if (i)
            buffer_char(b, ',');
        json_text(b, hit->rule->checks[i]);
    }
    buffer_char(b, ']');
    json_member_text(b, "source", HINT_SOURCE);
    json_member_whole(b, "results", hit->row_count);
    json_name(b, "rests_on");
    buffer_char(b, '[');
    for (int i = 0; i < hit->row_count && i < HINT_EVIDENCE; i++) {
        if (i)
            buffer_char(b, ',');
        json_text(b, uuid_format(&p->of[hit->tags[i]]->id, id));
    }
    buffer_text(b, "]}");
}

static void write_page(struct buffer *b, const struct page *p)
{
    struct hint_finding found;
    struct hint_hit hits[HINTS_MOST];
    hint_weigh(p->rows, p->count, &found);
    int n = hints_find(p->rows, p->count, hits, HINTS_MOST);
    buffer_char(b, '{');
    json_member_text(b, "deck", p->course.deck->id);
    json_name(b, "case");
    if (p->at >= 0) {
        const struct result *row = &p->course.results.rows[p->at];
        char id[UUID_TEXT];
        buffer_char(b, '{');
        json_member_text(b, "calibration", uuid_format(&row->id, id));
        json_member_time(b, "made_at", row->made_at_us, row->made_at_offset_minutes);
        json_member_text(b, "stock", row->stock->id);
        json_member_text(b, "batch", results_name(&p->course.results, row->batch));
        json_member_text(b, "tape", results_name(&p->course.results, row->tape));
        buffer_char(b, '}');
    } else {
        buffer_text(b, "null");
    }
    json_member_time(b, "recent_since", p->recent_us == INT64_MAX ? CLOCK_NONE : p->recent_us, 0);
    json_member_flag(b, "change_noticed", p->noticed);
    json_member_whole(b, "recent", p->recent);
    write_finding(b, &found);
    json_name(b, "hints");
    buffer_char(b, '[');
    for (int i = 0; i < n; i++) {
        buffer_text(b, i ? ",\n" : "\n");
        write_hit(b, p, &hits[i]);
    }
    buffer_text(b, "]}\n");
}

static bool read_others(struct house *house, struct page *p, struct fault *f)
{
    if (p->at < 0)
        return true;
    struct reader *r = reader_take(house->store, f);
    if (!r)
        return false;
    bool ok = results_read(p->course.view, r, NULL, p->course.results.rows[p->at].stock->id, &p->others, f);
    reader_give(r);
    return ok;
}

enum action_result action_deck_hints(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"calibration", NULL};
    struct fault f = {0};
    struct page p = {.at = -1};
    struct view *v = live_take(house->live);
    const struct deck *d = captured_deck(v, x, &f);
    bool ok = d && parameters_allowed(&x->request, allowed, &f) && deck_course_make(house, v, d, &p.course, &f) &&
              find_case(&p, &x->request, &f) && read_others(house, &p, &f);
    if (ok && p.at >= 0) {
        find_recent(&p);
        if (!gather(&p))
            ok = fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory");
    } else {
        p.recent_us = INT64_MAX;
    }
    if (ok)
        write_page(json_body(x), &p);
    mem_free(p.rows);
    mem_free(p.of);
    mem_free(p.room);
    mem_free(p.usual);
    results_free(&p.others);
    deck_course_free(&p.course);
    view_give(v);
    return ok ? answer_json(x) : answer_fault(x, &f);
}
