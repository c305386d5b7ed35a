/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the checks of all records share. Not for other rooms. Each function adds a fault and returns false when something is wrong;
 * `field` may be a path such as "moves[3].bias".
 */
#ifndef BIASBOOK_TRADE_CHECK_INSIDE_H
#define BIASBOOK_TRADE_CHECK_INSIDE_H

#include "check.h"

struct field_path {
    char text[72];
};
struct field_path check_field_inside(const char *outer, const char *inner);       /* "bias_dial.step" */
struct field_path check_field_at(const char *list, int index, const char *inner); /* "moves[3].bias" */

bool check_refuse(struct fault *f, const char *field, const char *code, const char *format, ...) __attribute__((format(printf, 4, 5)));
bool check_required(struct fault *f, const char *field, const char *what); /* always refuses: `what` is missing */
/* Not given is fine. `unit` is put after the numbers of the detail, "" for none. */
bool check_within(struct fault *f, const char *field, double value, double low, double high, const char *unit);
bool check_above_zero(struct fault *f, const char *field, double value, double high, const char *unit); /* 0 < value <= high */
bool check_slug(struct fault *f, const char *field, const char *text);
bool check_tones(struct fault *f, double low_hz, double high_hz, double tone_db); /* each may be ABSENT */
bool check_blank(const char *text);                                               /* empty or only spaces */
bool check_text_fits(struct fault *f, const char *field, const char *text);       /* notes: LIMIT_NOTES characters */

#endif
