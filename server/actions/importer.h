/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Lines into the club: decoded, checked like a single request, applied in slices that yield to single results. Rows go in one by one (each
 * refusal is listed with its line), or with `atomic` all or none. A dry run finds out everything and changes nothing. Memory does not grow with the file,
 * except for atomic imports, whose rows are held until the end (LIMIT_HELD_ROWS); a dry run works on a private copy of the club.
 *
 * Use: importer_new, importer_feed with bytes as they come, importer_finish, importer_report, importer_free.
 */
#ifndef BIASBOOK_ACTIONS_IMPORTER_H
#define BIASBOOK_ACTIONS_IMPORTER_H

#include "../ground/buffer.h"
#include "../store/writer.h"
#include "exporter.h"
#include "import_as.h"

struct importer;
struct import_options {
    enum transfer_format format;
    char separator;     /* CSV: ',' or ';' */
    bool decimal_comma; /* CSV */
    bool dry_run, atomic;
    enum write_conflict on_conflict;
    struct import_as as; /* ids of theirs that are others here */
    int64_t member;      /* who imports */
    bool may_correct_others;
    int64_t now_us;
};
struct importer *importer_new(struct store *s, const struct import_options *options, struct fault *f) __attribute__((warn_unused_result));
void importer_free(struct importer *i); /* NULL allowed */
/* False only when it cannot go on (store, memory, a broken CSV header): the fault says why; single bad rows are counted and listed, not faults. */
bool importer_feed(struct importer *i, const char *bytes, size_t n, struct fault *f);
bool importer_finish(struct importer *i, struct fault *f);
/* A name for what is fed next, shown with errors when several files go in ("" = none). Also ends a last line without a line end and starts a new sum. */
bool importer_next_file(struct importer *i, const char *name, struct fault *f);

struct import_counts {
    int64_t accepted, same, refused, seq;
    int64_t kept; /* of `same`: decks and stocks of other content whose own one stays (on_conflict=keep) */
};
void importer_counts(const struct importer *i, struct import_counts *out);
/* Leaves a line in the club's log; not of a dry run, nor when nothing came in. */
void importer_remember(const struct importer *i);
bool import_conflict_from(const char *text, enum write_conflict *out); /* ask, keep, take; NULL or "": ask */
/* {"accepted","same","refused","seq","errors":[{"line","field","code","detail"}],"kinds":{"deck":{"accepted","same","refused"},…},"complete"}; `complete`: an end line
 * came and agreed. Of a refused atomic import also the members of a problem document. */
void importer_report(const struct importer *i, struct buffer *json);

#endif
