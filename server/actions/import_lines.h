/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Bytes as they come, in pieces of any size, into whole lines of JSON: NDJSON lines as they are, CSV records made into such. Counts lines and sums up bytes for
 * the end line. What a line means is the importer's affair.
 */
#ifndef BIASBOOK_ACTIONS_IMPORT_LINES_H
#define BIASBOOK_ACTIONS_IMPORT_LINES_H

#include "../ground/fault.h"
#include "../ground/secrets.h"
#include "exporter.h"

struct import_lines; /* private */

struct import_lines_to {
    /* One object that is not blank, from line `number` of its file. False and a fault ends the import. */
    bool (*line)(void *user, long number, const char *json, size_t n, struct fault *f);
    /* A line that could not be made into one. */
    void (*refused)(void *user, long number, const struct fault *why);
    void *user;
};

/* `separator` and `decimal_comma` are CSV's. NULL: out of memory. */
struct import_lines *import_lines_new(enum transfer_format format, char separator, bool decimal_comma, const struct import_lines_to *to);
void import_lines_free(struct import_lines *l); /* NULL allowed */
bool import_lines_feed(struct import_lines *l, const char *bytes, size_t n, struct fault *f);
/* The file is over: a last line without a line end counts. `again`: another file begins, with a header of its own. */
bool import_lines_end(struct import_lines *l, bool again, struct fault *f);
/* Of all bytes before the line at hand. */
void import_lines_digest(const struct import_lines *l, uint8_t digest[DIGEST_BYTES]);

#endif
