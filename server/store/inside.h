/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Private to store/: what a store is made of, and the doors between this room's files.
 *
 *   open.c migrate.c          the file: what it is, bringing it up to date
 *   writer.c checkpoint.c     queues and the writer's thread; the log copied into the file beside it
 *   group.c rules.c           one transaction; what happens to one write in it
 *   put_*.c                   records into rows
 *   reader.c read_*.c         connections that read; rows into records
 *   people.c keys.c           members and keys
 *   history.c                 states before, the log of what stewards did, what was reviewed
 *   blob.c prior.c room.c     the small things
 *   backup.c integrity.c      copies and proofs
 *   unreadable.c              a disk that would not give a page, told apart from damage
 *   sql.c words.c             SQLite itself; the file's words
 */
#ifndef BIASBOOK_STORE_INSIDE_H
#define BIASBOOK_STORE_INSIDE_H

#include "../ground/embedded.h"
#include "../ground/secrets.h"
#include "people.h"
#include "reader.h"
#include "sql.h"
#include "store.h"
#include "words.h"
#include "writer.h"

#include <pthread.h>
#include <stdatomic.h>

#define STORE_APPLICATION_ID 0x62696173 /* "bias": SQLite's application_id, tells our files from others */

/* ---- names the writer looks up again and again; ids never change, so an entry is good until a transaction that made it is undone ---- */
#define CACHE_SLOTS 512
struct cached_slug {
    int64_t id; /* 0 = empty */
    char slug[LIMIT_SLUG + 1];
};
struct cached_name {
    int64_t id;
    char name[LIMIT_NAME + 1];
};
struct caches {
    struct cached_slug decks[CACHE_SLOTS], stocks[CACHE_SLOTS];
    struct cached_name members[CACHE_SLOTS];
};

/* Work of another thread that needs the writer's connection; waits for its turn between groups. */
struct job {
    bool (*run)(struct store *s, void *argument, struct fault *f);
    void *argument;
    struct fault *fault;
    bool done, result;
    struct job *next;
};

struct queue {
    struct write *head, *tail;
    int rows;
    int64_t bytes;
};

struct store {
    char *path;
    int version; /* user_version this program knows */
    char club_id[UUID_TEXT];
    bool has_writer; /* false: opened for reading only */
    bool immutable;  /* readers open with SQL_READ_IMMUTABLE */
    bool scratch;    /* the file vanishes on closing */

    /* ---- the writer's own: only its thread touches these ---- */
    struct connection writer;
    struct caches *caches;
    struct write **group;   /* LIMIT_GROUP_ROWS of them: the group at work */
    struct write **changed; /* LIMIT_GROUP_ROWS: those of it that the hook is told of */
    int64_t data_version;
    bool outgrown;   /* another, newer program has migrated the file under us: write no more */
    bool wal_used;   /* something was written since the last checkpoint */
    int since_slice; /* groups since an import's slice had its turn */
    int last_group;  /* rows of the last group of singles */

    /* ---- the keeper, who copies the log into the file ---- */
    struct connection keeper; /* only its thread touches it */
    pthread_t keeper_thread;
    bool has_keeper;
    pthread_mutex_t keeper_lock; /* for the next three */
    pthread_cond_t keeper_wake;
    bool keeper_wanted; /* asked, or at work */
    bool keeper_closing;
    atomic_int copied_pages; /* pages of the log it had copied when it was last through; 0 = it was not */

    /* ---- shared, under `lock` ---- */
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t work; /* the writer waits here */
    pthread_cond_t calm; /* those who wait for a job or for everything answered */
    struct queue singles;
    struct job *jobs, *jobs_tail, *slices, *slices_tail;
    bool stopping; /* new writes are refused */
    bool closing;  /* the thread ends when nothing waits */
    bool busy;     /* a group, a job or a slice is at work */
    bool waiting;  /* the writer sleeps and wants a signal */
    commit_hook hook;
    void *hook_user;

    /* ---- read by anybody ---- */
    _Atomic int64_t last_seq, last_commit_us;
    atomic_bool changed_outside;
    _Atomic int64_t commits, rows_written, largest_group;

    /* ---- readers at rest ---- */
    pthread_mutex_t pool_lock;
    pthread_cond_t pool_free;
    struct reader *pool;
    int readers; /* open in all */
};

struct reader {
    struct store *store;
    struct connection c;
    struct reader *next;
};

/* ---- open.c, migrate.c ---- */
bool store_identify(struct connection *c, int newest, bool *fresh, struct fault *f); /* ours, and not too new? */
bool store_migrate(struct connection *c, const char *path, const struct embedded *steps, bool fresh, struct fault *f);
int store_newest(const struct embedded *steps); /* number of the last migration; 0 when they are not 1, 2, 3, ... */
bool store_quick_check(struct connection *c, struct fault *f);
/* A file is read whatever its state: with its -wal if there is one, else as it lies. */
bool store_open_to_read(struct connection *c, const char *path, bool *immutable, struct fault *f);
bool file_sync(const char *path); /* the file and the folder it is in */
/* store_open with other migrations than those inside the program: for tests of migrating. */
struct store *store_open_with(const struct store_options *o, const struct embedded *steps, struct fault *f)
    __attribute__((warn_unused_result));

/* ---- writer.c ---- */
bool writer_start(struct store *s, struct fault *f);
void writer_stop(struct store *s);
/* Runs `run` on the writer's thread and waits for it. */
bool writer_job(struct store *s, bool (*run)(struct store *, void *, struct fault *), void *argument, struct fault *f);

/* ---- checkpoint.c ---- */
bool checkpoint_start(struct store *s, struct fault *f);
void checkpoint_idle(struct store *s); /* the writer has nothing to do */
void checkpoint_stop(struct store *s); /* also one that did not start */

/* ---- group.c ---- */
enum group_kind { GROUP_SINGLES, GROUP_SLICE, GROUP_ATOMIC, GROUP_DRY, GROUP_DRY_ATOMIC };
/* Writes `count` writes in one transaction, sets their outcomes, tells the hook. False: nothing of it was kept (fault set), which for
 * the dry kinds is said only of failures. */
bool group_commit(struct store *s, struct write **writes, int count, enum group_kind kind, struct fault *f);
bool group_last_change(struct connection *c, int64_t *seq, int64_t *stored_us, struct fault *f);
/* BEGIN IMMEDIATE … COMMIT around a job's own statements. */
bool group_begin(struct store *s, struct fault *f);
bool group_end(struct store *s, bool keep, struct fault *f);
/* Has another process committed? Its rows count for last_seq, and a newer program may have changed the format. */
bool group_look_outside(struct store *s, struct fault *f);
bool group_prepare(struct store *s, struct fault *f); /* statements that must not need memory later */

/* ---- rules.c ---- */
/* The state that stands, as far as the rules need it. */
struct state {
    int64_t seq; /* 0: there is none */
    int revision;
    uint8_t digest[DIGEST_BYTES];
    int64_t writer, author;
    int64_t stored_us;
    char origin[LIMIT_SLUG + 1];
    bool is_void;
    char void_reason[LIMIT_REASON + 1];
};
/* A state about to be written. */
struct next_state {
    int64_t seq, stored_us;
    int revision;
    int64_t replaces;                 /* 0: none */
    int64_t member;                   /* who makes this change */
    int64_t writer;                   /* who wrote the content: the same but for imports and voids */
    int64_t author;                   /* who wrote the first state */
    const char *origin, *void_reason; /* NULL: none */
    const uint8_t *digest;
    int64_t deck, stock; /* identities a row refers to */
};
enum rule_result { RULE_REFUSED, RULE_SAME, RULE_CHANGED, RULE_FAILED /* part of it may be written: undo */ };
enum rule_result rules_apply(struct store *s, struct write *w, int64_t seq, int64_t now_us);
void etag_make(char out[48], int revision, const uint8_t digest[DIGEST_BYTES], bool is_void);
void stamp_etag(struct stamp *stamp, const uint8_t digest[DIGEST_BYTES]);

/* ---- put_*.c: 1 found, 0 none, -1 failed ---- */
int deck_find(struct store *s, const char *slug, struct state *out, struct fault *f);
int stock_find(struct store *s, const char *slug, struct state *out, struct fault *f);
int calibration_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f);
int service_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f);
int check_find(struct store *s, const struct uuid *id, struct state *out, struct fault *f);
bool deck_put(struct store *s, const struct deck *d, const struct next_state *n, struct fault *f);
bool stock_put(struct store *s, const struct stock *t, const struct next_state *n, struct fault *f);
bool calibration_put(struct store *s, const struct calibration *r, const struct next_state *n, struct fault *f);
bool calibration_void(struct store *s, int64_t old, const struct next_state *n, struct fault *f);
/* The state before the one at `seq`; author, revision and id are left alone. */
int calibration_before(struct store *s, int64_t seq, struct state *out, struct fault *f);
/* Content, moves and proof of the state at `from` as a new state. */
bool calibration_restore(struct store *s, int64_t from, const struct next_state *n, struct fault *f);
bool service_put(struct store *s, const struct service *v, const struct next_state *n, struct fault *f);
bool check_put(struct store *s, const struct deck_check *k, const struct next_state *n, struct fault *f);
/* Is this content one of the earlier states of what stands at `seq`? 1, 0, -1. */
int history_has(struct store *s, enum write_kind kind, int64_t seq, const uint8_t digest[DIGEST_BYTES], struct fault *f);
/* Id of a slug; 0 when there is none, -1 when it could not be read. */
int64_t deck_id(struct store *s, const char *slug, struct fault *f);
int64_t stock_id(struct store *s, const char *slug, struct fault *f);
void take_state(struct columns *c, struct state *out); /* what every *_find selects, in order: STATE_COLUMNS */
#define STATE_COLUMNS "seq, revision, digest, author, stored_us, origin"
bool state_replaced(struct store *s, enum sql which, const char *text, int64_t old, int64_t by, struct fault *f);

/* ---- people.c ---- */
/* "" for nobody. */
bool member_name(struct store *s, int64_t id, char out[LIMIT_NAME + 1], struct fault *f);
/* Finds or adds the author of an imported row. */
bool member_author(struct store *s, const char *origin, const char *name, int64_t now_us, int64_t *id, struct fault *f);
int person_find(struct store *s, const char *origin, const char *name, int64_t *id, enum role *role,
                struct fault *f); /* 1 found, 0 none, -1 failed */
bool person_new(struct store *s, const char *origin, const char *name, enum role role, int64_t now_us, int64_t *id, struct fault *f);

/* ---- keys.c ---- */
bool event_add(struct store *s, int64_t by, int64_t now_us, const char *what, const char *subject, const char *detail,
               struct fault *f); /* inside a transaction */

/* ---- read_*.c ---- */
/* The common columns of a state behind a join with member m (writer) and a (author): STAMP_COLUMNS. */
#define STAMP_COLUMNS "x.seq, x.revision, x.stored_us, m.name, a.name, x.origin, x.digest"
void take_stamp(struct columns *c, struct stamp *out, bool with_void); /* with_void: void_reason follows */
enum read_result read_end(int got);                                    /* -1: READ_FAILED, 0: READ_NONE, 1: READ_OK */

/* ---- integrity.c ---- */
/* Everything that can be proved from the file alone; with `deep` also that each row's digest is that of its content. Adds a finding an item. */
bool integrity_prove(struct reader *r, bool deep, struct fault *f);

#endif
