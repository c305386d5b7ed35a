/* SPDX-License-Identifier: GPL-3.0-or-later
 * One character of UTF-8 at a time, strictly: no overlong forms, no surrogates, nothing past U+10FFFF (RFC 3629). */
#ifndef BIASBOOK_WIRE_UTF8_H
#define BIASBOOK_WIRE_UTF8_H

#include <stdbool.h>
#include <stddef.h>

size_t utf8_step(const char *p, size_t n); /* bytes of the character at p, 0 when it is not one (or n is 0) */
bool utf8_valid(const char *p, size_t n);
#endif
