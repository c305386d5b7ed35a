/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * application/x-www-form-urlencoded, as a page posts it when scripts are off (URL Standard, section 5), and a calibration out of it.
 *
 * Field names are the members of a calibration; moves and proof are `moves[0].bias`, `proof[1].hz` (lines left empty are skipped). Empty fields are not given. Numbers are taken with a
 * decimal comma or point, both together are refused. `made_at` may also be what a date-time field sends (2024-03-01T19:00, without an offset); then the field
 * `made_at_offset` (+01:00) says the offset, else it is UTC. A flag is on with on, true, yes or 1.
 */
#ifndef BIASBOOK_WIRE_FORM_H
#define BIASBOOK_WIRE_FORM_H

#include "../ground/buffer.h"
#include "../ground/fault.h"
#include "../ground/memory.h"
#include "../trade/records.h"

struct form_field {
    const char *name, *value; /* decoded, valid UTF-8, without NUL; in the arena */
};
struct form {
    int count;
    struct form_field fields[LIMIT_FORM_FIELDS];
};
/* Strict: %XX needs two hex digits, the result must be UTF-8 without NUL, a field may be there once. FAULT_MALFORMED, FAULT_TOO_LARGE or FAULT_MEMORY otherwise. */
bool form_read(const char *body, size_t n, struct arena *a, struct form *out, struct fault *f);
const char *form_value(const struct form *form, const char *name); /* NULL: no such field */

/* A number with comma or point; empty is ABSENT and fine. */
bool form_number(const struct form *form, const char *name, double *out, struct fault *f);

/* `others` (NULL-closed, may be NULL): fields of the page that are no members; any further one is refused by name. The id may be in the form or be left out (then all zero). */
bool wire_read_calibration_form(const struct form *form, const char *const *others, struct arena *a, struct calibration *out,
                                struct fault *f);

/* Percent-decoding alone, for paths and queries too: decodes into `out` (at least n + 1 bytes), `plus_is_space` for forms and queries. False when it is not strictly valid
 * (half an escape, NUL, not UTF-8). */
bool percent_decode(const char *text, size_t n, bool plus_is_space, char *out);

/* Appends `text` with everything but unreserved characters (RFC 3986, 2.3) as %XX. */
void percent_encode(struct buffer *b, const char *text);

#endif
