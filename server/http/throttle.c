/* SPDX-License-Identifier: GPL-3.0-or-later
 * See throttle.h. */
#include "throttle.h"

#include "../ground/limits.h"
#include "../ground/memory.h"

#include <arpa/inet.h>
#include <pthread.h>
#include <string.h>

struct watched {
    uint8_t who[16]; /* address; all zero: a Unix socket */
    int64_t since_us;
    int wrong; /* 0 = free */
};

struct throttle {
    pthread_mutex_t lock;
    struct watched list[LIMIT_WRONG_KEY_ADDRESSES];
};

struct throttle *throttle_new(void)
{
    struct throttle *t = mem_zero(1, sizeof *t);
    if (t)
        pthread_mutex_init(&t->lock, NULL);
    return t;
}

void throttle_free(struct throttle *t)
{
    if (!t)
        return;
    pthread_mutex_destroy(&t->lock);
    mem_free(t);
}

static void network_of(const char *address, uint8_t out[16])
{
    memset(out, 0, 16);
    if (inet_pton(AF_INET, address, out + 12) == 1) {
        out[10] = out[11] = 0xff; /* RFC 4291, 2.5.5.2 */
    } else if (inet_pton(AF_INET6, address, out) == 1) {
        static const uint8_t mapped[12] = {0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff};
        if (memcmp(out, mapped, sizeof mapped) != 0)
            memset(out + 8, 0, 8);
    }
}

enum throttle_says throttle_wrong(struct throttle *t, const char *address, int64_t now_us)
{
    uint8_t who[16];
    network_of(address, who);
    pthread_mutex_lock(&t->lock);
    struct watched *e = NULL, *spare = &t->list[0];
    for (int i = 0; i < LIMIT_WRONG_KEY_ADDRESSES && !e; i++) {
        struct watched *w = &t->list[i];
        if (w->wrong && now_us - w->since_us > LIMIT_WRONG_KEY_SECONDS * 1000000LL)
            w->wrong = 0;
        if (w->wrong && memcmp(w->who, who, sizeof who) == 0)
            e = w;
        else if (spare->wrong && (!w->wrong || w->since_us < spare->since_us))
            spare = w;
    }
    if (!e) {
        e = spare;
        memcpy(e->who, who, sizeof who);
        e->since_us = now_us;
        e->wrong = 0;
    }
    int wrong = ++e->wrong;
    pthread_mutex_unlock(&t->lock);
    return wrong <= LIMIT_WRONG_KEYS ? THROTTLE_FINE : wrong == LIMIT_WRONG_KEYS + 1 ? THROTTLE_FIRST_TOO_MANY : THROTTLE_TOO_MANY;
}
