/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Signing in and out for browsers without scripts: a form takes the key and gives the session's cookie. Who came here from a page that wants a key
 * goes back to it afterwards, and a form that was filled in and sent meanwhile comes back as it was filled in.
 */
#include "actions.h"
#include "answer.h"
#include "html.h"
#include "log_form.h"
#include "session.h"

#include "../wire/form.h"

#include <stdio.h>
#include <string.h>

#define HOME "/log"

struct wish {
    const char *then;  /* a path of ours to go to; "" = HOME */
    const char *typed; /* what was posted to /log, as it came; "" = nothing */
};

/* A path below our own root and nothing else: no other host (//, \\), no control characters, short enough for a Location. */
static bool local_path(const char *text)
{
    if (text[0] != '/' || strlen(text) >= sizeof((struct reply *)NULL)->location)
        return false;
    for (const char *p = text; *p; p++)
        if (*p <= ' ' || *p >= 0x7f || *p == '\\' || (p[0] == '/' && (p[1] == '/' || p[1] == '.')))
            return false;
    return true;
}

static void hidden(struct buffer *b, const char *name, const char *value)
{
    if (!*value)
        return;
    buffer_format(b, "<input type=\"hidden\" name=\"%s\" value=\"", name);
    html_attribute(b, value);
    buffer_text(b, "\">\n");
}

static enum action_result sign_in_page(struct exchange *x, int status, const struct wish *w, const char *problem)
{
    struct buffer *b = html_begin(x, "", "Sign in");
    x->reply.status = status;
    if (*w->typed)
        buffer_text(b, "<p class=\"problem\" role=\"alert\">Not logged yet: this club wants to know who logs. What you filled in is kept "
                       "and comes back "
                       "when you have signed in.</p>\n");
    buffer_text(b, "<section>\n<form action=\"sign-in\" method=\"post\">\n");
    hidden(b, "then", w->then);
    hidden(b, "typed", w->typed);
    buffer_format(
        b,
        "<div class=\"field wide\"><label for=\"key\">Your key</label><input id=\"key\" name=\"key\" type=\"password\" "
        "autocomplete=\"current-password\" autocapitalize=\"none\" spellcheck=\"false\" required aria-describedby=\"key-note\"%s>\n",
        problem ? " aria-invalid=\"true\"" : "");
    if (problem) {
        buffer_text(b, "<p class=\"problem\" role=\"alert\">");
        html_text(b, problem);
        buffer_text(b, "</p>\n");
    }
    buffer_text(b, "<p id=\"key-note\">A steward of the club makes keys; they begin with bb1_. This browser stays signed in for thirty "
                   "days, or until you "
                   "sign out; the key itself is not kept.</p></div>\n"
                   "<div class=\"wide actions\"><button type=\"submit\" class=\"main\">Sign in</button></div>\n</form>\n</section>\n");
    html_end(b);
    return answer_json(x);
}

void who_line(struct house *house, struct exchange *x, struct buffer *b)
{
    const struct identity *who = &x->request.who;
    if (house->open)
        return;
    if (!who->member) {
        buffer_text(b, "<p><a href=\"sign-in\">Sign in</a> with your key to log.</p>\n");
        return;
    }
    buffer_text(b, "<form action=\"sign-out\" method=\"post\" class=\"plainly\"><p>Signed in as ");
    html_text(b, who->name);
    buffer_format(b, ", %s. <button type=\"submit\" class=\"plain\">Sign out</button></p></form>\n",
                  who->role == ROLE_STEWARD  ? "steward"
                  : who->role == ROLE_LOGGER ? "logger"
                                             : "reader");
}

static enum action_result nothing_to_do(struct house *house, struct exchange *x)
{
    struct buffer *b = html_begin(x, "", house->open ? "This book is open" : "Signed in");
    if (house->open)
        buffer_text(b, "<p>No key is needed here.</p>\n");
    who_line(house, x, b);
    buffer_text(b, "<p><a href=\"log\">Where to start, and what was found</a></p>\n");
    html_end(b);
    return answer_json(x);
}

/* What was asked of a page, to ask it again: path and query, when they are short enough to go into a Location. */
static const char *address_of(struct exchange *x)
{
    const struct request *q = &x->request;
    struct buffer b;
    buffer_init(&b, sizeof x->reply.location - 1);
    buffer_text(&b, q->path);
    for (int i = 0; i < q->parameter_count; i++) {
        buffer_char(&b, i ? '&' : '?');
        percent_encode(&b, q->parameters[i].name);
        buffer_char(&b, '=');
        percent_encode(&b, q->parameters[i].value);
    }
    const char *whole = b.failed ? NULL : arena_text(x->arena, b.data, b.length);
    buffer_free(&b);
    return whole && local_path(whole) ? whole : "";
}

enum action_result action_sign_in_first(struct house *house, struct exchange *x)
{
    (void)house;
    struct wish w = {"", ""};
    if (x->request.method == HTTP_POST)
        w.typed = x->request.body ? x->request.body : "";
    else
        w.then = address_of(x);
    return sign_in_page(x, 401, &w, NULL);
}

static enum action_result go(struct house *house, struct exchange *x, const struct wish *w)
{
    if (*w->typed)
        return log_page_again(house, x, w->typed, strlen(w->typed));
    snprintf(x->reply.location, sizeof x->reply.location, "%s", *w->then ? w->then : HOME);
    struct buffer *b = html_begin(x, "", "Signed in");
    x->reply.status = 303; /* the next request is a GET (RFC 9110, 15.4.4) */
    buffer_text(b, "<p><a href=\"log\">Go on</a></p>\n");
    html_end(b);
    return answer_json(x);
}

static enum action_result posted(struct house *house, struct exchange *x)
{
    static const char *const fields[] = {"key", "then", "typed"};
    struct form *form = arena_alloc(x->arena, sizeof *form);
    struct fault f = {0};
    struct wish w = {"", ""};
    if (!form)
        return ACTION_DONE;
    bool ok = form_read(x->request.body ? x->request.body : "", x->request.body_length, x->arena, form, &f);
    for (int i = 0; ok && i < form->count; i++) {
        bool known = false;
        for (size_t k = 0; k < sizeof fields / sizeof *fields; k++)
            known |= !strcmp(form->fields[i].name, fields[k]);
        if (!known)
            ok =
                fault_add(&f, FAULT_UNACCEPTABLE, form->fields[i].name, "unknown-field", "this form has a key and nothing else to fill in");
    }
    if (ok) {
        const char *then = form_value(form, "then"), *typed = form_value(form, "typed");
        w.then = then && local_path(then) ? then : "";
        w.typed = typed ? typed : "";
    }
    char key[LIMIT_SHORT_TEXT + 1] = "";
    const char *given = ok ? form_value(form, "key") : NULL;
    if (given) {
        given += strspn(given, " \t\r\n");
        snprintf(key, sizeof key, "%.*s", (int)strcspn(given, " \t\r\n"), given);
    }
    if (ok && !*key)
        ok = fault_add(&f, FAULT_UNACCEPTABLE, "key", "required", "Paste the key that a steward gave you.");
    if (ok && session_begin(house, x, key, &f))
        return go(house, x, &w);
    return sign_in_page(x, fault_status(&f), &w, f.items[0].detail);
}

enum action_result action_sign_in(struct house *house, struct exchange *x)
{
    static const char *const names[] = {"then", NULL};
    struct fault f = {0};
    if (!parameters_allowed(&x->request, names, &f))
        return answer_fault(x, &f);
    if (house->open || (x->request.method != HTTP_POST && x->request.who.member))
        return nothing_to_do(house, x);
    if (x->request.method == HTTP_POST)
        return posted(house, x);
    const char *then = request_parameter(&x->request, "then");
    struct wish w = {then && local_path(then) ? then : "", ""};
    return sign_in_page(x, 200, &w, NULL);
}

enum action_result action_sign_out(struct house *house, struct exchange *x)
{
    session_over(house, x);
    struct buffer *b = html_begin(x, "", "Signed out");
    buffer_text(b, "<p>This browser is signed out. <a href=\"sign-in\">Sign in</a></p>\n");
    html_end(b);
    return answer_json(x);
}
