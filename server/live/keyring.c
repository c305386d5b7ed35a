/* SPDX-License-Identifier: GPL-3.0-or-later
 * See keyring.h. A sorted array of hashes: a club has tens of keys, a search is a few comparisons. */
#include "keyring.h"

#include "../ground/memory.h"
#include "../ground/secrets.h"
#include "../store/reader.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#define USE_US       3600000000LL /* how coarse "last used" is */
#define USES_AT_ONCE 64

struct key_entry {
    uint8_t hash[DIGEST_BYTES];
    struct key_holder holder;
    int64_t expires_us, written_us, used_us; /* CLOCK_NONE = never; last use as it stands in the file, and as seen here */
};

struct key_list {
    struct key_entry *entries;
    size_t count, capacity;
    bool failed;
};

struct keyring {
    pthread_mutex_t lock;
    struct key_list list;
};

struct keyring *keyring_new(void)
{
    struct keyring *k = mem_zero(1, sizeof *k);
    if (k)
        pthread_mutex_init(&k->lock, NULL);
    return k;
}

void keyring_free(struct keyring *k)
{
    if (!k)
        return;
    pthread_mutex_destroy(&k->lock);
    mem_free(k->list.entries);
    mem_free(k);
}

static bool collect(void *user, const struct key_record *key, const struct member_record *member)
{
    struct key_list *l = user;
    if (l->count == l->capacity) {
        size_t more = l->capacity ? 2 * l->capacity : 16;
        struct key_entry *grown = mem_grow(l->entries, more, sizeof *grown);
        if (!grown) {
            l->failed = true;
            return false;
        }
        l->entries = grown;
        l->capacity = more;
    }
    struct key_entry *e = &l->entries[l->count++];
    memcpy(e->hash, key->hash, DIGEST_BYTES);
    e->holder = (struct key_holder){.key = key->id, .member = *member, .role = role_within(member->role, key->scope)};
    e->expires_us = key->expires_us;
    e->written_us = e->used_us = key->last_used_us;
    return true;
}

static int by_hash(const void *a, const void *b)
{
    return memcmp(((const struct key_entry *)a)->hash, ((const struct key_entry *)b)->hash, DIGEST_BYTES);
}

bool keyring_load(struct keyring *k, struct store *s, struct fault *f)
{
    struct key_list fresh = {0};
    struct reader *r = reader_take(s, f);
    bool ok = r && walk_keys(r, collect, &fresh, f) != READ_FAILED && !fresh.failed;
    reader_give(r);
    if (!ok) {
        if (fresh.failed)
            fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading the members' keys");
        mem_free(fresh.entries);
        return false;
    }
    if (fresh.count)
        qsort(fresh.entries, fresh.count, sizeof *fresh.entries, by_hash);
    pthread_mutex_lock(&k->lock);
    struct key_list old = k->list;
    k->list = fresh;
    pthread_mutex_unlock(&k->lock);
    mem_free(old.entries);
    return true;
}

/* Under the lock. Fills `out` unless the key has expired meanwhile. */
static bool use(struct key_entry *e, struct key_holder *out)
{
    int64_t now_us = clock_now_us();
    if (e->expires_us != CLOCK_NONE && e->expires_us <= now_us)
        return false;
    e->used_us = now_us;
    *out = e->holder;
    return true;
}

bool keyring_find(struct keyring *k, const char *key, struct key_holder *out)
{
    uint8_t hash[DIGEST_BYTES];
    if (!key_shape(key))
        return false;
    key_hash(key, hash);
    /* The search order is over hashes of the presented key, which its sender cannot steer; the final comparison is constant time. */
    bool found = false;
    pthread_mutex_lock(&k->lock);
    size_t low = 0, high = k->list.count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (memcmp(k->list.entries[mid].hash, hash, DIGEST_BYTES) < 0)
            low = mid + 1;
        else
            high = mid;
    }
    if (low < k->list.count && digest_same(k->list.entries[low].hash, hash))
        found = use(&k->list.entries[low], out);
    pthread_mutex_unlock(&k->lock);
    return found;
}

bool keyring_holder(struct keyring *k, int64_t key, struct key_holder *out)
{
    bool found = false;
    pthread_mutex_lock(&k->lock);
    for (size_t i = 0; i < k->list.count && !found; i++)
        if (k->list.entries[i].holder.key == key)
            found = use(&k->list.entries[i], out);
    pthread_mutex_unlock(&k->lock);
    return found;
}

void keyring_save_uses(struct keyring *k, struct store *s)
{
    struct key_use uses[USES_AT_ONCE];
    int n = 0;
    pthread_mutex_lock(&k->lock);
    for (size_t i = 0; i < k->list.count && n < USES_AT_ONCE; i++) {
        struct key_entry *e = &k->list.entries[i];
        if (e->used_us != CLOCK_NONE && (e->written_us == CLOCK_NONE || e->used_us - e->written_us >= USE_US)) {
            uses[n++] = (struct key_use){e->holder.key, e->used_us};
            e->written_us = e->used_us; /* tried once an hour, whether it can be written or not */
        }
    }
    pthread_mutex_unlock(&k->lock);
    store_keys_used(s, uses, n, NULL);
}
