/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the daemon answers, told to machines (OpenAPI 3.1). The document is openapi.json beside this file, carried inside the binary; a test holds it
 * against the routes table and against real answers.
 */
#include "actions.h"
#include "answer.h"

#include "../ground/embedded.h"
#include "../ground/secrets.h"

#include <stdio.h>

enum action_result action_openapi(struct house *house, struct exchange *x)
{
    (void)house;
    const struct embedded *document = &embedded_openapi[0];
    struct reply *r = &x->reply;
    uint8_t digest[DIGEST_BYTES];
    char hex[DIGEST_HEX];
    r->fixed = document->data;
    r->fixed_length = embedded_length(document);
    r->content_type = "application/json";
    digest_of(r->fixed, r->fixed_length, digest); /* asked for rarely: not worth keeping */
    snprintf(r->etag, sizeof r->etag, "%.32s", digest_hex(digest, hex));
    snprintf(r->cache_control, sizeof r->cache_control, "no-cache");
    r->status = 200;
    return ACTION_DONE;
}
