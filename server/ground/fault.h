/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What went wrong, said once: a kind (from which HTTP alone chooses a status) and the fields at fault, each with a
 * stable code a program can test and a detail that tells a person the remedy. Every function that can refuse takes a
 * `struct fault *`; NULL is allowed; the first kind stays, further items are added until LIMIT_FAULTS.
 */
#ifndef BIASBOOK_GROUND_FAULT_H
#define BIASBOOK_GROUND_FAULT_H

#include "limits.h"

#include <stdbool.h>

enum fault_kind {
    FAULT_NONE = 0,
    FAULT_MALFORMED,    /* 400 not parsable */
    FAULT_NO_KEY,       /* 401 no or wrong key */
    FAULT_ROLE,         /* 403 the role does not allow it */
    FAULT_UNKNOWN,      /* 404 unknown slug in a path or a question */
    FAULT_METHOD,       /* 405 */
    FAULT_CONFLICT,     /* 409 other content under this id */
    FAULT_PRECONDITION, /* 412 wrong If-Match */
    FAULT_TOO_LARGE,    /* 413 */
    FAULT_BODY_TYPE,    /* 415 */
    FAULT_UNACCEPTABLE, /* 422 parsable and not acceptable */
    FAULT_THROTTLED,    /* 429 */
    FAULT_INTERNAL,     /* 500 a defect of ours */
    FAULT_MEMORY,       /* 500 out of memory */
    FAULT_BUSY,         /* 503 a queue is full, or we are stopping: Retry-After */
    FAULT_STORE,        /* 503 the file could not be read or written */
};

struct fault_item {
    char field[72];   /* the JSON member, query parameter or column; "" when the whole is meant; "moves[3].bias" for inner ones */
    char code[40];    /* stable, lower case with hyphens, e.g. "unknown-member", "outside-dial" */
    char detail[240]; /* one sentence with the remedy, UTF-8 */
};

struct fault {
    enum fault_kind kind;
    int count; /* items in use, 0..LIMIT_FAULTS */
    struct fault_item items[LIMIT_FAULTS];
};

/* Empties `f`; only kind and count are touched. */
void fault_clear(struct fault *f);

/* Adds one item; sets the kind if none was set. `f` NULL: nothing. Always returns false, so that a check can
 * `return fault_add(...)`. `field` and `code` are cut to their room, `format` is printf's. */
bool fault_add(struct fault *f, enum fault_kind kind, const char *field, const char *code, const char *format, ...)
    __attribute__((format(printf, 5, 6)));
#ifdef BIASBOOK_ANALYSED /* so that gcc's analyzer, which reads one file at a time, knows that it is false */
#define fault_add(...) ((void)fault_add(__VA_ARGS__), false)
#endif

/* True when something is wrong. */
static inline bool fault_set(const struct fault *f)
{
    return f && f->kind != FAULT_NONE;
}

/* Writes "field: detail" of the first item, for the command line; "" when there is none. Returns `out`. */
const char *fault_text(const struct fault *f, char *out, unsigned long size);

/* Adds the items of `from` to `to`, each field prefixed by `prefix` (e.g. "moves[2]."). */
void fault_merge(struct fault *to, const struct fault *from, const char *prefix);

#endif
