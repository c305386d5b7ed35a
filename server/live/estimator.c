/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator thread: takes a fit that the solver began, works on it alone at low priority, and hands it back.
 */
#include "inside.h"

#include "../ground/log.h"

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

void live_yield(int nice)
{
    /* Linux: the nice value belongs to the thread, and those it starts inherit it. A refusal costs only politeness. */
    (void)setpriority(PRIO_PROCESS, (id_t)syscall(SYS_gettid), nice);
}

static void say_failed(const struct live *l, const char *what, const struct fault *f)
{
    char text[400];
    if (!l->give_up)
        log_line(LOG_ERROR, what, "why", fault_text(f, text, sizeof text), NULL);
}

static bool run_fit(struct live *l, struct model_job *job, bool *lacked)
{
    struct fault f = {0};
    bool ok = model_job_run(job, &l->give_up, &f);
    if (!ok)
        say_failed(l, "estimation failed", &f);
    *lacked = !ok && f.kind == FAULT_MEMORY;
    return ok;
}

static bool run_replay(struct live *l, struct model_job *job)
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
    return ok;
}

void *estimator_main(void *user)
{
    struct live *l = user;
    pthread_setname_np(pthread_self(), "estimator");
    live_yield(19);
    pthread_mutex_lock(&l->lock);
    for (;;) {
        while (!l->stopping && (!l->job || l->job_done))
            pthread_cond_wait(&l->wake, &l->lock);
        if (l->stopping)
            break;
        struct model_job *job = l->job;
        bool replay = l->job_is_replay;
        l->job_running = true;
        pthread_mutex_unlock(&l->lock);
        int64_t start = clock_monotonic_us();
        bool lacked = false, ok = replay ? run_replay(l, job) : run_fit(l, job, &lacked);
        int64_t end = clock_monotonic_us();
        pthread_mutex_lock(&l->lock);
        l->job_running = false;
        if (replay) {
            l->job = NULL; /* it was the estimator's own */
        } else {
            l->job_done = true;
            l->job_ok = ok;
            l->job_lacked = lacked;
            l->fitted_us = end;
            l->fit_took_us = end - start;
            l->figures.fits++;
            l->figures.fit_last_us = end - start;
        }
        pthread_cond_broadcast(&l->wake);
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}
