/* SPDX-License-Identifier: GPL-3.0-or-later
 * See sessions.h. A plain array: a club has tens of sessions, and a look-up compares 32 bytes with each. */
#include "sessions.h"

#include "../ground/memory.h"
#include "../ground/secrets.h"

#include <pthread.h>
#include <string.h>

struct session {
    uint8_t hash[DIGEST_BYTES];
    int64_t key; /* 0 = free */
    int64_t opened_us, used_us;
};

struct sessions {
    pthread_mutex_t lock;
    struct session *list; /* LIMIT_SESSIONS, made with the first one */
    int top;              /* those behind it were never used */
};

struct sessions *sessions_new(void)
{
    struct sessions *s = mem_zero(1, sizeof *s);
    if (s)
        pthread_mutex_init(&s->lock, NULL);
    return s;
}

void sessions_free(struct sessions *s)
{
    if (!s)
        return;
    pthread_mutex_destroy(&s->lock);
    mem_free(s->list);
    mem_free(s);
}

bool session_shape(const char *text)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    return strncmp(text, "bs1_", 4) == 0 && strlen(text) == SESSION_TEXT - 1 && strspn(text + 4, letters) == SESSION_TEXT - 5;
}

static bool over(const struct session *e, int64_t now_us)
{
    return now_us - e->opened_us > LIMIT_SESSION_SECONDS * 1000000LL || now_us - e->used_us > LIMIT_SESSION_IDLE_SECONDS * 1000000LL;
}

/* A free place: an unused one, else the one unused for longest among this key's when it has many, else among all. */
static struct session *place(struct sessions *s, int64_t key, int64_t now_us)
{
    struct session *unused = NULL, *oldest = NULL, *own = NULL;
    int of_key = 0;
    for (int i = 0; i < s->top; i++) {
        struct session *e = &s->list[i];
        if (e->key && over(e, now_us))
            e->key = 0;
        if (!e->key) {
            unused = e;
            continue;
        }
        if (!oldest || e->used_us < oldest->used_us)
            oldest = e;
        of_key += e->key == key;
        if (e->key == key && (!own || e->used_us < own->used_us))
            own = e;
    }
    if (of_key >= LIMIT_KEY_SESSIONS)
        return own;
    if (unused)
        return unused;
    return s->top < LIMIT_SESSIONS ? &s->list[s->top++] : oldest;
}

bool sessions_open(struct sessions *s, int64_t key, int64_t now_us, char token[SESSION_TEXT])
{
    char random[KEY_TEXT];
    key_make(random);
    memcpy(token, "bs1_", 4);
    memcpy(token + 4, random + 4, SESSION_TEXT - 4);
    pthread_mutex_lock(&s->lock);
    if (!s->list)
        s->list = mem_zero(LIMIT_SESSIONS, sizeof *s->list);
    struct session *e = s->list ? place(s, key, now_us) : NULL;
    if (e) {
        key_hash(token, e->hash);
        e->key = key;
        e->opened_us = e->used_us = now_us;
    }
    pthread_mutex_unlock(&s->lock);
    return e != NULL;
}

/* Under the lock. */
static struct session *find(struct sessions *s, const char *token)
{
    uint8_t hash[DIGEST_BYTES];
    if (!session_shape(token))
        return NULL;
    key_hash(token, hash);
    for (int i = 0; i < s->top; i++)
        if (s->list[i].key && digest_same(s->list[i].hash, hash))
            return &s->list[i];
    return NULL;
}

int64_t sessions_key(struct sessions *s, const char *token, int64_t now_us)
{
    int64_t key = 0;
    pthread_mutex_lock(&s->lock);
    struct session *e = find(s, token);
    if (e && over(e, now_us)) {
        e->key = 0;
    } else if (e) {
        e->used_us = now_us;
        key = e->key;
    }
    pthread_mutex_unlock(&s->lock);
    return key;
}

void sessions_end(struct sessions *s, const char *token)
{
    pthread_mutex_lock(&s->lock);
    struct session *e = find(s, token);
    if (e)
        e->key = 0;
    pthread_mutex_unlock(&s->lock);
}
