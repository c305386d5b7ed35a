/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Threads that work out aside what takes long: each takes the work that the solver began for it, does it alone at low priority, and hands it back. The estimator has the
 * variances, the track record and the saving of tables; the renewer has full solves, which an estimate must not delay.
 */
#include "inside.h"

#include "../ground/log.h"

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

void live_yield(int nice)
{
    /* Linux: the nice value belongs to the thread, and those it starts inherit it. A refusal costs only politeness. */
    id_t self = (id_t)syscall(SYS_gettid);
    (void)setpriority(PRIO_PROCESS, self, getpriority(PRIO_PROCESS, self) + nice);
}

static void say_failed(const struct live *l, const char *what, const struct fault *f)
{
    char text[400];
    if (!l->give_up)
        log_line(LOG_ERROR, what, "why", fault_text(f, text, sizeof text), NULL);
}

/* What comes of it is the solver's to take. */
static void run_job(struct aside *a)
{
    struct live *l = a->live;
    struct fault f = {0};
    int64_t start = clock_monotonic_us();
    bool ok = model_job_run(a->job, &l->give_up, &f);
    int64_t end = clock_monotonic_us();
    if (!ok)
        say_failed(l, a->work == WORK_FIT ? "estimation failed" : "a full solve failed", &f);
    pthread_mutex_lock(&l->lock);
    a->done = true;
    a->ok = ok;
    a->lacked = !ok && f.kind == FAULT_MEMORY;
    if (a->work == WORK_FIT) {
        l->fitted_us = end;
        l->fit_took_us = end - start;
        l->figures.fits++;
        l->figures.fit_last_us = end - start;
    }
    pthread_mutex_unlock(&l->lock);
}

static void run_replay(struct live *l, struct model_job *job)
{
    struct fault f = {0};
    struct view *v = live_take(l);
    int64_t as_of = v->as_of;
    view_give(v);
    struct track *t = track_make(job, as_of, &l->give_up, &f);
    model_job_free(job);
    bool ok = t && (l->give_up || track_store(l, t, &f));
    if (!ok)
        say_failed(l, "the track record could not be made or stored", &f);
    if (t)
        track_publish(l, t);
}

static void run_save(struct live *l)
{
    struct fault f = {0};
    if (!solver_save(l, &f))
        say_failed(l, "tables could not be saved", &f);
}

/* With the lock held. */
static void work_once(struct aside *a)
{
    struct live *l = a->live;
    struct model_job *job = a->job;
    pthread_mutex_unlock(&l->lock);
    switch (a->work) {
    case WORK_FIT:
    case WORK_RENEWAL: run_job(a); break;
    case WORK_REPLAY: run_replay(l, job); break;
    case WORK_SAVE: run_save(l); break;
    case WORK_NONE: break;
    }
    pthread_mutex_lock(&l->lock);
    if (!a->done) { /* nothing to hand back */
        a->job = NULL;
        a->busy = false;
    }
    pthread_cond_broadcast(&l->wake);
}

void *aside_main(void *user)
{
    struct aside *a = user;
    struct live *l = a->live;
    pthread_setname_np(pthread_self(), a->name);
    live_yield(a->nice);
    pthread_mutex_lock(&l->lock);
    while (!l->stopping) {
        if (a->busy && !a->done)
            work_once(a);
        else
            pthread_cond_wait(&l->wake, &l->lock);
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}
