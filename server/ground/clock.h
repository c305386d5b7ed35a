/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Instants are microseconds since 1970-01-01T00:00:00Z; texts are RFC 3339 with an offset (5.6: date-time).
 */
#ifndef BIASBOOK_GROUND_CLOCK_H
#define BIASBOOK_GROUND_CLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CLOCK_TEXT 40        /* bytes for any formatted instant */
#define CLOCK_NONE INT64_MIN /* "no instant" in records */

int64_t clock_now_us(void);       /* wall clock */
int64_t clock_monotonic_us(void); /* for durations and deadlines */
/* Strict RFC 3339: date, T or t or space, time with optional fraction, Z or +hh:mm. Years 1900..9999; a leap second :60 is
 * taken as :59.999999. `offset_minutes` may be NULL. */
bool clock_parse(const char *text, size_t n, int64_t *us, int *offset_minutes);
/* Writes e.g. 2024-03-01T19:00:00+01:00 (fraction only when not zero, without trailing zeros); offset 0 is "Z". Returns out. */
char *clock_format(int64_t us, int offset_minutes, char out[CLOCK_TEXT]);
char *clock_format_date(int64_t us, char out[CLOCK_TEXT]);  /* YYYY-MM-DD in UTC */
double clock_years_between(int64_t from_us, int64_t to_us); /* in Julian years of 365.25 days */

#endif
