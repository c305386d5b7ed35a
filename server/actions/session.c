/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who am I: what the presented key may do, so that a page can say it.
 */
#include "actions.h"
#include "answer.h"

#include "../ground/secrets.h"
#include "../wire/wire.h"

#include <stdio.h>

bool house_find_key(struct house *house, const char *key, struct identity *out)
{
    struct member_record member;
    if (!live_find_key(house->live, key, &member))
        return false;
    out->member = member.id;
    out->role = member.role;
    snprintf(out->name, sizeof out->name, "%s", member.name);
    return true;
}

static const char *role_text(enum role role)
{
    static const char *const names[] = {"none", "reader", "logger", "steward"};
    return names[role];
}

enum action_result action_session(struct house *house, struct exchange *x)
{
    struct buffer *b = json_body(x);
    if (x->request.method != HTTP_GET && x->request.method != HTTP_HEAD) {
        struct fault f = {0};
        fault_add(&f, FAULT_METHOD, "", "no-sessions", "send the key with each request: Authorization: Bearer bb1_…");
        return answer_fault(x, &f);
    }
    buffer_format(b, "{\"open\":%s,\"public_read\":%s,\"member\":", house->open ? "true" : "false", house->public_read ? "true" : "false");
    if (x->request.who.member)
        json_text(b, x->request.who.name);
    else
        buffer_text(b, "null");
    buffer_format(b, ",\"role\":\"%s\"}\n", role_text(x->request.who.role));
    return answer_json(x);
}
