/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The only caller of jansson's parser. Not for other rooms.
 */
#ifndef BIASBOOK_WIRE_PARSE_H
#define BIASBOOK_WIRE_PARSE_H

#include "../ground/buffer.h"
#include "../ground/fault.h"

#include <jansson.h>
#include <stdbool.h>

/* A parsed text: the tree and the one block of memory it lives in. */
struct document {
    json_t *root;
    void *memory; /* private */
};
/* One JSON value that is the whole text. false and a fault: FAULT_MEMORY out of memory; FAULT_MALFORMED not JSON, not UTF-8, deeper than LIMIT_JSON_DEPTH;
 * FAULT_UNACCEPTABLE a member given twice, or (document_parse_object) not an object. On true the caller frees with document_free, never with json_decref. */
bool document_parse(struct document *d, const char *text, size_t n, struct fault *f) __attribute__((warn_unused_result));
bool document_parse_object(struct document *d, const char *text, size_t n, struct fault *f) __attribute__((warn_unused_result));
void document_free(struct document *d); /* also of one that was not parsed; the tree is gone */

/* Appends the value as compact JSON, numbers in their shortest form, members in their order. */
void json_value(struct buffer *b, const json_t *value);

#endif
