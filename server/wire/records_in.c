/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One body or one line into one record: parse, read by the tables, make the ids agree.
 */
#include "members.h"

#include "../trade/check.h"

#include <stdio.h>
#include <string.h>

/* ---- ids ---- */

static void agree_slug(struct reading *r, const char *name, char have[LIMIT_SLUG + 1], const char *path)
{
    if (!path) {
        if (!*have && r->fine)
            reading_wrong(r, name, "required", "the %s is needed; add the member '%s'", name, name);
    } else if (*have && strcmp(have, path)) {
        reading_wrong(r, name, "id-differs", "the body says '%s' and the path '%.64s'; leave it out or make them the same", have, path);
    } else {
        snprintf(have, LIMIT_SLUG + 1, "%s", path);
    }
}

static void agree_uuid(struct reading *r, struct uuid *have, const struct uuid *path)
{
    static const struct uuid none;
    bool is_given = !uuid_same(have, &none);
    if (!path) {
        if (!is_given && r->fine)
            reading_wrong(r, "id", "required", "the record's UUID is needed; add the member 'id'");
    } else if (is_given && !uuid_same(have, path)) {
        reading_wrong(r, "id", "id-differs", "the body's id is not the path's; leave it out or make them the same");
    } else {
        *have = *path;
    }
}

/* ---- bodies ---- */

static bool read_body(const char *json, size_t n, struct reading *r, const struct member *table, void *record, const char *what)
{
    struct document d;
    if (!document_parse_object(&d, json, n, r->f))
        return r->fine = false;
    struct member_set sets[] = {{table, record}, {added_members, NULL}};
    read_members(r, d.root, sets, 2, what);
    document_free(&d);
    return r->fine;
}

bool wire_read_deck(const char *json, size_t n, const char *id, struct arena *a, struct deck *out, struct fault *f)
{
    struct reading r;
    reading_start(&r, a, f);
    deck_init(out);
    read_body(json, n, &r, deck_members, out, "a deck");
    agree_slug(&r, "id", out->id, id);
    return r.fine;
}

bool wire_read_stock(const char *json, size_t n, const char *id, struct arena *a, struct stock *out, struct fault *f)
{
    struct reading r;
    reading_start(&r, a, f);
    stock_init(out);
    read_body(json, n, &r, stock_members, out, "a stock");
    agree_slug(&r, "id", out->id, id);
    return r.fine;
}

bool wire_read_calibration(const char *json, size_t n, const struct uuid *id, struct arena *a, struct calibration *out, struct fault *f)
{
    struct reading r;
    reading_start(&r, a, f);
    calibration_init(out);
    read_body(json, n, &r, calibration_members, out, "a calibration");
    agree_uuid(&r, &out->id, id);
    return r.fine;
}

/* `resets` has no value of its own for "not given". */
static void default_resets(const json_t *object, struct service *s)
{
    const json_t *resets = json_object_get(object, "resets");
    if (!resets || json_is_null(resets))
        s->resets = service_kind_resets(s->kind);
}

bool wire_read_service(const char *json, size_t n, const char *deck, const struct uuid *id, struct arena *a, struct service *out,
                       struct fault *f)
{
    struct reading r;
    reading_start(&r, a, f);
    service_init(out);
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct member_set sets[] = {{service_members, out}, {added_members, NULL}};
    read_members(&r, d.root, sets, 2, "a service");
    default_resets(d.root, out);
    document_free(&d);
    agree_slug(&r, "deck", out->deck, deck);
    agree_uuid(&r, &out->id, id);
    return r.fine;
}

static void need_check_kind(struct reading *r, const json_t *object, const char *name)
{
    const json_t *kind = json_object_get(object, name);
    if (!kind || json_is_null(kind))
        reading_wrong(r, name, "required", "say what was checked: playback or control-tape");
}

bool wire_read_check(const char *json, size_t n, const char *deck, const struct uuid *id, struct arena *a, struct deck_check *out,
                     struct fault *f)
{
    struct reading r;
    reading_start(&r, a, f);
    deck_check_init(out);
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct member_set sets[] = {{check_members, out}, {added_members, NULL}};
    read_members(&r, d.root, sets, 2, "a check");
    need_check_kind(&r, d.root, "kind");
    document_free(&d);
    agree_slug(&r, "deck", out->deck, deck);
    agree_uuid(&r, &out->id, id);
    return r.fine;
}

bool wire_read_void(const char *json, size_t n, char reason[LIMIT_REASON + 1], struct fault *f)
{
    static const struct member members[] = {{.name = "reason", .type = MEMBER_TEXT, .room = LIMIT_REASON}, MEMBERS_END};
    struct reading r;
    reading_start(&r, NULL, f);
    reason[0] = '\0';
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct member_set set = {members, reason};
    read_members(&r, d.root, &set, 1, "a void");
    document_free(&d);
    if (r.fine && !reason[strspn(reason, " ")])
        reading_wrong(&r, "reason", "required", "say why it should not count, e.g. \"wrong deck\"");
    return r.fine;
}

/* ---- lines ---- */

static const struct {
    const char *name, *what;
    const struct member *members;
} KINDS[] = {[LINE_DECK] = {"deck", "a deck", deck_members},
             [LINE_STOCK] = {"stock", "a stock", stock_members},
             [LINE_CALIBRATION] = {"calibration", "a calibration", calibration_members},
             [LINE_SERVICE] = {"service", "a service line", service_line_members},
             [LINE_CHECK] = {"check", "a check line", check_line_members},
             [LINE_END] = {"end", "an end line", line_end_members}};

static bool kind_of(struct reading *r, const json_t *object, enum line_kind *kind)
{
    const char *name = json_string_value(json_object_get(object, "kind"));
    for (int k = LINE_DECK; name && k <= LINE_END; k++)
        if (!strcmp(KINDS[k].name, name)) {
            *kind = (enum line_kind)k;
            return true;
        }
    if (name)
        reading_wrong(r, "kind", "not-in-list", "'%.40s' is not one of deck, stock, calibration, service, check, end", name);
    else
        reading_wrong(r, "kind", "required", "each line needs its \"kind\": deck, stock, calibration, service, check or end");
    return false;
}

static void line_init(struct line *l, enum line_kind kind)
{
    l->kind = kind;
    l->revision = 0;
    l->is_void = false;
    l->void_reason[0] = l->member[0] = l->origin[0] = l->end_sha256[0] = '\0';
    l->end_rows = -1;
    switch (kind) {
    case LINE_DECK: deck_init(&l->as.deck); break;
    case LINE_STOCK: stock_init(&l->as.stock); break;
    case LINE_CALIBRATION: calibration_init(&l->as.calibration); break;
    case LINE_SERVICE: service_init(&l->as.service); break;
    case LINE_CHECK: deck_check_init(&l->as.check); break;
    case LINE_END: break;
    }
}

static void line_needs(struct reading *r, const json_t *object, struct line *l)
{
    switch (l->kind) {
    case LINE_DECK: agree_slug(r, "id", l->as.deck.id, NULL); break;
    case LINE_STOCK: agree_slug(r, "id", l->as.stock.id, NULL); break;
    case LINE_CALIBRATION: agree_uuid(r, &l->as.calibration.id, NULL); break;
    case LINE_SERVICE:
        agree_uuid(r, &l->as.service.id, NULL);
        default_resets(object, &l->as.service);
        break;
    case LINE_CHECK:
        agree_uuid(r, &l->as.check.id, NULL);
        need_check_kind(r, object, "check_kind");
        break;
    case LINE_END:
        if (l->end_rows < 0 || !*l->end_sha256)
            reading_wrong(r, l->end_rows < 0 ? "rows" : "sha256", "required", "an end line has \"rows\" and \"sha256\"");
        break;
    }
    if (l->revision < 0)
        reading_wrong(r, "revision", "out-of-range", "revisions count from 1");
}

bool wire_read_line(const char *json, size_t n, struct arena *a, struct line *out, struct fault *f)
{
    struct reading r;
    enum line_kind kind;
    reading_start(&r, a, f);
    struct document d;
    if (!document_parse_object(&d, json, n, f))
        return false;
    if (kind_of(&r, d.root, &kind)) {
        line_init(out, kind);
        struct member_set sets[] = {{KINDS[kind].members, kind == LINE_END ? (void *)out : (void *)&out->as}, {line_members, out}};
        read_members(&r, d.root, sets, kind == LINE_END ? 1 : 2, KINDS[kind].what);
        line_needs(&r, d.root, out);
    }
    document_free(&d);
    return r.fine;
}
