/* SPDX-License-Identifier: GPL-3.0-or-later
 * See proxy.h. */
#include "proxy.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const uint8_t mapped[12] = {0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff};

/* Sets *four when it is an IPv4 address. */
static bool address_read(const char *text, uint8_t out[16], bool *four)
{
    *four = inet_pton(AF_INET, text, out + 12) == 1;
    if (*four)
        memcpy(out, mapped, sizeof mapped);
    return *four || inet_pton(AF_INET6, text, out) == 1;
}

static bool network_read(char *text, struct proxy_network *out)
{
    bool four;
    char *slash = strchr(text, '/'), *end;
    if (slash)
        *slash = '\0';
    if (!address_read(text, out->address, &four))
        return false;
    out->bits = 128;
    if (!slash)
        return true;
    long bits = strtol(slash + 1, &end, 10);
    if (slash[1] < '0' || slash[1] > '9' || *end || bits > (four ? 32 : 128))
        return false;
    out->bits = (int)bits + (four ? 96 : 0);
    return true;
}

/* The piece [text, end) without blanks around it; false when it does not fit. */
static bool piece(const char *text, const char *end, char *out, size_t size)
{
    while (text < end && (*text == ' ' || *text == '\t'))
        text++;
    while (end > text && (end[-1] == ' ' || end[-1] == '\t'))
        end--;
    size_t n = (size_t)(end - text);
    if (n == 0 || n >= size)
        return false;
    memcpy(out, text, n);
    out[n] = '\0';
    return true;
}

bool proxies_read(const char *text, struct proxies *out, struct fault *f)
{
    out->count = 0;
    for (const char *p = text;; p++) {
        const char *end = p + strcspn(p, ",");
        char one[64];
        if (out->count == LIMIT_TRUSTED_PROXIES)
            return fault_add(f, FAULT_UNACCEPTABLE, "trusted-proxy", "too-many", "at most %d addresses or networks can be named",
                             LIMIT_TRUSTED_PROXIES);
        if (!piece(p, end, one, sizeof one) || !network_read(one, &out->list[out->count]))
            return fault_add(f, FAULT_UNACCEPTABLE, "trusted-proxy", "not-an-address",
                             "'%.*s' is no address or network; write them like 10.0.0.5,fd00::/8", (int)(end - p > 60 ? 60 : end - p), p);
        out->count++;
        if (!*end)
            return true;
        p = end;
    }
}

static bool listed(const struct proxies *p, const uint8_t address[16])
{
    for (int i = 0; i < p->count; i++) {
        const struct proxy_network *n = &p->list[i];
        size_t whole = (size_t)n->bits / 8;
        uint8_t rest = (uint8_t)(0xff00 >> (n->bits % 8));
        if (memcmp(n->address, address, whole) == 0 && (whole == 16 || ((n->address[whole] ^ address[whole]) & rest) == 0))
            return true;
    }
    return false;
}

bool proxies_trust(const struct proxies *p, const struct sockaddr *peer)
{
    uint8_t address[16];
    if (!peer || peer->sa_family == AF_UNIX)
        return true;
    if (peer->sa_family == AF_INET) {
        memcpy(address, mapped, sizeof mapped);
        memcpy(address + 12, &((const struct sockaddr_in *)(const void *)peer)->sin_addr, 4);
    } else if (peer->sa_family == AF_INET6) {
        memcpy(address, &((const struct sockaddr_in6 *)(const void *)peer)->sin6_addr, 16);
    } else {
        return false;
    }
    return listed(p, address);
}

/* Some proxies add the port: "192.0.2.1:4711", "[2001:db8::1]:4711". */
static void without_port(char *text)
{
    char *colon = strchr(text, ':');
    if (text[0] == '[') {
        char *close = strchr(text, ']');
        if (close)
            *close = '\0';
        memmove(text, text + 1, strlen(text));
    } else if (colon && !strchr(colon + 1, ':')) {
        *colon = '\0';
    }
}

bool proxies_client(const struct proxies *p, const char *forwarded_for, char *out, size_t size)
{
    bool found = false, four;
    const char *end = forwarded_for + strlen(forwarded_for);
    while (end > forwarded_for) {
        const char *start = end;
        while (start > forwarded_for && start[-1] != ',')
            start--;
        char one[64];
        uint8_t address[16];
        if (!piece(start, end, one, sizeof one))
            return found;
        without_port(one);
        if (!address_read(one, address, &four))
            return found; /* what lies to the left of it was said by nobody who is believed */
        bool proxy = listed(p, address);
        if (strlen(one) < size) {
            snprintf(out, size, "%s", one);
            found = true;
        }
        if (!proxy || start == forwarded_for)
            return found;
        end = start - 1;
    }
    return found;
}
