/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * libmicrohttpd 0.9.75 takes one message with Content-Length and Transfer-Encoding, two Content-Lengths, no Host, names with blanks and folded
 * lines; a proxy in front may frame those otherwise and a second request be smuggled in. So they are refused here (RFC 9112, 5.1, 5.2, 6.3, 3.2).
 */
#include "head.h"

#include <string.h>
#include <strings.h>

static bool token_character(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || (c != '\0' && strchr("!#$%&'*+-.^_`|~", c));
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
    case 16:
        if (is(name, n, "Content-Encoding"))
            once(head, &head->content_encoding, value);
        break;
    case 17:
        if (is(name, n, "Transfer-Encoding"))
            head->codings++;
        break;
    default: break;
    }
}

/* A folded line makes 0.9.75 glue the continuation to the *name*, in other memory; an ordinary name lies directly before its value. */
static bool folded(const char *name, const char *value)
{
    return MHD_VERSION < 0x01000000 && (uintptr_t)name >= (uintptr_t)value;
}

static enum MHD_Result header(void *cls, enum MHD_ValueKind kind, const char *name, size_t name_n, const char *value, size_t value_n)
{
    (void)kind;
    struct head *head = cls;
    for (size_t i = 0; i < name_n; i++)
        if (!token_character((unsigned char)name[i]))
            refuse(head, REFUSE_HEADER_NAME);
    if (name_n == 0)
        refuse(head, REFUSE_HEADER_NAME);
    if (!value) {
        value = "";
        value_n = 0;
    } else if (folded(name, value)) {
        refuse(head, REFUSE_FOLDED);
    }
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
        if ((unsigned char)host[i] <= 0x20 || (unsigned char)host[i] >= 0x7f || strchr("/\\@?#<>\"'{}|^`,;", host[i]))
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

void head_read(struct MHD_Connection *connection, const char *version, const char *authority, struct head *head)
{
    memset(head, 0, sizeof *head);
    MHD_get_connection_values_n(connection, MHD_HEADER_KIND, header, head);
    check_framing(head, version);
    if (authority)
        head->host = authority;
    if (head->host && !host_shape(head->host))
        refuse(head, REFUSE_HOST);
    if (head->expect && strcasecmp(head->expect, "100-continue") != 0)
        refuse(head, REFUSE_EXPECT);
    head->body_to_come = head->content_length > 0 || head->codings > 0;
}
