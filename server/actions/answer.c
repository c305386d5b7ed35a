/* SPDX-License-Identifier: GPL-3.0-or-later
 * See answer.h. */
#include "answer.h"

#include "../wire/wire.h"

#include <stdio.h>
#include <string.h>

/* ---- parameters ---- */

bool parameter_number(const struct request *q, const char *name, double low, double high, double *out, struct fault *f)
{
    const char *text = request_parameter(q, name);
    double value;
    if (!text || !*text)
        return true;
    if (!number_parse(text, strlen(text), &value))
        return fault_add(f, FAULT_MALFORMED, name, "not-a-number", "'%.40s' is not a number; write it like 1.5", text);
    if (value < low || value > high)
        return fault_add(f, FAULT_UNACCEPTABLE, name, "out-of-range", "%g is outside %g to %g", value, low, high);
    *out = value;
    return true;
}

bool parameter_count(const struct request *q, const char *name, long low, long high, long *out, struct fault *f)
{
    double value = 0;
    const char *text = request_parameter(q, name);
    if (!text || !*text)
        return true;
    if (!parameter_number(q, name, (double)low, (double)high, &value, f))
        return false;
    if (value != (double)(long)value)
        return fault_add(f, FAULT_UNACCEPTABLE, name, "not-whole", "'%.40s' must be a whole number", text);
    *out = (long)value;
    return true;
}

bool parameter_time(const struct request *q, const char *name, int64_t *us, struct fault *f)
{
    const char *text = request_parameter(q, name);
    if (!text || !*text || !strcmp(text, "now"))
        return true;
    if (!clock_parse(text, strlen(text), us, NULL))
        return fault_add(f, FAULT_MALFORMED, name, "not-a-time",
                         "'%.40s' is not a time; write RFC 3339 with an offset, like 2026-03-01T19:00:00Z (a + must be sent as %%2B)",
                         text);
    return true;
}

bool parameter_flag(const struct request *q, const char *name, bool *out, struct fault *f)
{
    const char *text = request_parameter(q, name);
    if (!text)
        return true;
    if (!strcmp(text, "1") || !strcmp(text, "true") || !*text)
        *out = true;
    else if (!strcmp(text, "0") || !strcmp(text, "false"))
        *out = false;
    else
        return fault_add(f, FAULT_MALFORMED, name, "not-a-flag", "'%.40s' must be 1 or 0", text);
    return true;
}

bool parameters_allowed(const struct request *q, const char *const *names, struct fault *f)
{
    bool fine = true;
    for (int i = 0; i < q->parameter_count; i++) {
        const char *name = q->parameters[i].name;
        bool known = false;
        for (int k = 0; names[k] && !known; k++)
            known = names[k][0] == name[0] && !strcmp(names[k], name); /* the hot path asks a few hundred times */
        if (!known)
            fine = fault_add(f, FAULT_UNACCEPTABLE, name, "unknown-parameter", "there is no parameter of this name here; see docs/api.md");
        for (int k = 0; k < i && known; k++)
            if (!strcmp(q->parameters[k].name, name))
                fine = fault_add(f, FAULT_UNACCEPTABLE, name, "repeated", "give this parameter once");
    }
    return fine;
}

enum action_result answer_no_parameters(struct exchange *x)
{
    static const char *const none[] = {NULL};
    struct fault f = {0};
    parameters_allowed(&x->request, none, &f);
    return answer_fault(x, &f);
}

bool path_uuid(const struct exchange *x, int capture, struct uuid *out, struct fault *f)
{
    if (uuid_parse(x->request.captures[capture], out))
        return true;
    return fault_add(f, FAULT_MALFORMED, "id", "not-a-uuid", "the path needs a UUID of version 4 or 7, made by the client");
}

/* ---- replies ---- */

enum action_result answer_fault(struct exchange *x, const struct fault *f)
{
    reply_fault(&x->reply, f);
    return ACTION_DONE;
}

struct buffer *json_body(struct exchange *x)
{
    x->reply.content_type = "application/json";
    return &x->reply.body;
}

enum action_result answer_json(struct exchange *x)
{
    if (x->reply.body.failed) {
        struct fault f = {0};
        if (x->reply.body.too_large)
            fault_add(&f, FAULT_INTERNAL, "", "reply-too-large", "the answer is larger than a reply may be; ask for less, or export");
        else
            fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory while answering; try again");
        buffer_clear(&x->reply.body);
        return answer_fault(x, &f);
    }
    if (!x->reply.status)
        x->reply.status = 200;
    return ACTION_DONE;
}

struct reader *reader_or_answer(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    struct reader *r = reader_take(house->store, &f);
    if (!r)
        answer_fault(x, &f);
    return r;
}

/* ---- writing ---- */

int64_t latest_us(const struct house *house, const struct request *q)
{
    int64_t last = store_last_commit_us(house->store);
    return last != CLOCK_NONE && last > q->now_us ? last : q->now_us;
}

struct write *write_new(struct house *house, struct exchange *x, enum write_kind kind)
{
    struct write *w = arena_room(x->arena, sizeof *w);
    if (!w) {
        struct fault f = {0};
        fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory; try again");
        answer_fault(x, &f);
        return NULL;
    }
    write_init(w);
    w->kind = kind;
    w->member = x->request.who.member;
    w->may_correct_others = house->open || x->request.who.role == ROLE_STEWARD;
    w->if_match = x->request.if_match;
    w->user = x;
    return w;
}

static const char *outcome_text(enum write_outcome o)
{
    return o == WRITE_CREATED ? "created" : o == WRITE_SAME ? "same" : "revised";
}

/* Cut to its room; returns the length. */
static size_t copy_text(char *out, size_t room, const char *text)
{
    size_t n = strlen(text);
    if (n >= room)
        n = room - 1;
    memcpy(out, text, n);
    out[n] = '\0';
    return n;
}

static void write_receipt(struct exchange *x, const struct write *w)
{
    struct reply *r = &x->reply;
    struct buffer *b = json_body(x);
    char id[LIMIT_SLUG + 1 + UUID_TEXT];
    size_t length = 0;
    const char *base = "/api/calibrations/";
    switch (w->kind) {
    case WRITE_DECK: base = "/api/decks/", snprintf(id, sizeof id, "%s", w->deck->id); break;
    case WRITE_STOCK: base = "/api/stocks/", snprintf(id, sizeof id, "%s", w->stock->id); break;
    case WRITE_SERVICE: base = NULL, uuid_format(&w->service->id, id); break;
    case WRITE_CHECK: base = NULL, uuid_format(&w->check->id, id); break;
    case WRITE_CALIBRATION:
    case WRITE_VOID:
    case WRITE_UNDO: uuid_format(&w->calibration->id, id); break;
    }
    r->status = w->outcome == WRITE_CREATED ? 201 : 200;
    copy_text(r->etag, sizeof r->etag, w->stamp.etag);
    if (w->outcome == WRITE_CREATED) {
        length = base ? copy_text(r->location, sizeof r->location, base) : 0;
        copy_text(r->location + length, sizeof r->location - length, base ? id : x->request.path);
    }
    /* This is every logged result's receipt, so no printf. */
    buffer_text(b, "{\"id\":");
    json_text(b, id);
    buffer_text(b, ",\"seq\":");
    buffer_int(b, w->stamp.seq);
    buffer_text(b, ",\"revision\":");
    buffer_int(b, w->stamp.revision);
    buffer_text(b, ",\"outcome\":\"");
    buffer_text(b, outcome_text(w->outcome));
    buffer_char(b, '"');
    if (w->stamp.is_void) {
        buffer_text(b, ",\"void\":{\"reason\":");
        json_text(b, w->stamp.void_reason);
        buffer_char(b, '}');
    }
    buffer_text(b, "}\n");
    answer_json(x);
}

static void committed(struct write *w)
{
    struct exchange *x = w->user;
    if (w->outcome == WRITE_REFUSED)
        answer_fault(x, &w->fault);
    else
        write_receipt(x, w);
    exchange_finish(x);
}

enum action_result write_submit(struct house *house, struct exchange *x, struct write *w)
{
    struct fault f;
    fault_clear(&f);
    w->done = committed;
    if (!store_submit(house->store, w, &f))
        return answer_fault(x, &f);
    return ACTION_LATER;
}
