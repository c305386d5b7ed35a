/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * /log for browsers without scripts: GET gives a page with both forms and the lists filled in (and, asked with a deck and a tape, where to start); POST
 * logs what the form holds, meets the same checks as a PUT, and answers with a page. Refused input comes back in the form.
 */
#include "log_form.h"
#include "actions.h"
#include "answer.h"
#include "html.h"
#include "place.h"
#include "suggest.h"

#include "../trade/classes.h"
#include "../wire/form.h"

#include <stdio.h>
#include <string.h>

struct page_input { /* what the form shows: parameters of a GET or fields of a POST */
    const struct request *query;
    const struct form *form;
    const struct fault *fault;
};

static const char *input(const struct page_input *p, const char *name)
{
    const char *v = p->form ? form_value(p->form, name) : request_parameter(p->query, name);
    return v ? v : "";
}

static void fault_of(struct buffer *b, const struct page_input *p, const char *name)
{
    for (int i = 0; p->fault && i < p->fault->count; i++)
        if (!strcmp(p->fault->items[i].field, name)) {
            buffer_format(b, "<p class=\"problem\" id=\"%s-problem\">", name);
            html_text(b, p->fault->items[i].detail);
            buffer_text(b, "</p>\n");
        }
}

static void field(struct buffer *b, const struct page_input *p, const char *name, const char *label, const char *mode)
{
    buffer_format(b, "<div class=\"field\"><label for=\"%s\">", name);
    html_text(b, label);
    buffer_format(b, "</label><input id=\"%s\" name=\"%s\" type=\"text\" inputmode=\"%s\" autocomplete=\"off\" value=\"", name, name, mode);
    html_attribute(b, input(p, name));
    buffer_text(b, "\">\n");
    fault_of(b, p, name);
    buffer_text(b, "</div>\n");
}

static void chooser(struct buffer *b, const struct page_input *p, const struct catalog *c, bool decks, const char *id_prefix)
{
    const char *name = decks ? "deck" : "stock", *chosen = input(p, name);
    buffer_format(b,
                  "<div class=\"field wide\"><label for=\"%s%s\">%s</label><select id=\"%s%s\" name=\"%s\" required>\n<option "
                  "value=\"\">choose</option>\n",
                  id_prefix, name, decks ? "Deck" : "Tape", id_prefix, name, name);
    for (size_t i = 0; i < c->count; i++) {
        const struct catalog_entry *e = c->entries[i];
        if (e->is_deck == decks)
            html_option(b, decks ? e->deck->id : e->stock->id, decks ? e->deck->name : e->stock->name, chosen);
    }
    buffer_text(b, "</select>\n");
    fault_of(b, p, name);
    buffer_text(b, "</div>\n");
}

static void choice(struct buffer *b, const struct page_input *p, const char *name, const char *label, const char *const *options)
{
    buffer_format(b, "<div class=\"field\"><label for=\"%s\">", name);
    html_text(b, label);
    buffer_format(b, "</label><select id=\"%s\" name=\"%s\">\n", name, name);
    for (; options[0]; options += 2)
        html_option(b, options[0], options[1], input(p, name));
    buffer_text(b, "</select>\n");
    fault_of(b, p, name);
    buffer_text(b, "</div>\n");
}

static void log_form(struct buffer *b, const struct page_input *p, const struct catalog *c)
{
    static const char *const channels[] = {"", "both", "left", "left", "right", "right", NULL};
    static const char *const lined_up[] = {"", "yes", "false", "no, it would not line up", NULL};
    static const char *const stops[] = {"", "no", "low", "at its low end", "high", "at its high end", NULL};
    char id[UUID_TEXT];
    struct uuid fresh = uuid_make();
    buffer_text(b, "<section>\n<h2>Log a calibration</h2>\n<form action=\"log\" method=\"post\">\n");
    const char *kept = p->form ? form_value(p->form, "id") : NULL;
    buffer_text(b, "<input type=\"hidden\" name=\"id\" value=\"");
    html_attribute(b, kept && *kept ? kept : uuid_format(&fresh, id));
    buffer_text(b, "\">\n");
    chooser(b, p, c, true, "l-");
    chooser(b, p, c, false, "l-");
    field(b, p, "setup", "Setup, if not the main one", "text");
    choice(b, p, "channel", "Channel", channels);
    field(b, p, "bias", "Bias dial", "decimal");
    field(b, p, "level", "Record trim dial", "decimal");
    field(b, p, "low_db", "Low tone, tape minus source, dB", "decimal");
    field(b, p, "high_db", "High tone, tape minus source, dB", "decimal");
    field(b, p, "recordings", "Times recorded over", "numeric");
    field(b, p, "position_s", "Place on the reel, seconds from its start", "decimal");
    field(b, p, "tape", "This cassette, its label", "text");
    field(b, p, "batch", "Batch", "text");
    field(b, p, "treble_db", "Lift wanted at the high tone, dB", "decimal");
    choice(b, p, "settled", "Did it line up?", lined_up);
    choice(b, p, "bias_stop", "Bias dial ran out", stops);
    choice(b, p, "level_stop", "Record trim dial ran out", stops);
    field(b, p, "made_at", "Made at (2026-03-01T19:00:00+01:00); now, if empty", "text");
    field(b, p, "notes", "Notes", "text");
    buffer_text(b, "<div class=\"wide actions\"><button type=\"submit\" class=\"main\">Log it</button></div>\n</form>\n</section>\n");
}

static void start_form(struct buffer *b, const struct page_input *p, const struct catalog *c)
{
    buffer_text(b, "<section>\n<h2>Where to start</h2>\n<form action=\"log\" method=\"get\">\n");
    chooser(b, p, c, true, "s-");
    chooser(b, p, c, false, "s-");
    buffer_text(b,
                "<div class=\"wide actions\"><button type=\"submit\" class=\"main\">Where to start</button></div>\n</form>\n</section>\n");
}

static void said(struct buffer *b, const char *name, const struct setting *s, bool is_bias)
{
    buffer_format(b, "<p class=\"setting\"><strong>%s: ", name);
    struct buffer words;
    buffer_init(&words, 1024);
    setting_words(&words, s, is_bias);
    html_text(b, words.data);
    buffer_inherit(b, &words);
    buffer_text(b, "</strong>");
    if (s->dial->present) {
        buffer_clear(&words);
        buffer_text(&words, "; nine times in ten between ");
        dial_place_words(&words, s->dial, s->low90_reading);
        buffer_text(&words, " and ");
        dial_place_words(&words, s->dial, s->high90_reading);
        html_text(b, words.data);
    }
    buffer_text(b, "</p>\n");
    buffer_inherit(b, &words);
    buffer_free(&words);
}

static void answer_of(struct exchange *x, struct buffer *b, const struct view *v)
{
    const struct request *q = &x->request;
    const char *deck = request_parameter(q, "deck"), *stock = request_parameter(q, "stock");
    struct fault f = {0};
    struct suggestion *s = deck && *deck && stock && *stock ? arena_alloc(x->arena, sizeof *s) : NULL;
    if (!s)
        return;
    if (!question_read(v, q, s, &f)) {
        buffer_text(b, "<p class=\"problem\">");
        html_text(b, f.items[0].detail);
        buffer_text(b, "</p>\n");
        return;
    }
    suggestion_make(v, s);
    buffer_text(b, "<section>\n<h2>");
    html_text(b, s->question.deck->name);
    buffer_text(b, " with ");
    html_text(b, s->question.stock->name);
    buffer_text(b, "</h2>\n");
    said(b, "Bias", &s->bias, true);
    said(b, "Record trim", &s->level, false);
    buffer_format(b, "<p>It rests on %ld result%s of this pair, %ld on this deck, %ld of this tape, %ld in the club.</p>\n", s->answer.pair,
                  s->answer.pair == 1 ? "" : "s", s->answer.on_deck, s->answer.of_stock, s->answer.club);
    if (s->caution_count)
        buffer_text(b, "<ul>\n");
    for (int i = 0; i < s->caution_count; i++) {
        buffer_text(b, "<li>");
        html_text(b, s->cautions[i].text);
        buffer_text(b, "</li>\n");
    }
    if (s->caution_count)
        buffer_text(b, "</ul>\n");
    buffer_text(b, "</section>\n");
}

static enum action_result page(struct house *house, struct exchange *x, const struct page_input *p, const char *title)
{
    struct view *v = live_take(house->live);
    struct buffer *b = html_begin(x, "", title);
    if (p->fault && p->fault->count) {
        buffer_text(b, "<div class=\"problem\" role=\"alert\"><p>It was not logged:</p><ul>\n");
        for (int i = 0; i < p->fault->count; i++) {
            buffer_text(b, "<li>");
            html_text(b, p->fault->items[i].field);
            buffer_text(b, p->fault->items[i].field[0] ? ": " : "");
            html_text(b, p->fault->items[i].detail);
            buffer_text(b, "</li>\n");
        }
        buffer_text(b, "</ul></div>\n");
    }
    if (!p->form) {
        answer_of(x, b, v);
        start_form(b, p, v->catalog);
    }
    if (house->open || x->request.who.role >= ROLE_LOGGER)
        log_form(b, p, v->catalog);
    else if (x->request.who.member)
        buffer_text(b, "<p>Your role reads the book; to log, ask a steward for the role of a logger.</p>\n");
    who_line(house, x, b);
    buffer_text(b, "<p><a href=\"./\">To the first page</a></p>\n");
    html_end(b);
    view_give(v);
    return answer_json(x);
}

enum action_result action_log_page(struct house *house, struct exchange *x)
{
    struct page_input p = {.query = &x->request};
    return page(house, x, &p, "Where to start, and what was found");
}

enum action_result log_page_again(struct house *house, struct exchange *x, const char *posted, size_t n)
{
    struct form *form = arena_alloc(x->arena, sizeof *form);
    struct fault f = {0};
    if (!form)
        return ACTION_DONE;
    if (!form_read(posted, n, x->arena, form, &f))
        form->count = 0;
    struct page_input p = {.query = &x->request, .form = form, .fault = &f};
    return page(house, x, &p, "Signed in; not logged yet");
}

/* ---- POST ---- */

struct posted {
    struct house *house;
    struct exchange *x;
    struct form form;
    struct fault fault;
    struct calibration calibration;
};

static enum action_result refuse(struct posted *g)
{
    struct page_input p = {.query = &g->x->request, .form = &g->form, .fault = &g->fault};
    g->x->reply.status = fault_status(&g->fault);
    return page(g->house, g->x, &p, "Not logged yet");
}

static void form_committed(struct write *w)
{
    struct posted *g = w->user;
    struct exchange *x = g->x;
    if (w->outcome == WRITE_REFUSED) {
        g->fault = w->fault;
        refuse(g);
        exchange_finish(x);
        return;
    }
    struct buffer *b = html_begin(x, "", w->outcome == WRITE_SAME ? "Logged already" : "Logged");
    x->reply.status = w->outcome == WRITE_CREATED ? 201 : 200;
    buffer_format(b, "<p class=\"receipt\">Change number %lld of the club's book", (long long)w->stamp.seq);
    buffer_text(b, ".</p>\n<p><a href=\"log?deck=");
    html_attribute(b, g->calibration.deck);
    buffer_text(b, "&amp;stock=");
    html_attribute(b, g->calibration.stock);
    buffer_text(b, "\">Where to start next time</a>, or <a href=\"log?deck=");
    html_attribute(b, g->calibration.deck);
    buffer_text(b, "\">log another on this deck</a>.</p>\n");
    html_end(b);
    answer_json(x);
    exchange_finish(x);
}

static bool read_posted(struct posted *g)
{
    static const char *const others[] = {"made_at_offset", NULL};
    struct exchange *x = g->x;
    struct calibration *c = &g->calibration;
    struct uuid none = {{0}};
    if (!form_read(x->request.body ? x->request.body : "", x->request.body_length, x->arena, &g->form, &g->fault) ||
        !wire_read_calibration_form(&g->form, others, x->arena, c, &g->fault))
        return false;
    if (uuid_same(&c->id, &none))
        c->id = uuid_make();
    if (c->made_at_us == CLOCK_NONE)
        c->made_at_us = x->request.now_us;
    struct view *v = live_take(g->house->live);
    bool fine = calibration_complete(c, catalog_deck(v->catalog, c->deck), catalog_stock(v->catalog, c->stock),
                                     latest_us(g->house, &x->request), &g->fault);
    view_give(v);
    return fine;
}

enum action_result action_log_form(struct house *house, struct exchange *x)
{
    struct posted *g = arena_alloc(x->arena, sizeof *g);
    struct write *w = g ? write_new(house, x, WRITE_CALIBRATION) : NULL;
    if (!w)
        return ACTION_DONE;
    g->house = house;
    g->x = x;
    if (!read_posted(g))
        return refuse(g);
    w->calibration = &g->calibration;
    w->user = g;
    w->done = form_committed;
    if (!store_submit(house->store, w, &g->fault))
        return refuse(g);
    return ACTION_LATER;
}
