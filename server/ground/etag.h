/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Entity tags in If-Match and If-None-Match (RFC 9110, 8.8.3 and 13.1).
 */
#ifndef BIASBOOK_GROUND_ETAG_H
#define BIASBOOK_GROUND_ETAG_H

#include <stdbool.h>

enum etag_comparison {
    ETAG_WEAK,  /* If-None-Match: W/"x" and "x" are the same */
    ETAG_STRONG /* If-Match: weak tags match nothing */
};
/* True when a header's value ("*" or a list of entity tags) contains `etag` (without quotes). What is not a list of tags matches nothing. */
bool etag_listed(const char *value, const char *etag, enum etag_comparison how);

#endif
