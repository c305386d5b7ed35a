/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The club, or a selection of it, as lines, to any sink: decks, stocks, services, checks, calibrations, then an end line with the number of rows and the SHA-256 over
 * all bytes before it. One snapshot of the store; memory does not grow with the club.
 */
#ifndef BIASBOOK_ACTIONS_EXPORTER_H
#define BIASBOOK_ACTIONS_EXPORTER_H

#include "../store/store.h"

#include <stddef.h>
#include <stdint.h>

enum transfer_format { FORMAT_NDJSON, FORMAT_CSV };
bool transfer_format_from(const char *text, enum transfer_format *out);

enum export_members { MEMBERS_NAMES, MEMBERS_PSEUDONYMS, MEMBERS_NONE };
struct export_options {
    enum transfer_format format;
    /* For another club: the club's own rows name it as their origin, so that they stay known as its rows wherever they go. Without it the lines are those
     * of the club itself, to be taken back by it or to found it anew. */
    bool exchange;
    enum export_members members; /* pseudonyms are stable: a keyed hash of club and name, the key stays in the club's file */
    const char *deck, *stock;    /* only calibrations of these; NULL = all */
    int64_t since_us;            /* only those made then or later; CLOCK_NONE = all */
};
/* With a selection, decks and stocks are those that the selected calibrations name, with these decks' services and checks. */

/* Returns false to stop (the export then fails). */
typedef bool (*export_sink)(void *user, const char *bytes, size_t n);
/* FAULT_UNKNOWN when the selection names a deck or stock that is not there. */
bool export_club(struct store *s, const struct export_options *options, export_sink sink, void *user, struct fault *f);
bool export_members_from(const char *text, enum export_members *out); /* NULL or "": names */

#endif
