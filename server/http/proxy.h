/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Which proxies are believed, and what they say of who asks.
 */
#ifndef BIASBOOK_HTTP_PROXY_H
#define BIASBOOK_HTTP_PROXY_H

#include "../ground/fault.h"
#include "../ground/limits.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/socket.h>

struct proxies {
    int count;
    struct proxy_network {
        uint8_t address[16]; /* IPv4 as ::ffff:a.b.c.d (RFC 4291, 2.5.5.2) */
        int bits;            /* of the prefix, 0-128 */
    } list[LIMIT_TRUSTED_PROXIES];
};

/* "10.0.0.5,fd00::/8": addresses or networks, separated by commas. False and a fault that names the wrong one. */
bool proxies_read(const char *text, struct proxies *out, struct fault *f);
/* NULL, a Unix socket: its file's permissions say who may. */
bool proxies_trust(const struct proxies *p, const struct sockaddr *peer);
/* The client in a list that each proxy added to on the right: the first address from there that is no believed proxy's. False: there is none to be read. */
bool proxies_client(const struct proxies *p, const char *forwarded_for, char *out, size_t size);

#endif
