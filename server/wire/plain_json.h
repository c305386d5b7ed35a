/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The short way for plain JSON, which nearly all that is logged is: ASCII texts without escapes, numbers without exponent, no member twice. It makes the tree
 * that jansson's parser makes, in a third of the time, and gives up at whatever is not plain; then jansson decides, and says what is wrong.
 */
#ifndef BIASBOOK_WIRE_PLAIN_JSON_H
#define BIASBOOK_WIRE_PLAIN_JSON_H

#include <jansson.h>
#include <stddef.h>

/* The tree of the whole text, in memory of jansson's allocator; NULL: not plain, or no memory. The caller has bounded the depth. */
json_t *plain_json(const char *text, size_t n);

#endif
