/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The whole club as lines, to any sink: decks, stocks, services, checks, calibrations, then an end line with the number of rows and the SHA-256 over
 * all bytes before it. One snapshot of the store; memory does not grow with the club.
 */
#ifndef BIASBOOK_ACTIONS_EXPORTER_H
#define BIASBOOK_ACTIONS_EXPORTER_H

#include "../store/store.h"

#include <stddef.h>

enum transfer_format { FORMAT_NDJSON, FORMAT_CSV };
bool transfer_format_from(const char *text, enum transfer_format *out);

/* Returns false to stop (the export then fails). */
typedef bool (*export_sink)(void *user, const char *bytes, size_t n);
bool export_club(struct store *s, enum transfer_format format, export_sink sink, void *user, struct fault *f);

#endif
