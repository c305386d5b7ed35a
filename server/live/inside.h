/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The state that live.c (views, hook), solver.c and feed.c (rows -> model -> view), jobs.c and aside.c (what takes long) share. Not for other rooms.
 *
 * Who may touch what: `model` belongs to the solver thread (or to live_open before the threads start). `view` is guarded by
 * `view_lock`. Locks are taken in the order catalog_lock, view_lock. All below `lock` is guarded by it; `wake` is signalled when any of it changes.
 */
#ifndef BIASBOOK_LIVE_INSIDE_H
#define BIASBOOK_LIVE_INSIDE_H

#include "live.h"
#include "track.h"

#include <pthread.h>

struct model_hold {
    atomic_long holders;
    struct model_view *view;
};

enum work { WORK_NONE, WORK_FIT, WORK_REPLAY /* makes the track record */, WORK_SAVE, WORK_RENEWAL };

struct aside { /* a thread and its work, under `lock` but for the job while it runs */
    struct live *live;
    const char *name;
    int nice;
    pthread_t thread;
    enum work work;
    struct model_job *job;
    bool busy;     /* from the solver's beginning it until what came out is taken */
    bool done, ok; /* to be taken */
    bool lacked;   /* not ok for want of memory: worth another try */
};

struct live {
    struct store *store;
    struct keyring *keys;
    struct sessions *sessions;
    struct model *model;

    pthread_mutex_t
        catalog_lock; /* around making a catalog from the one in place and putting it there: hook and reload never undo each other */
    pthread_mutex_t view_lock;
    struct view *view;
    struct track *track;

    pthread_mutex_t lock;
    pthread_cond_t wake;
    pthread_t solver;
    struct aside estimator, renewer;
    bool threads, stopping, resting; /* resting: further rows need not wake the solver */
    atomic_bool give_up;             /* tells a running fit to stop */
    int64_t target;                  /* change the solver should reach */
    bool services_changed, catalog_stale, keys_stale;
    int64_t start_seq;                                /* what "ready" means */
    int64_t as_of;                                    /* of the published model */
    bool fit_taken;                                   /* the solver's: variances came that are not served yet */
    bool save_due, track_due;                         /* variances are new since tables were saved, the track record made */
    int64_t fit_not_before_us, renewal_not_before_us; /* the last one failed */
    int64_t changed_us, fitted_us, fit_took_us;       /* monotonic */
    long changes_since_fit;
    struct live_figures figures;
};

/* ---- live.c ---- */
bool live_load_catalog(struct live *l, struct fault *f);                      /* from the store, published */
bool live_publish_model(struct live *l, struct model_view *v, int64_t as_of); /* takes v; false: memory, v freed */

/* ---- feed.c ---- */
bool solver_catch_up(struct live *l, int64_t target, struct fault *f); /* rows up to target into the model; no solve */
bool solver_publish(struct live *l, int64_t as_of, struct fault *f);
bool solver_save(struct live *l, struct fault *f); /* what is published */

/* ---- jobs.c: on the solver's thread ---- */
bool jobs_due(const struct live *l, int64_t now);      /* something is to be begun or taken; with the lock held */
bool jobs_due_soon(const struct live *l, int64_t now); /* if all stays quiet; with the lock held */
void jobs_take(struct live *l);
void jobs_begin(struct live *l);
void jobs_served(struct live *l); /* a view was published */
void live_say(const char *what, const struct fault *f);

/* ---- solver.c, aside.c ---- */
void *solver_main(void *live);
void *aside_main(void *aside);
void live_yield(int nice); /* the calling thread lets others go first, so much more than whoever started it: once a thread */

#endif
