/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The two things every action needs of an exchange.
 */
#include "exchange.h"

#include "../wire/wire.h"

#include <string.h>
#include <unistd.h>

const char *request_parameter(const struct request *q, const char *name)
{
    for (int i = 0; i < q->parameter_count; i++)
        if (q->parameters[i].name[0] == name[0] && strcmp(q->parameters[i].name, name) == 0) /* the hot path asks for a dozen names */
            return q->parameters[i].value;
    return NULL;
}

/* The only place where a kind of fault becomes a status. */
int fault_status(const struct fault *f)
{
    switch (f->kind) {
    case FAULT_MALFORMED: return 400;
    case FAULT_NO_KEY: return 401;
    case FAULT_ROLE: return 403;
    case FAULT_UNKNOWN: return 404;
    case FAULT_METHOD: return 405;
    case FAULT_CONFLICT: return 409;
    case FAULT_PRECONDITION: return 412;
    case FAULT_TOO_LARGE: return 413;
    case FAULT_BODY_TYPE: return 415;
    case FAULT_UNACCEPTABLE: return 422;
    case FAULT_THROTTLED: return 429;
    case FAULT_BUSY:
    case FAULT_STORE: return 503;
    case FAULT_NONE:
    case FAULT_INTERNAL:
    case FAULT_MEMORY: break;
    }
    return 500;
}

void reply_fault(struct reply *r, const struct fault *f)
{
    if (r->file >= 0)
        close(r->file);
    r->file = -1;
    r->fixed = NULL;
    r->etag[0] = r->location[0] = r->link[0] = r->cache_control[0] = r->file_name[0] = r->set_cookie[0] = '\0';
    r->status = fault_status(f);
    r->content_type = "application/problem+json";
    if (r->retry_after_s == 0 && (r->status == 503 || r->status == 429))
        r->retry_after_s = 1;
    buffer_clear(&r->body);
    wire_write_problem(&r->body, r->status, f);
}
