/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How many wrong keys came from an address lately. Keys cannot be guessed (256 random bits); this bounds what a machine that tries costs, and
 * what it writes into the log. Right keys are answered whatever the count says, so nobody is locked out by a neighbour behind the same proxy.
 *
 * Addresses are counted by machine (IPv4) or network (the first 64 bits of IPv6). The table is bounded: past its size the oldest is forgotten.
 */
#ifndef BIASBOOK_HTTP_THROTTLE_H
#define BIASBOOK_HTTP_THROTTLE_H

#include <stdbool.h>
#include <stdint.h>

struct throttle;
struct throttle *throttle_new(void) __attribute__((warn_unused_result));
void throttle_free(struct throttle *t); /* NULL allowed */

enum throttle_says { THROTTLE_FINE, THROTTLE_FIRST_TOO_MANY, THROTTLE_TOO_MANY };
/* One more wrong key from `address` (text, as in the log). Any thread. */
enum throttle_says throttle_wrong(struct throttle *t, const char *address, int64_t now_us);

#endif
