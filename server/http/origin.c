/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which site a request comes from. Browsers say so by Sec-Fetch-Site (not over plain http to another machine) or by Origin; a client that
 * sends neither is no browser acting for a foreign page.
 */
#include "inside.h"

#include <arpa/inet.h>
#include <string.h>
#include <strings.h>

/* Length of an authority without a default port of either scheme and without blanks behind. */
static size_t without_default_port(const char *authority)
{
    size_t n = strcspn(authority, " \t");
    if (n > 3 && strncmp(authority + n - 3, ":80", 3) == 0)
        return n - 3;
    if (n > 4 && strncmp(authority + n - 4, ":443", 4) == 0)
        return n - 4;
    return n;
}

bool origin_is_own(const struct head *head)
{
    if (head->fetch_site)
        return strcasecmp(head->fetch_site, "same-origin") == 0 || strcasecmp(head->fetch_site, "none") == 0;
    if (!head->origin)
        return true;
    const char *authority = strstr(head->origin, "://");
    if (!authority || !head->host)
        return false;
    authority += 3;
    size_t n = without_default_port(authority);
    return n == without_default_port(head->host) && strncasecmp(authority, head->host, n) == 0;
}

/* A page of another site can make its own name point to a loopback address (DNS rebinding); the browser then sends that name as Host. An
 * address cannot be made to point elsewhere. */
bool host_is_own(const struct http *h, const char *host)
{
    size_t n = strcspn(host, " \t");
    const char *colon = memrchr(host, ':', n), *bracket = memrchr(host, ']', n);
    if (colon && (!bracket || colon > bracket))
        n = (size_t)(colon - host);
    char name[64];
    if (n == 0 || n >= sizeof name)
        return false;
    memcpy(name, host, n);
    name[n] = '\0';
    if (strcasecmp(name, "localhost") == 0 || strcmp(name, "[::1]") == 0 || strcasecmp(name, h->own_host) == 0)
        return true;
    struct in_addr four;
    return inet_pton(AF_INET, name, &four) == 1 && (ntohl(four.s_addr) >> 24) == 127;
}
