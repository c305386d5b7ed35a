/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The request target (RFC 9112, 3.2) taken apart and decoded: path and query parameters, each valid UTF-8 and free of NUL.
 */
#ifndef BIASBOOK_HTTP_TARGET_H
#define BIASBOOK_HTTP_TARGET_H

#include "../actions/exchange.h"
#include "refusals.h"

struct target {
    /* Decoded pieces, each closed by NUL: as long as the target, but for a NUL at the end and one more for each parameter without "=". */
    char text[LIMIT_URL + 2 + LIMIT_QUERY_PARAMETERS];
    const char *authority; /* of absolute form, in `text`; NULL in the usual origin form */
    enum refusal_number refused;
    const char *raw_end; /* address of the raw target's closing NUL; not to be read later */
};

/* Fills request's path and parameters, which point into `t`, or t->refused: then path is "/" and there are no parameters. `raw` NULL is malformed. */
void target_read(const char *raw, struct target *t, struct request *request);

#endif
