/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The headers this room looks at, collected in one pass, and the guards against heads that two readers could frame differently.
 */
#ifndef BIASBOOK_HTTP_HEAD_H
#define BIASBOOK_HTTP_HEAD_H

#include "refusals.h"
#include "target.h"

#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>

struct head {
    /* values as received, in libmicrohttpd's memory until the request is over; NULL when not sent */
    const char *host, *content_type, *content_encoding, *authorization, *origin, *fetch_site, *accept, *expect, *cookie;
    const char *forwarded_for, *forwarded_proto; /* the last line of each: that of the nearest proxy */
    const char *if_match, *if_none_match;        /* the first line of each; further ones are counted */
    int hosts, lengths, codings, if_matches, if_none_matches;
    int64_t content_length; /* 0 when there is none */
    bool body_to_come;      /* the client is going to send one, however framed */
    enum refusal_number refused;
};

/* `method` and `version` as given by libmicrohttpd, not copies; the authority of an absolute target replaces Host. */
void head_read(struct MHD_Connection *connection, const char *method, const char *version, const struct target *target, struct head *head);

#endif
