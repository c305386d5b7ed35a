/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Signing in and out, shared by the API (session.c) and by the page for browsers without scripts (sign_in.c).
 */
#ifndef BIASBOOK_ACTIONS_SESSION_H
#define BIASBOOK_ACTIONS_SESSION_H

#include "house.h"

/* Trades `key` for a session: sets the cookie and who asks. False with a fault; a key that is nobody's also sets reply.wrong_key. */
bool session_begin(struct house *house, struct exchange *x, const char *key, struct fault *f);
/* Ends the session that the request came with, if any, and takes the cookie back. */
void session_over(struct house *house, struct exchange *x);

#endif
