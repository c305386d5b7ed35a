/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Every refusal this room makes by itself, each with its stable code, its status and its remedy. An action's own refusals are faults.
 */
#ifndef BIASBOOK_HTTP_REFUSALS_H
#define BIASBOOK_HTTP_REFUSALS_H

#include "../ground/buffer.h"

#include <stdbool.h>

enum refusal_number {
    REFUSE_NOTHING,
    /* framing: the connection is closed, since where the next message begins is in doubt */
    REFUSE_LENGTHS,
    REFUSE_LENGTH,
    REFUSE_LENGTH_AND_ENCODING,
    REFUSE_ENCODING,
    REFUSE_VERSION,
    REFUSE_HEADER_NAME,
    REFUSE_HEADER_VALUE,
    REFUSE_LINES,
    REFUSE_NO_HOST,
    REFUSE_HOSTS,
    REFUSE_HOST,
    REFUSE_REPEATED_HEADER,
    REFUSE_EXPECT,
    /* target */
    REFUSE_TARGET_LONG,
    REFUSE_TARGET,
    REFUSE_PERCENT,
    REFUSE_NUL,
    REFUSE_CONTROL,
    REFUSE_UTF8,
    REFUSE_DOTS,
    REFUSE_SLASH,
    REFUSE_PARAMETERS,
    /* head */
    REFUSE_STOPPING,
    REFUSE_METHOD_UNKNOWN,
    REFUSE_METHOD,
    REFUSE_PATH,
    REFUSE_FOREIGN_HOST,
    REFUSE_CROSS_SITE,
    REFUSE_NO_KEY,
    REFUSE_WRONG_KEY,
    REFUSE_WRONG_KEYS,
    REFUSE_NO_ORIGIN,
    REFUSE_KEY_SCHEME,
    REFUSE_ROLE,
    REFUSE_BODY,
    REFUSE_BODY_SIZE,
    REFUSE_BODY_TYPE,
    REFUSE_BODY_CHARSET,
    REFUSE_BODY_CODING,
    /* body and after */
    REFUSE_SPOOL,
    REFUSE_WORKERS,
    REFUSE_UNANSWERED,
    REFUSE_MEMORY,
    REFUSE_COUNT
};

struct refusal {
    int status;
    const char *field; /* header or part at fault; "" = the whole */
    const char *code;
    const char *detail;
    bool close; /* the connection cannot go on */
    int retry_after_s;
};

const struct refusal *refusal_of(enum refusal_number number);

#endif
