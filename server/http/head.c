/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * libmicrohttpd 0.9.75 takes one message with Content-Length and Transfer-Encoding, two Content-Lengths, no Host, names with blanks and folded
 * lines; a proxy in front may frame those otherwise and a second request be smuggled in. So they are refused here (RFC 9112, 5.1, 5.2, 6.3, 3.2).
 */
#include "head.h"

#include <string.h>
#include <strings.h>

static bool alphanumeric(unsigned char c)
{
    return (unsigned char)((c | 0x20) - 'a') < 26 || (unsigned char)(c - '0') < 10;
}

static bool token_character(unsigned char c)
{
    return alphanumeric(c) || c == '-' || (c != '\0' && strchr("!#$%&'*+.^_`|~", c));
}

/* The first guard that is violated decides. */
static void refuse(struct head *head, enum refusal_number number)
{
    if (head->refused == REFUSE_NOTHING)
        head->refused = number;
}

static void once(struct head *head, const char **place, const char *value)
{
    if (*place)
        refuse(head, REFUSE_REPEATED_HEADER);
    else
        *place = value;
}

static void take_length(struct head *head, const char *value, size_t n)
{
    if (head->lengths++ > 0) {
        refuse(head, REFUSE_LENGTHS);
        return;
    }
    int64_t length = 0;
    for (size_t i = 0; i < n; i++) {
        if (value[i] < '0' || value[i] > '9' || length > (INT64_MAX - 9) / 10) {
            refuse(head, REFUSE_LENGTH);
            return;
        }
        length = length * 10 + (value[i] - '0');
    }
    if (n == 0)
        refuse(head, REFUSE_LENGTH);
    head->content_length = length;
}

static bool is(const char *name, size_t n, const char *text)
{
    return strlen(text) == n && strncasecmp(name, text, n) == 0;
}

static void take(struct head *head, const char *name, size_t n, const char *value, size_t value_n)
{
    switch (n) {
    case 4:
        if (is(name, n, "Host") && head->hosts++ == 0)
            head->host = value;
        break;
    case 6:
        if (is(name, n, "Accept") && !head->accept)
            head->accept = value;
        else if (is(name, n, "Origin"))
            once(head, &head->origin, value);
        else if (is(name, n, "Cookie")) /* RFC 6265, 5.4: one line */
            once(head, &head->cookie, value);
        else if (is(name, n, "Expect"))
            once(head, &head->expect, value);
        break;
    case 8:
        if (is(name, n, "If-Match") && head->if_matches++ == 0)
            head->if_match = value;
        break;
    case 12:
        if (is(name, n, "Content-Type"))
            once(head, &head->content_type, value);
        break;
    case 13:
        if (is(name, n, "Authorization"))
            once(head, &head->authorization, value);
        else if (is(name, n, "If-None-Match") && head->if_none_matches++ == 0)
            head->if_none_match = value;
        break;
    case 14:
        if (is(name, n, "Content-Length"))
            take_length(head, value, value_n);
        else if (is(name, n, "Sec-Fetch-Site"))
            once(head, &head->fetch_site, value);
        break;
    case 15:
        if (is(name, n, "X-Forwarded-For"))
            head->forwarded_for = value;
        break;
    case 16:
        if (is(name, n, "Content-Encoding"))
            once(head, &head->content_encoding, value);
        break;
    case 17:
        if (is(name, n, "Transfer-Encoding"))
            head->codings++;
        else if (is(name, n, "X-Forwarded-Proto"))
            head->forwarded_proto = value;
        break;
    default: break;
    }
}

/* 0.9.75 cuts the head in place, so its pieces tell how the bytes lay: a line must begin two bytes (CR, LF) after the last one's end, a value lie
 * behind its name, the head end four bytes after its last value. A folded line (which it glues to the *name*, elsewhere), a bare LF, a NUL and a line
 * without a name (at which it takes the head for finished) all break that. Only addresses are compared; 1.0 refuses those itself. */
static bool cuts_in_place(void)
{
    return MHD_get_version()[0] == '0'; /* of the library that runs, not of the header */
}

struct walk {
    struct head *head;
    bool in_place;
    uintptr_t end; /* of the last line's text */
};

static enum MHD_Result header(void *cls, enum MHD_ValueKind kind, const char *name, size_t name_n, const char *value, size_t value_n)
{
    (void)kind;
    struct walk *walk = cls;
    struct head *head = walk->head;
    for (size_t i = 0; i < name_n; i++)
        if (!token_character((unsigned char)name[i]))
            refuse(head, REFUSE_HEADER_NAME);
    if (name_n == 0)
        refuse(head, REFUSE_HEADER_NAME);
    if (walk->in_place) {
        if ((uintptr_t)name != walk->end + 2 || (uintptr_t)value <= (uintptr_t)name + name_n)
            refuse(head, REFUSE_LINES);
        walk->end = (uintptr_t)value + value_n;
    }
    if (!value)
        value = "";
    for (size_t i = 0; i < value_n; i++)
        if (((unsigned char)value[i] < 0x20 && value[i] != '\t') || value[i] == 0x7f)
            refuse(head, REFUSE_HEADER_VALUE);
    take(head, name, name_n, value, value_n);
    return MHD_YES;
}

/* uri-host [":" port], loosely: no user, no path, no blanks. */
static bool host_shape(const char *host)
{
    size_t n = strlen(host);
    while (n > 0 && (host[n - 1] == ' ' || host[n - 1] == '\t'))
        n--;
    if (n == 0 || n > 255)
        return false;
    for (size_t i = 0; i < n; i++)
        if (alphanumeric((unsigned char)host[i]) || host[i] == '.' || host[i] == ':' || host[i] == '-')
            continue; /* the usual ones, without a search */
        else if ((unsigned char)host[i] <= 0x20 || (unsigned char)host[i] >= 0x7f || strchr("/\\@?#<>\"'{}|^`,;", host[i]))
            return false;
    return true;
}

static void check_framing(struct head *head, const char *version)
{
    if (head->codings && head->lengths)
        refuse(head, REFUSE_LENGTH_AND_ENCODING);
    if (head->codings)
        refuse(head, REFUSE_ENCODING);
    bool newest = strcmp(version, "HTTP/1.1") == 0;
    if (!newest && strcmp(version, "HTTP/1.0") != 0)
        refuse(head, REFUSE_VERSION);
    if (head->hosts > 1)
        refuse(head, REFUSE_HOSTS);
    if (newest && head->hosts == 0)
        refuse(head, REFUSE_NO_HOST);
}

/* Behind the last line comes its CR LF, an empty line and no more. */
static void check_end(struct MHD_Connection *connection, const char *method, struct walk *walk)
{
    const union MHD_ConnectionInfo *info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    if (walk->in_place && info && (uintptr_t)method + info->header_size != walk->end + 4)
        refuse(walk->head, REFUSE_LINES);
}

void head_read(struct MHD_Connection *connection, const char *method, const char *version, const struct target *target, struct head *head)
{
    struct walk walk = {head, cuts_in_place(), (uintptr_t)version + strlen(version)};
    memset(head, 0, sizeof *head);
    MHD_get_connection_values_n(connection, MHD_HEADER_KIND, header, &walk);
    check_end(connection, method, &walk);
    if (walk.in_place && (uintptr_t)target->raw_end + 1 != (uintptr_t)version)
        refuse(head, REFUSE_NUL);
    check_framing(head, version);
    if (target->authority)
        head->host = target->authority;
    if (head->host && !host_shape(head->host))
        refuse(head, REFUSE_HOST);
    if (head->expect && strcasecmp(head->expect, "100-continue") != 0)
        refuse(head, REFUSE_EXPECT);
    head->body_to_come = head->content_length > 0 || head->codings > 0;
}
