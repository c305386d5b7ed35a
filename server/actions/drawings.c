/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The daemon's drawings: /charts/stocks/{id}.svg?kind=decks|time|alike and /charts/decks/{id}.svg?kind=time|classes|services, with response=bias|level and the width the
 * page has. The same numbers stand in statistics, alike and trend. The ETag is of the drawing itself.
 */
#include "actions.h"
#include "alike.h"
#include "answer.h"
#include "deck_course.h"
#include "groups.h"

#include "../charts/charts.h"
#include "../charts/svg.h"
#include "../ground/secrets.h"
#include "../trade/classes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define TITLE_ROOM 320
#define MAP_STOCKS 60 /* drawn at once; the likeliest first */

struct drawing {
    enum response response;
    int kind;
    double width;
    char title[TITLE_ROOM], description[TITLE_ROOM];
};

static const char *word_of(enum response r)
{
    return r == BIAS ? "bias" : "record level";
}

static bool read_drawing(const struct exchange *x, const char *const *allowed, const char *const *kinds, struct drawing *d, struct fault *f)
{
    const struct request *q = &x->request;
    const char *kind = request_parameter(q, "kind"), *response = request_parameter(q, "response");
    bool fine = parameters_allowed(q, allowed, f);
    d->width = SVG_WIDTH;
    fine = parameter_number(q, "width", SVG_WIDTH_LEAST, SVG_WIDTH_MOST, &d->width, f) && fine;
    d->response = BIAS;
    if (response && !strcmp(response, "level"))
        d->response = LEVEL;
    else if (response && *response && strcmp(response, "bias"))
        fine = fault_add(f, FAULT_UNACCEPTABLE, "response", "unknown-response", "response is bias or level");
    for (d->kind = 0; kind && *kind && kinds[d->kind] && strcmp(kind, kinds[d->kind]); d->kind++)
        ;
    if (!kinds[d->kind])
        fine = fault_add(f, FAULT_UNACCEPTABLE, "kind", "unknown-kind", "there is no such drawing; the first is '%s'", kinds[0]);
    return fine;
}

static enum action_result answer_drawing(struct exchange *x)
{
    struct reply *r = &x->reply;
    if (r->body.failed)
        return answer_json(x); /* says what failed */
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    digest_of(r->body.data, r->body.length, digest);
    digest_hex(digest, hex);
    r->status = 200;
    r->content_type = "image/svg+xml";
    snprintf(r->etag, sizeof r->etag, "%.32s", hex);
    snprintf(r->cache_control, sizeof r->cache_control, "private, no-cache"); /* ask again, by the ETag */
    return ACTION_DONE;
}

static bool out_of_memory(struct fault *f)
{
    return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory");
}

/* ---- a stock ---- */

enum { STOCK_DECKS, STOCK_TIME, STOCK_ALIKE };

static bool draw_decks(const struct view *v, const struct exchange *x, const struct stock *s, struct drawing *d, struct buffer *b,
                       struct fault *f)
{
    int count;
    const struct deck **decks = catalog_decks(v, x->arena, s->tape_class >= 0 ? class_info(s->tape_class)->medium : MEDIUM_NONE, &count);
    struct chart_bar *bars = decks ? arena_alloc(x->arena, ((size_t)count + 1) * sizeof *bars) : NULL;
    if (!bars)
        return out_of_memory(f);
    struct outlook_stock o;
    model_stock(v->model, s, &o);
    for (int i = 0; i < count; i++) {
        struct model_question q = model_question_plain(decks[i], s, x->request.now_us);
        struct model_answer a;
        model_ask(v->model, &q, &a);
        bars[i] = (struct chart_bar){decks[i]->name, a.mean[d->response], a.low90[d->response], a.high90[d->response], a.pair > 0};
    }
    snprintf(d->title, sizeof d->title, "What %.120s wants on each deck: %s", s->name, word_of(d->response));
    snprintf(d->description, sizeof d->description,
             "One row a deck, %d in all: the %s this tape wants there in dB and the range where nine results in ten land. A filled mark "
             "rests on results of this pair.",
             count, word_of(d->response));
    const struct chart_sheet sheet = {"stock-decks", d->title, d->description, d->width, NULL};
    chart_bars(b, &sheet, d->response == BIAS ? "dB; right: more bias" : "dB; right: more record gain", bars, count, o.mean[d->response],
               "on an average deck");
    return true;
}

static bool draw_results(struct house *house, const struct view *v, const struct stock *s, struct drawing *d, struct buffer *b,
                         struct fault *f)
{
    struct results r;
    struct reader *reader = reader_take(house->store, f);
    if (!reader)
        return false;
    bool ok = results_read(v, reader, NULL, s->id, &r, f);
    reader_give(reader);
    struct chart_point *points = ok ? mem_zero((size_t)r.count + 1, sizeof *points) : NULL;
    int n = 0, odd = 0;
    if (ok && !points)
        ok = out_of_memory(f);
    for (int i = 0; ok && i < r.count; i++) {
        const struct result *row = &r.rows[i];
        if (!given(row->is.flat[d->response]) || (row->left_out && !strcmp(row->left_out, "void")))
            continue;
        /* as on an average deck, so that results of all decks lie on one sheet */
        double value =
            row->is.flat[d->response] - outlook_expected(&row->is, 1u << PART_DECK | 1u << PART_TIME | 1u << PART_WAY, d->response);
        points[n] = (struct chart_point){row->made_at_us, value, row->left_out != NULL};
        odd += points[n++].odd;
    }
    if (ok) {
        snprintf(d->title, sizeof d->title, "Results of %.120s over time: %s", s->name, word_of(d->response));
        snprintf(d->description, sizeof d->description,
                 "%d results in order of time, each as it would be on an average deck, dB; %d of them are left out of the fit.", n, odd);
        const struct chart_sheet sheet = {"stock-time", d->title, d->description, d->width, NULL};
        const struct chart_course course = {.points = points, .count = n};
        chart_series(b, &sheet, d->response == BIAS ? "bias as on an average deck, dB" : "record level as on an average deck, dB", &course);
    }
    mem_free(points);
    results_free(&r);
    return ok;
}

static bool draw_map(const struct view *v, const struct exchange *x, const struct stock *s, struct drawing *d, struct buffer *b,
                     struct fault *f)
{
    struct alike a;
    struct chart_place *places = arena_alloc(x->arena, (MAP_STOCKS + 1) * sizeof *places);
    int n = 0, near = 0;
    if (!places)
        return out_of_memory(f);
    if (!alike_make(v, x, s, &a, f))
        return false;
    places[n++] = (struct chart_place){s->name, a.mean[BIAS], a.mean[LEVEL], a.se[BIAS], a.se[LEVEL], true, false};
    for (int i = 0; i < a.count && n < MAP_STOCKS; i++) {
        const struct alike_row *row = &a.rows[i];
        if (row->of_stock == 0) /* nothing of its own: it would lie where its class does */
            continue;
        places[n++] = (struct chart_place){row->stock->name,     row->mean[BIAS], row->mean[LEVEL], row->apart.se[BIAS],
                                           row->apart.se[LEVEL], false,           row->alike};
        near += row->alike;
    }
    snprintf(d->title, sizeof d->title, "%.100s beside other tapes on %.100s", s->name, a.deck->name);
    snprintf(d->description, sizeof d->description,
             "A map of what each tape wants on this deck: bias from left to right, record level from bottom to top, dB. %d of %d need the "
             "same within %.2g dB.",
             near, n - 1, a.within_db);
    const struct chart_sheet sheet = {"stock-map", d->title, d->description, d->width, NULL};
    chart_map(b, &sheet, places, n);
    return true;
}

enum action_result action_chart_stock(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"kind", "response", "width", "deck", "within_db", NULL};
    static const char *const kinds[] = {"decks", "time", "alike", NULL};
    struct fault f = {0};
    struct drawing d = {0};
    struct view *v = live_take(house->live);
    const struct stock *s = captured_stock(v, x, &f);
    bool ok = s && read_drawing(x, allowed, kinds, &d, &f);
    if (ok) {
        struct buffer *b = &x->reply.body;
        ok = d.kind == STOCK_DECKS  ? draw_decks(v, x, s, &d, b, &f)
             : d.kind == STOCK_TIME ? draw_results(house, v, s, &d, b, &f)
                                    : draw_map(v, x, s, &d, b, &f);
    }
    view_give(v);
    return ok ? answer_drawing(x) : answer_fault(x, &f);
}

/* ---- a deck ---- */

enum { DECK_TIME, DECK_CLASSES, DECK_SERVICES };

static void date_of(int64_t us, char out[CLOCK_TEXT])
{
    clock_format_date(us, out);
}

static bool draw_course(const struct deck_course *c, const struct exchange *x, struct drawing *d, struct buffer *b, struct fault *f)
{
    enum response r = d->response;
    size_t room = (size_t)c->results.count + 1, event_room = (size_t)(c->service_count + c->signal_count) + 1;
    struct chart_point *points = mem_zero(room, sizeof *points);
    struct chart_event *events = mem_zero(event_room, sizeof *events);
    struct chart_level *levels = mem_zero((size_t)c->era_count + 1, sizeof *levels);
    char(*labels)[64] = arena_alloc(x->arena, event_room * sizeof *labels);
    int n = 0, e = 0, l = 0, signals = 0;
    bool ok = points && events && levels && labels;
    for (int i = 0; ok && i < c->results.count; i++) {
        const struct result *row = &c->results.rows[i];
        bool told = given(c->standing[r][i]);
        if (row->left_out && !strcmp(row->left_out, "void"))
            continue;
        double value = told ? c->standing[r][i] : row->is.flat[r] - outlook_expected(&row->is, 1u << PART_STOCK | 1u << PART_WAY, r);
        if (given(value))
            points[n++] = (struct chart_point){row->made_at_us, value, !told};
    }
    for (int i = 0; ok && i < c->signal_count; i++) {
        if (c->signals[i].response != r)
            continue;
        snprintf(labels[e], sizeof labels[e], "%s%.1f dB", c->signals[i].at.size_db < 0 ? "\xE2\x88\x92" : "+",
                 fabs(c->signals[i].at.size_db));
        events[e] = (struct chart_event){c->results.rows[c->signals[i].at.since].made_at_us, labels[e], true};
        e++, signals++;
    }
    for (int i = 0; ok && i < c->service_count; i++) {
        snprintf(labels[e], sizeof labels[e], "%.60s", c->services[i].kind);
        events[e] = (struct chart_event){c->services[i].made_at_us, labels[e], false};
        e++;
    }
    for (int i = 0; ok && i < c->era_count; i++)
        if (given(c->eras[i].mean[r]))
            levels[l++] =
                (struct chart_level){c->eras[i].from_us, c->eras[i].to_us, c->eras[i].mean[r],
                                     c->eras[i].mean[r] - 1.645 * c->eras[i].se[r], c->eras[i].mean[r] + 1.645 * c->eras[i].se[r]};
    if (ok) {
        char since[CLOCK_TEXT] = "";
        if (signals)
            date_of(events[0].at_us, since);
        snprintf(d->title, sizeof d->title, "%.120s over time: %s", c->deck->name, word_of(r));
        snprintf(d->description, sizeof d->description,
                 "%d results with the tapes taken off: where the deck stands against an average one, dB. %d services are marked%s%s%s.", n,
                 e - signals, signals ? "; a change was noticed since " : "; no change was noticed", since,
                 signals > 1 ? " and later ones" : "");
        const struct chart_sheet sheet = {r == BIAS ? "deck-time-bias" : "deck-time-level", d->title, d->description, d->width, NULL};
        const struct chart_course course = {points, n, events, e, levels, l};
        chart_series(b, &sheet, r == BIAS ? "bias wanted against an average deck, dB" : "record level wanted against an average deck, dB",
                     &course);
    }
    mem_free(points);
    mem_free(events);
    mem_free(levels);
    return ok || out_of_memory(f);
}

static void draw_classes(const struct deck_course *c, struct drawing *d, struct buffer *b)
{
    struct chart_bar bars[CLASS_COUNT];
    int n = 0;
    for (int k = 0; k < CLASS_COUNT; k++) {
        struct outlook_deck o;
        if (class_info((enum tape_class)k)->medium != c->deck->medium || !model_deck(c->view->model, c->deck, (enum tape_class)k, &o))
            continue;
        double half = 1.645 * o.se[d->response];
        bars[n++] = (struct chart_bar){class_info((enum tape_class)k)->name, o.offset[d->response], o.offset[d->response] - half,
                                       o.offset[d->response] + half, o.rows > 0};
    }
    snprintf(d->title, sizeof d->title, "%.120s class by class: %s", c->deck->name, word_of(d->response));
    snprintf(d->description, sizeof d->description,
             "One row a class of tape: how much more or less %s this deck wants than an average one, dB, with the range that holds it nine "
             "times in ten.",
             word_of(d->response));
    const struct chart_sheet sheet = {"deck-classes", d->title, d->description, d->width, NULL};
    chart_bars(b, &sheet,
               d->response == BIAS ? "dB against an average deck; right: more bias" : "dB against an average deck; right: more gain", bars,
               n, ABSENT, NULL);
}

static bool draw_services(const struct deck_course *c, const struct exchange *x, struct drawing *d, struct buffer *b, struct fault *f)
{
    size_t room = (size_t)c->service_count + 1;
    struct chart_bar *bars = arena_alloc(x->arena, room * sizeof *bars);
    char(*labels)[96] = arena_alloc(x->arena, room * sizeof *labels);
    int n = 0;
    if (!bars || !labels)
        return out_of_memory(f);
    for (int i = 0; i < c->service_count; i++) {
        struct course_change change;
        char date[CLOCK_TEXT];
        if (!deck_course_compare(c, c->services[i].made_at_us, &change) || !given(change.mean[d->response]))
            continue;
        date_of(c->services[i].made_at_us, date);
        snprintf(labels[n], sizeof labels[n], "%.40s %.10s", c->services[i].kind, date);
        bars[n] = (struct chart_bar){labels[n], change.mean[d->response], change.low90[d->response], change.high90[d->response], true};
        n++;
    }
    snprintf(d->title, sizeof d->title, "%.120s after each service against before: %s", c->deck->name, word_of(d->response));
    snprintf(d->description, sizeof d->description,
             "One row a service: by how much the %s wanted changed over it, dB, with the range that holds the change nine times in ten.",
             word_of(d->response));
    const struct chart_sheet sheet = {"deck-services", d->title, d->description, d->width,
                                      "no service yet with results before and after it"};
    chart_bars(b, &sheet, d->response == BIAS ? "dB; right: wants more bias since" : "dB; right: wants more gain since", bars, n, ABSENT,
               NULL);
    return true;
}

enum action_result action_chart_deck(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"kind", "response", "width", NULL};
    static const char *const kinds[] = {"time", "classes", "services", NULL};
    struct fault f = {0};
    struct drawing d = {0};
    struct deck_course c = {0};
    struct view *v = live_take(house->live);
    const struct deck *k = captured_deck(v, x, &f);
    bool ok = k && read_drawing(x, allowed, kinds, &d, &f) && deck_course_make(house, v, k, &c, &f);
    if (ok) {
        struct buffer *b = &x->reply.body;
        if (d.kind == DECK_CLASSES)
            draw_classes(&c, &d, b);
        else
            ok = d.kind == DECK_TIME ? draw_course(&c, x, &d, b, &f) : draw_services(&c, x, &d, b, &f);
    }
    deck_course_free(&c);
    view_give(v);
    return ok ? answer_drawing(x) : answer_fault(x, &f);
}
