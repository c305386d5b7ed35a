/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Who a key belongs to, in memory: read from the file at start and whenever another process changed it. A lookup takes a short
 * lock and compares hashes in constant time.
 */
#ifndef BIASBOOK_LIVE_KEYRING_H
#define BIASBOOK_LIVE_KEYRING_H

#include "../store/store.h"
#include "../store/writer.h"

struct keyring;
struct keyring *keyring_new(void);
void keyring_free(struct keyring *k);
bool keyring_load(struct keyring *k, struct store *s, struct fault *f); /* replaces all, or leaves the old ones on a fault */
/* `key` as presented; true and *out filled when it is valid now. */
bool keyring_find(struct keyring *k, const char *key, struct member_record *out);

#endif
