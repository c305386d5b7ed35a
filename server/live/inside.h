/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The state that live.c (views, hook), solver.c (rows -> model -> view) and estimator.c (variances) share. Not for other rooms.
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
    pthread_t solver, estimator;
    bool threads, stopping, resting; /* resting: further rows need not wake the solver */
    atomic_bool give_up;             /* tells a running fit to stop */
    int64_t target;                  /* change the solver should reach */
    bool services_changed, catalog_stale, keys_stale;
    int64_t start_seq;     /* what "ready" means */
    int64_t as_of;         /* of the published model */
    struct model_job *job; /* waiting for the estimator, or with it */
    bool job_running, job_done, job_ok;
    bool job_lacked;                            /* not ok for want of memory: worth another try */
    bool job_is_replay;                         /* it makes the track record and ends with the estimator */
    bool track_due;                             /* variances are new since the last replay */
    int64_t changed_us, fitted_us, fit_took_us; /* monotonic */
    long changes_since_fit;
    struct live_figures figures;
};

/* ---- live.c ---- */
bool live_load_catalog(struct live *l, struct fault *f);                      /* from the store, published */
bool live_publish_model(struct live *l, struct model_view *v, int64_t as_of); /* takes v; false: memory, v freed */

/* ---- solver.c ---- */
bool solver_catch_up(struct live *l, int64_t target, struct fault *f); /* rows up to target into the model; no solve */
bool solver_publish(struct live *l, int64_t as_of, struct fault *f);
bool solver_save(struct live *l, struct fault *f);
void *solver_main(void *live);

/* ---- estimator.c ---- */
void *estimator_main(void *live);
void live_yield(int nice); /* the calling thread lets others go first: 0 not at all, 19 most */

#endif
