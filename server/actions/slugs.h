/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A set of ids of decks or stocks: small, grows, asked often.
 */
#ifndef BIASBOOK_ACTIONS_SLUGS_H
#define BIASBOOK_ACTIONS_SLUGS_H

#include "../ground/limits.h"

#include <stdbool.h>
#include <stddef.h>

struct slugs {
    char (*list)[LIMIT_SLUG + 1]; /* open addressing; "" = free */
    size_t slots, count;          /* slots: power of two, at least twice the count */
};
bool slugs_add(struct slugs *s, const char *slug); /* false: out of memory */
bool slugs_have(const struct slugs *s, const char *slug);
void slugs_free(struct slugs *s); /* usable again */

#endif
