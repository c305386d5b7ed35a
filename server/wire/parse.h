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

/* One JSON value that is the whole text. NULL and a fault: FAULT_MEMORY out of memory; FAULT_MALFORMED not JSON, not UTF-8, deeper than LIMIT_JSON_DEPTH;
 * FAULT_UNACCEPTABLE a member given twice, or (json_parse_object) not an object. The caller frees with json_decref. */
json_t *json_parse(const char *text, size_t n, struct fault *f) __attribute__((warn_unused_result));
json_t *json_parse_object(const char *text, size_t n, struct fault *f) __attribute__((warn_unused_result));

/* Appends the value as compact JSON, numbers in their shortest form, members in their order. */
void json_value(struct buffer *b, const json_t *value);

#endif
