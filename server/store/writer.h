/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The one writer. A write is handed over, waits in a bounded queue, is committed together with all that waited (a savepoint a
 * row: a refused row never takes its neighbours down), and is then answered through `done` on the writer's thread.
 *
 * Ownership: the caller owns the `struct write` and all it points to until `done` was called. `done` must be quick.
 * Order after a commit: first the commit hook (live/ learns of the rows), then `done` of each write in order.
 */
#ifndef BIASBOOK_STORE_WRITER_H
#define BIASBOOK_STORE_WRITER_H

#include "../trade/records.h"
#include "store.h"

#include <stddef.h>
#include <string.h>

enum write_kind { WRITE_DECK, WRITE_STOCK, WRITE_CALIBRATION, WRITE_VOID, WRITE_SERVICE, WRITE_CHECK, WRITE_UNDO };
enum write_outcome { WRITE_PENDING, WRITE_CREATED, WRITE_SAME, WRITE_REVISED, WRITE_REFUSED };

/* Another deck or stock under the same id, from an import: refuse it (other-content), keep ours, or take theirs as a revision. */
enum write_conflict { CONFLICT_ASK, CONFLICT_KEEP, CONFLICT_TAKE };

struct write {
    /* ---- asked ---- */
    enum write_kind kind;
    const struct deck *deck;
    const struct stock *stock;
    const struct calibration *calibration; /* for WRITE_VOID and WRITE_UNDO only its id counts */
    const struct service *service;
    const struct deck_check *check;
    const char *void_reason;
    const char *if_match;    /* header value as received ("*", or a list of quoted tags); NULL when none */
    int64_t member;          /* who; 0 = open club */
    bool may_correct_others; /* steward or open club: else only the author may revise or void */
    /* import only */
    bool imported;
    int revision;            /* as exported; 0 = not given. Larger than the one present and other content: accepted as a correction */
    const char *origin;      /* club it came from; NULL = this one */
    const char *member_name; /* author as exported; NULL = `member` */
    enum write_conflict on_conflict; /* decks and stocks */
    bool make_void;                  /* the exported row was void (reason in void_reason) */
    /* ---- answer ---- */
    enum write_outcome outcome;
    bool kept; /* WRITE_SAME by CONFLICT_KEEP */
    void (*done)(struct write *w);
    void *user;
    /* ---- private to the store while pending ---- */
    struct write *next;
    uint8_t digest[32]; /* of the content, made by store_submit and store_apply on the caller's thread */
    /* ---- answer, the large part: what write_init does not clear ---- */
    struct stamp stamp; /* of the row as it now stands, also for WRITE_SAME; otherwise only its seq counts: 0 */
    struct fault fault; /* when refused: FAULT_CONFLICT, FAULT_PRECONDITION, FAULT_UNACCEPTABLE (unknown deck…), FAULT_STORE */
};

/* Nothing asked, nothing answered. Some 6 kB are left as they are: nobody reads them before the store has filled them. */
static inline void write_init(struct write *w)
{
    memset(w, 0, offsetof(struct write, stamp));
    w->stamp.seq = 0;
    w->stamp.member[0] = w->stamp.author[0] = w->stamp.void_reason[0] = w->stamp.origin[0] = w->stamp.etag[0] = '\0';
    w->stamp.revision = 0;
    w->stamp.stored_us = 0;
    w->stamp.is_void = false;
    fault_clear(&w->fault);
}

/* Queues a write; false and FAULT_BUSY when the queue is full (rows or bytes) or the store is stopping: `done` is then not called. */
bool store_submit(struct store *s, struct write *w, struct fault *f) __attribute__((warn_unused_result));

/* Applies `count` writes of an import as one slice (own transaction; yields to single results that wait), blocking the caller until
 * committed; outcomes are in each write, `done` is not called. With `atomic`, the first refusal undoes the whole slice, and false is returned. With
 * `dry_run` everything is undone after the outcomes are known and no hook is called. */
bool store_apply(struct store *s, struct write *writes, int count, bool atomic, bool dry_run, struct fault *f);
/* The same in two halves, so that the caller can decode the next slice meanwhile: the writes are the store's until the end, which is due for everything that was begun.
 * NULL and a fault: nothing was begun. */
struct store_slice;
struct store_slice *store_apply_begin(struct store *s, struct write *writes, int count, bool atomic, bool dry_run, struct fault *f)
    __attribute__((warn_unused_result));
bool store_apply_end(struct store_slice *l, struct fault *f);

/* Called on the writer's thread after each commit with the writes that changed something (CREATED or REVISED), in seq order. One hook. */
typedef void (*commit_hook)(void *user, struct write *const *writes, int count);
void store_on_commit(struct store *s, commit_hook hook, void *user);

/* ---- members: small and rare, done at once on the caller's thread with a short lock ---- */
struct member_record {
    int64_t id;
    char name[LIMIT_NAME + 1];
    enum role role;
    int64_t added_us;
};
/* Adds a member and its first key, given as hash. FAULT_CONFLICT when the name is taken. */
bool store_member_add(struct store *s, const char *name, enum role role, const uint8_t key_hash[32], int64_t *id, struct fault *f);

/* Sets a free-standing fact, e.g. "club_name" (read_fact). */
bool store_set_fact(struct store *s, const char *name, const char *value, struct fault *f);

/* What live/ keeps so that a restart answers at once: an opaque blob with its name. */
bool store_save_blob(struct store *s, const char *name, const void *bytes, size_t n, struct fault *f);

#endif
