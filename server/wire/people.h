/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is sent about members, keys, sessions and reviews. Readers as in wire.h.
 */
#ifndef BIASBOOK_WIRE_PEOPLE_H
#define BIASBOOK_WIRE_PEOPLE_H

#include "wire.h"

enum { WISH_SCOPE_ALL, WISH_SCOPE_READ, WISH_SCOPE_LOG };

struct person_body {
    char name[LIMIT_NAME + 1];           /* "" = not given */
    int role;                            /* enum role; ROLE_NONE = not given */
    char key_name[LIMIT_SHORT_TEXT + 1]; /* of the first key */
};
/* {"name","role"[,"key_name"]} of a new member; both needed unless `change` (then at least one, and no key_name). */
bool wire_read_person(const char *json, size_t n, bool change, struct person_body *out, struct fault *f);

struct key_body {
    char name[LIMIT_SHORT_TEXT + 1];
    int scope;          /* WISH_SCOPE_… */
    int64_t expires_us; /* CLOCK_NONE = never */
    int offset_minutes;
};
/* {"name","scope":"all"|"log"|"read","expires_at"}, all optional */
bool wire_read_key_wish(const char *json, size_t n, struct key_body *out, struct fault *f);
/* {"key":"bb1_…"} */
bool wire_read_session(const char *json, size_t n, char key[LIMIT_SHORT_TEXT + 1], struct fault *f);
/* {"verdict":"accept"} */
bool wire_read_verdict(const char *json, size_t n, struct fault *f);

const char *role_choice(int v), *scope_choice(int v); /* "none"…"steward"; "all", "read", "log" */

#endif
