/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Calibrations that look like misentries: those furthest from what the club's other results lead to expect, in units of what a result scatters. A
 * slip of the pen that would explain one is named when the corrected reading fits. Nothing is taken out by itself: a member corrects or voids
 * the row, or a steward says that it is right, which is remembered for this state of it.
 */
#include "actions.h"
#include "answer.h"

#include "../model/outlook.h"
#include "../store/history.h"
#include "../wire/people.h"
#include "../wire/wire.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SUSPICIOUS 4.5 /* scatters; of normal results one in 150,000 lies further out, of Student's t with 4 degrees of freedom one in 90 */
#define FITS       2.0 /* a slip explains it when what it should have been lies so near */

struct suspect {
    struct uuid id;
    int64_t seq, made_at_us;
    int made_at_offset_minutes;
    char deck[LIMIT_SLUG + 1], stock[LIMIT_SLUG + 1], member[LIMIT_NAME + 1];
    double found[RESPONSES], expected[RESPONSES],
        scatters[RESPONSES]; /* dB; dB; of the difference. ABSENT: it tells nothing of this response */
    const char *slip;
    double worst;
};

struct accepted {
    struct uuid id;
    int64_t seq;
};

struct review {
    const struct view *view;
    struct suspect *list; /* LIMIT_REVIEW_LISTED */
    int count;
    long looked_at, found;
    struct accepted *accepted;
    size_t accepted_count, accepted_room;
    struct calibration *slip; /* room for a changed copy */
    bool failed;
};

/* ---- how far out one lies ---- */

static void distance(const struct model_view *v, const struct calibration *c, const struct deck *d, const struct stock *s,
                     struct suspect *out)
{
    struct model_question q = model_question_of(c, d, s);
    struct model_answer a;
    struct flat_result flat;
    struct outlook_stock o;
    double way[RESPONSES] = {0, 0};
    q.tape = q.batch = NULL; /* a tape that only this result tells of would explain anything */
    model_ask(v, &q, &a);
    model_flat(v, c, d, s, &flat);
    model_stock(v, s, &o);
    if (c->bias_method != METHOD_FLAT)
        model_way(v, d, c->setup, c->bias_method, way);
    const bool dial[RESPONSES] = {d->bias_dial.present, d->level_dial.present};
    out->worst = 0;
    for (int r = 0; r < RESPONSES; r++) {
        double sigma = flat.read ? o.sigma[r] : o.blind_sigma[r];
        double variance =
            sigma * sigma + o.tape_sd[r] * o.tape_sd[r] + o.batch_sd[r] * o.batch_sd[r] + a.se[r] * a.se[r] + flat.variance[r];
        bool tells = (flat.read || dial[r]) && isfinite(flat.value[r]) && isfinite(variance) && variance > 0;
        out->found[r] = tells ? flat.value[r] : ABSENT;
        out->expected[r] = a.mean[r] + way[r];
        out->scatters[r] = tells ? (flat.value[r] - out->expected[r]) / sqrt(variance) : ABSENT;
        if (tells && fabs(out->scatters[r]) > out->worst)
            out->worst = fabs(out->scatters[r]);
    }
}

/* ---- what would explain it ---- */

static bool inside(const struct dial *d, double reading)
{
    return d->present && given(reading) && reading >= d->low && reading <= d->high;
}

static void mirror(const struct dial *d, double *reading)
{
    double zero = given(d->zero) ? d->zero : 0;
    *reading = 2 * zero - *reading;
}

enum { SLIP_BIAS_SIDE, SLIP_LEVEL_SIDE, SLIP_EXCHANGED, SLIP_READINGS_SIGN, SLIP_READINGS_EXCHANGED, SLIPS };

/* False when the slip makes no sense here. */
static bool apply_slip(int slip, struct calibration *c, const struct deck *d)
{
    double kept = c->bias;
    switch (slip) {
    case SLIP_BIAS_SIDE: mirror(&d->bias_dial, &c->bias); return inside(&d->bias_dial, c->bias);
    case SLIP_LEVEL_SIDE: mirror(&d->level_dial, &c->level); return inside(&d->level_dial, c->level);
    case SLIP_EXCHANGED:
        c->bias = c->level;
        c->level = kept;
        return inside(&d->bias_dial, c->bias) && inside(&d->level_dial, c->level);
    case SLIP_READINGS_SIGN:
        c->low_db = -c->low_db;
        c->high_db = -c->high_db;
        return given(c->low_db) && given(c->high_db);
    case SLIP_READINGS_EXCHANGED:
        kept = c->low_db;
        c->low_db = c->high_db;
        c->high_db = kept;
        return given(c->low_db) && given(c->high_db);
    default: return false;
    }
}

static const char *find_slip(struct review *v, const struct calibration *c, const struct deck *d, const struct stock *s)
{
    static const char *const words[SLIPS] = {
        "it would fit with the bias dial on the other side of its zero",
        "it would fit with the record trim dial on the other side of its zero", "it would fit with the readings of the two dials exchanged",
        "it would fit with the signs of both tones the other way round", "it would fit with the low and the high tone exchanged"};
    const char *best = NULL;
    double nearest = FITS;
    for (int slip = 0; slip < SLIPS; slip++) {
        struct suspect now;
        *v->slip = *c;
        if (!apply_slip(slip, v->slip, d))
            continue;
        distance(v->view->model, v->slip, d, s, &now);
        if (now.worst < nearest) {
            nearest = now.worst;
            best = words[slip];
        }
    }
    return best;
}

/* ---- collecting ---- */

static bool is_accepted(const struct review *v, const struct stamp *stamp)
{
    for (size_t i = 0; i < v->accepted_count; i++)
        if (v->accepted[i].seq == stamp->seq)
            return true;
    return false;
}

/* Keeps the worst ones: the list is full before it is sorted, so the best of it makes room. */
static struct suspect *place_for(struct review *v, double worst)
{
    if (v->count < LIMIT_REVIEW_LISTED)
        return &v->list[v->count++];
    struct suspect *least = &v->list[0];
    for (int i = 1; i < v->count; i++)
        if (v->list[i].worst < least->worst)
            least = &v->list[i];
    return least->worst < worst ? least : NULL;
}

static bool look_at(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct review *v = user;
    const struct deck *d = catalog_deck(v->view->catalog, c->deck);
    const struct stock *s = catalog_stock(v->view->catalog, c->stock);
    v->looked_at++;
    if (!d || !s || model_left_out(c, stamp) || stamp->seq > v->view->as_of)
        return true;
    struct suspect now;
    distance(v->view->model, c, d, s, &now);
    if (now.worst < SUSPICIOUS || is_accepted(v, stamp))
        return true;
    v->found++;
    struct suspect *e = place_for(v, now.worst);
    if (!e)
        return true;
    *e = now;
    e->id = c->id;
    e->seq = stamp->seq;
    e->made_at_us = c->made_at_us;
    e->made_at_offset_minutes = c->made_at_offset_minutes;
    memcpy(e->deck, c->deck, sizeof e->deck);
    memcpy(e->stock, c->stock, sizeof e->stock);
    memcpy(e->member, stamp->author, sizeof e->member);
    e->slip = find_slip(v, c, d, s);
    return true;
}

static bool take_accepted(void *user, const struct uuid *id, int64_t seq)
{
    struct review *v = user;
    if (v->accepted_count == v->accepted_room) {
        size_t room = v->accepted_room ? 2 * v->accepted_room : 64;
        struct accepted *grown = mem_grow(v->accepted, room, sizeof *grown);
        if (!grown) {
            v->failed = true;
            return false;
        }
        v->accepted = grown;
        v->accepted_room = room;
    }
    v->accepted[v->accepted_count++] = (struct accepted){*id, seq};
    return true;
}

/* ---- the answer ---- */

static int by_distance(const void *a, const void *b)
{
    double x = ((const struct suspect *)a)->worst, y = ((const struct suspect *)b)->worst;
    return (x < y) - (x > y);
}

static void write_response(struct buffer *b, const char *name, const struct suspect *e, int r)
{
    json_name(b, name);
    if (!given(e->found[r])) {
        buffer_text(b, "null");
        return;
    }
    buffer_char(b, '{');
    json_member_fixed(b, "found_db", e->found[r], 2);
    json_member_fixed(b, "expected_db", e->expected[r], 2);
    json_member_fixed(b, "scatters", e->scatters[r], 1);
    buffer_char(b, '}');
}

static void write_suspect(struct buffer *b, const struct suspect *e)
{
    char id[UUID_TEXT];
    buffer_char(b, '{');
    json_member_text(b, "id", uuid_format(&e->id, id));
    json_member_text(b, "deck", e->deck);
    json_member_text(b, "stock", e->stock);
    json_member_time(b, "made_at", e->made_at_us, e->made_at_offset_minutes);
    json_member_text(b, "member", e->member);
    write_response(b, "bias", e, BIAS);
    write_response(b, "level", e, LEVEL);
    json_name(b, "slip");
    if (e->slip)
        json_text(b, e->slip);
    else
        buffer_text(b, "null");
    buffer_char(b, '}');
}

static bool collect(struct house *house, struct review *v, struct fault *f)
{
    struct reader *r = reader_take(house->store, f);
    struct calibration_filter newest = {.since_us = CLOCK_NONE, .newest_first = true, .limit = LIMIT_REVIEW_ROWS};
    bool ok = r && walk_reviews(r, take_accepted, v, f) == READ_OK && !v->failed &&
              walk_calibrations(r, &newest, false, look_at, v, f) == READ_OK;
    reader_give(r);
    if (v->failed)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    return ok;
}

enum action_result action_review(struct house *house, struct exchange *x)
{
    static const char *const none[] = {NULL};
    struct fault f = {0};
    struct review v = {0};
    if (!parameters_allowed(&x->request, none, &f))
        return answer_fault(x, &f);
    v.list = arena_alloc(x->arena, LIMIT_REVIEW_LISTED * sizeof *v.list);
    v.slip = arena_alloc(x->arena, sizeof *v.slip);
    if (!v.list || !v.slip) {
        fault_add(&f, FAULT_MEMORY, "", "memory", "out of memory; try again");
        return answer_fault(x, &f);
    }
    struct view *view = live_take(house->live);
    v.view = view;
    bool ok = collect(house, &v, &f);
    mem_free(v.accepted);
    int64_t as_of = view->as_of;
    view_give(view);
    if (!ok)
        return answer_fault(x, &f);
    if (v.count)
        qsort(v.list, (size_t)v.count, sizeof *v.list, by_distance);
    struct buffer *b = json_body(x);
    buffer_format(b, "{\"as_of\":%lld,\"looked_at\":%ld,\"found\":%ld,\"calibrations\":[", (long long)as_of, v.looked_at, v.found);
    for (int i = 0; i < v.count; i++) {
        buffer_text(b, i ? ",\n" : "\n");
        write_suspect(b, &v.list[i]);
    }
    buffer_text(b, "]}\n");
    return answer_json(x);
}

enum action_result action_review_verdict(struct house *house, struct exchange *x)
{
    static const char *const none[] = {NULL};
    struct fault f = {0};
    struct uuid id;
    if (!parameters_allowed(&x->request, none, &f) || !path_uuid(x, 0, &id, &f) ||
        !wire_read_verdict(x->request.body, x->request.body_length, &f) ||
        !store_review_accept(house->store, x->request.who.member, &id, &f))
        return answer_fault(x, &f);
    x->reply.status = 204;
    return ACTION_DONE;
}
