/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BIASBOOK_HTTP_ETAG_H
#define BIASBOOK_HTTP_ETAG_H

#include <stdbool.h>

/* True when an If-None-Match value (RFC 9110, 13.1.2: "*" or a list of entity tags) contains `etag` (without quotes) by weak comparison. What is not a
 * list of tags matches nothing. */
bool etag_listed(const char *value, const char *etag);

#endif
