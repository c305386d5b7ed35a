/* SPDX-License-Identifier: GPL-3.0-or-later
 * See people.h. */
#include "people.h"

#include "members.h"

#include <string.h>

const char *role_choice(int v)
{
    static const char *const names[] = {"none", "reader", "logger", "steward"};
    return v >= 0 && v < 4 ? names[v] : NULL;
}

const char *scope_choice(int v)
{
    static const char *const names[] = {"all", "read", "log"};
    return v >= 0 && v < 3 ? names[v] : NULL;
}

static const char *verdict_choice(int v)
{
    return v == 0 ? "accept" : NULL;
}

static bool read_object(struct reading *r, const char *json, size_t n, const struct member *table, void *record, const char *what,
                        struct fault *f)
{
    struct document d;
    reading_start(r, NULL, f);
    if (!document_parse_object(&d, json, n, f))
        return false;
    struct member_set set = {table, record};
    read_members(r, d.root, &set, 1, what);
    document_free(&d);
    return r->fine;
}

/* A name is shown in lists and logs: at least something to see. */
static bool blank(const char *text)
{
    return !text[strspn(text, " ")];
}

bool wire_read_person(const char *json, size_t n, bool change, struct person_body *out, struct fault *f)
{
    static const struct member members[] = {TEXT(struct person_body, name), CHOICE(struct person_body, role, role_choice, ROLE_NONE),
                                            TEXT(struct person_body, key_name), MEMBERS_END};
    struct reading r;
    memset(out, 0, sizeof *out);
    if (!read_object(&r, json, n, members, out, "a member", f))
        return false;
    bool named = !blank(out->name), roled = out->role != ROLE_NONE;
    if (change ? !named && !roled : !named)
        reading_wrong(&r, "name", "required", change ? "give a new name or a new role" : "say how the club calls this member");
    if (!change && !roled)
        reading_wrong(&r, "role", "required", "say what this member may do: reader, logger or steward");
    if (change && *out->key_name)
        reading_wrong(&r, "key_name", "not-here", "a key is made by itself, for a member who is there");
    return r.fine;
}

bool wire_read_key_wish(const char *json, size_t n, struct key_body *out, struct fault *f)
{
    static const struct member members[] = {TEXT(struct key_body, name),
                                            CHOICE(struct key_body, scope, scope_choice, WISH_SCOPE_ALL),
                                            {.name = "expires_at",
                                             .type = MEMBER_TIME,
                                             .at = offsetof(struct key_body, expires_us),
                                             .room = offsetof(struct key_body, offset_minutes)},
                                            MEMBERS_END};
    struct reading r;
    memset(out, 0, sizeof *out);
    out->expires_us = CLOCK_NONE;
    return read_object(&r, json, n, members, out, "a key", f);
}

struct session_body {
    char key[LIMIT_SHORT_TEXT + 1];
};

bool wire_read_session(const char *json, size_t n, char key[LIMIT_SHORT_TEXT + 1], struct fault *f)
{
    static const struct member members[] = {TEXT(struct session_body, key), MEMBERS_END};
    struct session_body body = {.key = ""};
    struct reading r;
    if (!read_object(&r, json, n, members, &body, "a session", f))
        return false;
    if (!*body.key)
        reading_wrong(&r, "key", "required", "send the key you were given: {\"key\":\"bb1_\xE2\x80\xA6\"}");
    memcpy(key, body.key, sizeof body.key);
    return r.fine;
}

struct verdict_body {
    int verdict;
};

bool wire_read_verdict(const char *json, size_t n, struct fault *f)
{
    static const struct member members[] = {CHOICE(struct verdict_body, verdict, verdict_choice, -1), MEMBERS_END};
    struct verdict_body body = {.verdict = -1};
    struct reading r;
    if (!read_object(&r, json, n, members, &body, "a verdict", f))
        return false;
    if (body.verdict < 0)
        reading_wrong(&r, "verdict", "required", "the verdict is \"accept\"; to correct it PUT the calibration, to take it out void it");
    return r.fine;
}
