/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who am I, signing in and out. Signing in trades a key for a cookie that scripts cannot read and other sites cannot send; it is worth what the key
 * is worth at each request (live/sessions.h).
 */
#include "session.h"
#include "actions.h"
#include "answer.h"

#include "../ground/secrets.h"
#include "../wire/people.h"
#include "../wire/wire.h"

#include <stdio.h>
#include <string.h>

static void fill(struct identity *out, const struct key_holder *holder)
{
    out->member = holder->member.id;
    out->key = holder->key;
    out->role = holder->role;
    snprintf(out->name, sizeof out->name, "%s", holder->member.name);
}

bool house_find_key(struct house *house, const char *key, struct identity *out)
{
    struct key_holder holder;
    if (!(session_shape(key) ? live_session_find(house->live, key, &holder) : live_find_key(house->live, key, &holder)))
        return false;
    fill(out, &holder);
    return true;
}

static enum action_result answer_who(struct house *house, struct exchange *x)
{
    const struct identity *who = &x->request.who;
    struct buffer *b = json_body(x);
    buffer_format(b, "{\"open\":%s,\"public_read\":%s,\"member\":", house->open ? "true" : "false", house->public_read ? "true" : "false");
    if (who->member)
        json_text(b, who->name);
    else
        buffer_text(b, "null");
    if (who->member)
        buffer_format(b, ",\"id\":%lld", (long long)who->member);
    buffer_format(b, ",\"role\":\"%s\",\"session\":%s}\n", role_choice((int)who->role), x->request.by_session ? "true" : "false");
    return answer_json(x);
}

/* RFC 6265, 4.1: nothing but Max-Age 0 ends a cookie at the browser. */
static void set_cookie(struct exchange *x, const char *token, long long seconds)
{
    bool secure = x->request.secure;
    snprintf(x->reply.set_cookie, sizeof x->reply.set_cookie, "%s=%s; Path=/; Max-Age=%lld; HttpOnly; SameSite=Strict%s",
             secure ? COOKIE_SECURE : COOKIE_PLAIN, token, seconds, secure ? "; Secure" : "");
}

bool session_begin(struct house *house, struct exchange *x, const char *key, struct fault *f)
{
    struct key_holder holder;
    char token[SESSION_TEXT];
    if (!live_find_key(house->live, key, &holder)) {
        x->reply.wrong_key = true;
        return fault_add(f, FAULT_NO_KEY, "key", "wrong-key",
                         "this key is not known here; check that all of it was copied, or ask a steward for a new one");
    }
    if (*x->request.session)
        live_session_end(house->live, x->request.session); /* a new one in its place: the old token is worth nothing (ASVS 7.2.4) */
    if (!live_session_open(house->live, holder.key, x->request.now_us, token))
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory; try again");
    set_cookie(x, token, LIMIT_SESSION_SECONDS);
    fill(&x->request.who, &holder);
    x->request.by_session = true;
    return true;
}

void session_over(struct house *house, struct exchange *x)
{
    if (*x->request.session)
        live_session_end(house->live, x->request.session);
    set_cookie(x, "", 0);
    if (x->request.by_session)
        x->request.who = (struct identity){.role = ROLE_NONE};
    x->request.by_session = false;
}

static enum action_result sign_in(struct house *house, struct exchange *x)
{
    struct fault f = {0};
    char key[LIMIT_SHORT_TEXT + 1];
    if (!wire_read_session(x->request.body, x->request.body_length, key, &f) || !session_begin(house, x, key, &f))
        return answer_fault(x, &f);
    return answer_who(house, x);
}

enum action_result action_session(struct house *house, struct exchange *x)
{
    if (x->request.method == HTTP_POST)
        return sign_in(house, x);
    if (x->request.method != HTTP_DELETE)
        return answer_who(house, x);
    session_over(house, x);
    x->reply.status = 204;
    return ACTION_DONE;
}
