/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What was before: the states of one record, who made them and when; undo; the log of what stewards did.
 */
#include "actions.h"
#include "answer.h"

#include "../store/history.h"
#include "../wire/wire.h"

#include <ctype.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool no_parameters(const struct exchange *x, struct fault *f)
{
    static const char *const none[] = {NULL};
    return parameters_allowed(&x->request, none, f);
}

/* ---- states: {"revisions":[{"by","at","state":{…}}]}, newest first ---- */

struct states {
    struct buffer *b;
    int count;
};

static void begin_state(struct states *s, const struct stamp *stamp, const char *by)
{
    buffer_text(s->b, s->count++ ? ",\n{" : "\n{");
    buffer_format(s->b, "\"seq\":%lld", (long long)stamp->seq);
    json_member_whole(s->b, "revision", stamp->revision);
    json_name(s->b, "by");
    if (*by)
        json_text(s->b, by);
    else
        buffer_text(s->b, "null");
    json_member_time(s->b, "at", stamp->stored_us, 0);
    json_member_flag(s->b, "void", stamp->is_void);
    json_name(s->b, "state");
}

static bool calibration_state(void *user, const struct calibration *c, const struct stamp *stamp, const char *by)
{
    struct states *s = user;
    begin_state(s, stamp, by);
    wire_write_calibration(s->b, c, stamp, false);
    buffer_char(s->b, '}');
    return true;
}

static bool deck_state(void *user, const struct deck *d, const struct stamp *stamp, const char *by)
{
    struct states *s = user;
    begin_state(s, stamp, by);
    wire_write_deck(s->b, d, stamp, false);
    buffer_char(s->b, '}');
    return true;
}

static bool stock_state(void *user, const struct stock *t, const struct stamp *stamp, const char *by)
{
    struct states *s = user;
    begin_state(s, stamp, by);
    wire_write_stock(s->b, t, stamp, false);
    buffer_char(s->b, '}');
    return true;
}

static enum action_result answer_states(struct exchange *x, struct buffer *b, enum read_result got, const char *what, struct fault *f)
{
    if (got == READ_NONE)
        fault_add(f, FAULT_UNKNOWN, "id", what, "the club has nothing of this id");
    if (got != READ_OK)
        return answer_fault(x, f);
    buffer_text(b, "]}\n");
    return answer_json(x);
}

enum action_result action_calibration_revisions(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct uuid id;
    struct states s = {.b = json_body(x)};
    if (!no_parameters(x, &f) || !path_uuid(x, 0, &id, &f))
        return answer_fault(x, &f);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    buffer_text(s.b, "{\"revisions\":[");
    enum read_result got = walk_calibration_states(r, &id, calibration_state, &s, &f);
    reader_give(r);
    return answer_states(x, s.b, got, "unknown-calibration", &f);
}

enum action_result action_deck_revisions(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct states s = {.b = json_body(x)};
    struct reader *r = no_parameters(x, &f) ? reader_take(house->store, &f) : NULL;
    if (!r)
        return answer_fault(x, &f);
    buffer_text(s.b, "{\"revisions\":[");
    enum read_result got = walk_deck_states(r, x->request.captures[0], deck_state, &s, &f);
    reader_give(r);
    return answer_states(x, s.b, got, "unknown-deck", &f);
}

enum action_result action_stock_revisions(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct states s = {.b = json_body(x)};
    struct reader *r = no_parameters(x, &f) ? reader_take(house->store, &f) : NULL;
    if (!r)
        return answer_fault(x, &f);
    buffer_text(s.b, "{\"revisions\":[");
    enum read_result got = walk_stock_states(r, x->request.captures[0], stock_state, &s, &f);
    reader_give(r);
    return answer_states(x, s.b, got, "unknown-stock", &f);
}

/* ---- undo ---- */

enum action_result action_calibration_undo(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct write *w = write_new(house, x, WRITE_UNDO);
    struct calibration *c = w ? arena_alloc(x->arena, sizeof *c) : NULL;
    if (!c)
        return ACTION_DONE;
    calibration_init(c);
    if (!no_parameters(x, &f) || !path_uuid(x, 0, &c->id, &f))
        return answer_fault(x, &f);
    w->calibration = c;
    return write_submit(house, x, w);
}

/* ---- the log ---- */

struct log_page {
    struct buffer *b;
    long limit, count;
    struct journal_entry last;
    bool more;
};

/* The entry in words, for people; programs read `what`. */
static void write_words(struct buffer *b, const struct journal_entry *e)
{
    static const char *const words[][2] = {
        {"void", "took a calibration out"},
        {"unvoid", "let a calibration count again"},
        {"correction", "corrected a calibration"},
        {"deck", "changed a deck"},
        {"stock", "changed a stock"},
        {"service", "changed a service"},
        {"check", "changed a check"},
        {"member-added", "added a member"},
        {"member-changed", "changed a member"},
        {"key-added", "made a key"},
        {"key-revoked", "revoked a key"},
        {"key-rotated", "replaced a key by a new one"},
        {"import", "imported rows"},
    };
    struct buffer text;
    const char *did = e->what;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (!strcmp(words[i][0], e->what))
            did = words[i][1];
    buffer_init(&text, 2000);
    buffer_format(&text, "%s %s%s%s%s%s", *e->who ? e->who : "Somebody", did, *e->subject ? (e->source == 5 ? ": " : ", written by ") : "",
                  e->subject, *e->detail ? (e->source == 5 ? ", " : ": ") : "", e->detail);
    json_member_text(b, "words", text.data ? text.data : "");
    buffer_inherit(b, &text);
    buffer_free(&text);
}

static bool log_entry(void *user, const struct journal_entry *e)
{
    struct log_page *p = user;
    if (p->count == p->limit) {
        p->more = true;
        return false;
    }
    buffer_text(p->b, p->count++ ? ",\n{" : "\n{");
    json_member_time(p->b, "at", e->at_us, 0);
    json_name(p->b, "who");
    if (*e->who)
        json_text(p->b, e->who);
    else
        buffer_text(p->b, "null");
    json_member_text(p->b, "what", e->what);
    json_member_text(p->b, "subject", e->subject);
    json_member_text(p->b, "detail", e->detail);
    if (*e->about)
        json_member_text(p->b, "about", e->about);
    write_words(p->b, e);
    buffer_char(p->b, '}');
    p->last = *e;
    return true;
}

static bool read_cursor(const char *text, struct journal_entry *out, struct fault *f)
{
    long long part[3];
    char *rest = (char *)(uintptr_t)text;
    bool fine = strlen(text) <= LIMIT_CURSOR;
    errno = 0;
    for (int i = 0; i < 3 && fine; i++) {
        const char *start = rest;
        part[i] = strtoll(start, &rest, 10);
        fine = rest != start && errno == 0 && !isspace((unsigned char)*start) && *rest == (i < 2 ? '.' : '\0');
        rest += fine && i < 2;
    }
    if (!fine || part[1] < INT_MIN || part[1] > INT_MAX)
        return fault_add(f, FAULT_MALFORMED, "after", "not-a-cursor", "take 'after' from the Link of the page before");
    *out = (struct journal_entry){.at_us = part[0], .source = (int)part[1], .number = part[2]};
    return true;
}

enum action_result action_journal(struct house *house, struct exchange *x)
{
    static const char *const allowed[] = {"after", "limit", NULL};
    struct fault f = {0};
    struct journal_entry after;
    struct log_page p = {.b = json_body(x), .limit = LIMIT_PAGE_DEFAULT};
    const char *cursor = request_parameter(&x->request, "after");
    bool fine = parameters_allowed(&x->request, allowed, &f);
    fine = parameter_count(&x->request, "limit", 1, LIMIT_PAGE, &p.limit, &f) && fine;
    if (!fine || (cursor && !read_cursor(cursor, &after, &f)))
        return answer_fault(x, &f);
    struct reader *r = reader_or_answer(house, x);
    if (!r)
        return ACTION_DONE;
    buffer_text(p.b, "{\"entries\":[");
    enum read_result got = walk_journal(r, cursor ? &after : NULL, (int)p.limit + 1, log_entry, &p, &f);
    reader_give(r);
    if (got == READ_FAILED)
        return answer_fault(x, &f);
    buffer_text(p.b, "]");
    if (p.more) {
        char url[160];
        snprintf(url, sizeof url, "/api/journal?after=%lld.%d.%lld&limit=%ld", (long long)p.last.at_us, p.last.source,
                 (long long)p.last.number, p.limit);
        snprintf(x->reply.link, sizeof x->reply.link, "<%s>; rel=\"next\"", url);
        json_member_text(p.b, "next", url);
    }
    buffer_text(p.b, "}\n");
    return answer_json(x);
}
