/* SPDX-License-Identifier: GPL-3.0-or-later
 * See keyring.h. A sorted array of hashes: a club has tens of keys, a search is a few comparisons. */
#include "keyring.h"

#include "../ground/memory.h"
#include "../ground/secrets.h"
#include "../store/reader.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

struct key_entry {
    uint8_t hash[DIGEST_BYTES];
    struct member_record member;
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

static bool collect(void *user, const uint8_t key_hash_bytes[32], const struct member_record *member)
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
    memcpy(l->entries[l->count].hash, key_hash_bytes, DIGEST_BYTES);
    l->entries[l->count++].member = *member;
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

bool keyring_find(struct keyring *k, const char *key, struct member_record *out)
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
    if (low < k->list.count && digest_same(k->list.entries[low].hash, hash)) {
        *out = k->list.entries[low].member;
        found = true;
    }
    pthread_mutex_unlock(&k->lock);
    return found;
}
