/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Browsers' sessions: a cookie's token stands for the key it was opened with, so that a page needs not keep the key. Only the token's hash is
 * held, in memory: a restart ends all sessions. A session is worth what its key is worth at that moment; when the key is revoked, expires or
 * is rotated, its sessions are over.
 *
 * Bounded (LIMIT_SESSIONS, LIMIT_KEY_SESSIONS a key): past that the one unused for longest ends. Any thread; a short lock.
 */
#ifndef BIASBOOK_LIVE_SESSIONS_H
#define BIASBOOK_LIVE_SESSIONS_H

#include "keyring.h"

#define SESSION_TEXT 48 /* "bs1_", 43 characters of 256 random bits, NUL */

struct sessions;
struct sessions *sessions_new(void) __attribute__((warn_unused_result));
void sessions_free(struct sessions *s); /* NULL allowed */

/* Opens one for this key; the token is written once and held nowhere. False: out of memory. */
bool sessions_open(struct sessions *s, int64_t key, int64_t now_us, char token[SESSION_TEXT]);
/* The key it was opened with; 0: no such session, or it is over. */
int64_t sessions_key(struct sessions *s, const char *token, int64_t now_us);
void sessions_end(struct sessions *s, const char *token);
bool session_shape(const char *text);

#endif
