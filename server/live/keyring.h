/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who a key belongs to, in memory: read from the file at start and whenever another process changed it. A lookup takes a short
 * lock and compares hashes in constant time.
 */
#ifndef BIASBOOK_LIVE_KEYRING_H
#define BIASBOOK_LIVE_KEYRING_H

#include "../store/people.h"

struct key_holder {
    int64_t key;
    struct member_record member;
    enum role role; /* what the key may do: the member's role within the key's scope */
};

struct keyring;
struct keyring *keyring_new(void);
void keyring_free(struct keyring *k);
bool keyring_load(struct keyring *k, struct store *s, struct fault *f); /* replaces all, or leaves the old ones on a fault */
/* `key` as presented; true and *out filled when it is valid now. */
bool keyring_find(struct keyring *k, const char *key, struct key_holder *out);
/* The same by the key's number, for what was opened with it before. */
bool keyring_holder(struct keyring *k, int64_t key, struct key_holder *out);
/* Writes when keys were last used, at most once an hour each. Quick when there is nothing to write. */
void keyring_save_uses(struct keyring *k, struct store *s);

#endif
