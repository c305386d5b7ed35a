/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * UUIDs of RFC 9562. Clients make them (version 4 or 7); text is the lower-case 8-4-4-4-12 form.
 */
#ifndef BIASBOOK_GROUND_UUID_H
#define BIASBOOK_GROUND_UUID_H

#include <stdbool.h>
#include <stdint.h>

#define UUID_TEXT 37 /* with NUL */
struct uuid {
    uint8_t bytes[16];
};
/* Takes either case; refuses braces, urn: and any version but 4 and 7 or a wrong variant. */
bool uuid_parse(const char *text, struct uuid *out);
char *uuid_format(const struct uuid *u, char out[UUID_TEXT]);
struct uuid uuid_make(void); /* version 7 */
bool uuid_same(const struct uuid *a, const struct uuid *b);
bool slug_valid(const char *text); /* [a-z0-9][a-z0-9-]{0,63} */

#endif
