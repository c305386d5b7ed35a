/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The session's token out of a Cookie header (RFC 6265, 4.2.1). Over TLS only the name with __Host- counts: no other site of the domain, and nothing
 * that was set without TLS, can plant one (RFC 6265bis, 4.1.3.2).
 */
#include "inside.h"

#include <string.h>
#include <strings.h>

bool call_is_secure(const struct call *c)
{
    const union MHD_ConnectionInfo *tls = MHD_get_connection_info(c->client->connection, MHD_CONNECTION_INFO_GNUTLS_SESSION);
    if (tls && tls->tls_session)
        return true;
    const struct http *h = c->client->http;
    const char *said = c->head.forwarded_proto;
    if (!h->options.behind_proxy || !said)
        return false;
    const union MHD_ConnectionInfo *peer = MHD_get_connection_info(c->client->connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const char *comma = strrchr(said, ',');
    said = comma ? comma + 1 : said;
    said += strspn(said, " \t");
    return strncasecmp(said, "https", 5) == 0 && !said[5 + strspn(said + 5, " \t")] &&
           proxies_trust(&h->proxies, peer ? peer->client_addr : NULL);
}

bool cookie_token(const char *cookie, bool secure, char out[KEY_TEXT])
{
    const char *name = secure ? COOKIE_SECURE : COOKIE_PLAIN;
    size_t n = strlen(name);
    for (const char *p = cookie; *p;) {
        p += strspn(p, " \t;");
        size_t length = strcspn(p, ";");
        if (length > n && strncmp(p, name, n) == 0 && p[n] == '=') {
            const char *value = p + n + 1;
            length -= n + 1;
            while (length && (value[length - 1] == ' ' || value[length - 1] == '\t'))
                length--;
            if (length >= KEY_TEXT)
                return false;
            memcpy(out, value, length);
            out[length] = '\0';
            return length > 0;
        }
        p += length;
    }
    return false;
}
