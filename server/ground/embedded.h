/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Files carried inside the binary (made by server/embed.sh at build time): migrations, pages, the demo club, the OpenAPI document.
 * Each is followed by a NUL that is not counted, so text files can be used as strings.
 */
#ifndef BIASBOOK_GROUND_EMBEDDED_H
#define BIASBOOK_GROUND_EMBEDDED_H

#include <stddef.h>

struct embedded {
    const char *name; /* file name without folder; NULL closes the table */
    const unsigned char *data, *end;
};
extern const struct embedded embedded_schema[]; /* in order of their numbers */
extern const struct embedded embedded_static[];
extern const struct embedded embedded_demo[];
extern const struct embedded embedded_openapi[]; /* one document */

static inline size_t embedded_length(const struct embedded *e)
{
    return (size_t)(e->end - e->data);
}
#endif
