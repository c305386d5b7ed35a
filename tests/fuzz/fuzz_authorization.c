/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a head says of who asks: Authorization, Cookie, and the list that proxies write. Each reader gets the whole value, as any of them may be sent anything. */
#include "fuzz.h"

#include "http/inside.h"

#include <arpa/inet.h>
#include <string.h>

static void bearer(const char *value)
{
    char key[KEY_TEXT + 1] = "";
    if (!bearer_key(value, key))
        return;
    size_t n = strlen(key);
    PROMISE(n <= KEY_TEXT && key[0] != ' ');
    PROMISE(strstr(value + 6, key));
    PROMISE(n == KEY_TEXT || n == 0 ||
            (key[n - 1] != ' ' && key[n - 1] != '\t')); /* at KEY_TEXT it was cut: too long for a key in any case */
    if (key_shape(key))
        PROMISE(n == KEY_TEXT - 1);
}

static void cookie(const char *value, bool secure)
{
    char token[KEY_TEXT] = "", again[KEY_TEXT], alone[2 * KEY_TEXT];
    if (!cookie_token(value, secure, token))
        return;
    PROMISE(*token && strstr(value, token) && !strchr(token, ';'));
    snprintf(alone, sizeof alone, "%s=%s", secure ? COOKIE_SECURE : COOKIE_PLAIN, token);
    PROMISE(cookie_token(alone, secure, again) && !strcmp(again, token));
}

static void forwarded(const char *value)
{
    struct proxies p = {0}, none = {0};
    struct fault f = {0};
    char out[INET6_ADDRSTRLEN];
    struct in6_addr address;
    PROMISE(proxies_read("10.0.0.0/8,fd00::/8", &p, &f));
    for (int i = 0; i < 2; i++)
        if (proxies_client(i ? &p : &none, value, out, sizeof out))
            PROMISE(inet_pton(AF_INET, out, &address) == 1 || inet_pton(AF_INET6, out, &address) == 1);
    PROMISE(proxies_read(value, &p, &f) != fault_set(&f));
}

void fuzz_authorization(const uint8_t *bytes, size_t n)
{
    char *value = malloc(n + 1);
    PROMISE(value);
    memcpy(value, bytes, n);
    value[n] = '\0';
    bearer(value);
    cookie(value, false);
    cookie(value, true);
    forwarded(value);
    free(value);
}
