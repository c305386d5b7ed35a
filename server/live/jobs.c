/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the solver has others do: when variances are to be estimated anew, a full solve is due, tables are to be saved or the track record made; beginning that, and
 * taking what came out. All on the solver's thread.
 */
#include "inside.h"

#include "../ground/log.h"

#define QUIET_US      300000LL  /* no change for so long: a good moment to estimate variances */
#define QUIET_MOST_US 4000000LL /* the same where an estimate takes long */
#define FIT_SHARE     10        /* under steady change a fit takes at most one part in so many of the time */
#define RETRY_US      1000000LL /* until what failed is tried again */

void live_say(const char *what, const struct fault *f)
{
    char text[400];
    log_line(LOG_ERROR, what, "why", fault_text(f, text, sizeof text), NULL);
}

/* ---- when: with the lock held ---- */

/* A pause between two bursts is none to begin what takes long. */
static bool quiet(const struct live *l, int64_t now)
{
    int64_t enough = l->fit_took_us / 4 < QUIET_MOST_US ? l->fit_took_us / 4 : QUIET_MOST_US;
    return now - l->changed_us >= (enough > QUIET_US ? enough : QUIET_US);
}

/* Variances are worth estimating again: something changed, and either all is quiet or the last time is long enough ago. */
static bool fit_due(const struct live *l, int64_t now)
{
    return l->changes_since_fit && now >= l->fit_not_before_us &&
           (quiet(l, now) || now - l->fitted_us >= FIT_SHARE * l->fit_took_us + 1000000LL);
}

/* What the estimator should do next; WORK_NONE while it has something to do. The track record waits until nothing else does. */
static enum work due(const struct live *l, int64_t now)
{
    if (l->estimator.busy)
        return WORK_NONE;
    if (l->save_due)
        return WORK_SAVE;
    if (fit_due(l, now))
        return WORK_FIT;
    return l->track_due && !l->changes_since_fit && quiet(l, now) ? WORK_REPLAY : WORK_NONE;
}

static bool renewal_due(const struct live *l, int64_t now)
{
    return !l->renewer.busy && now >= l->renewal_not_before_us && model_renewal_due(l->model);
}

bool jobs_due(const struct live *l, int64_t now)
{
    return l->estimator.done || l->renewer.done || due(l, now) != WORK_NONE || renewal_due(l, now);
}

bool jobs_due_soon(const struct live *l, int64_t now)
{
    return jobs_due(l, now + QUIET_MOST_US);
}

/* ---- taking ---- */

/* A fit that was given up for want of memory is due once more, in a second. Other failures would come again: they wait for new results. */
static void fit_again(struct live *l)
{
    pthread_mutex_lock(&l->lock);
    if (!l->changes_since_fit)
        l->changes_since_fit = 1;
    l->fit_not_before_us = clock_monotonic_us() + RETRY_US;
    pthread_mutex_unlock(&l->lock);
}

static void renew_later(struct live *l)
{
    pthread_mutex_lock(&l->lock);
    l->renewal_not_before_us = clock_monotonic_us() + RETRY_US;
    pthread_mutex_unlock(&l->lock);
}

static void take_from(struct live *l, struct aside *a)
{
    struct fault f = {0};
    pthread_mutex_lock(&l->lock);
    struct model_job *job = a->done ? a->job : NULL;
    bool ok = a->ok, lacked = a->lacked, fit = a->work == WORK_FIT;
    if (job) {
        a->job = NULL;
        a->busy = a->done = false;
    }
    pthread_mutex_unlock(&l->lock);
    if (!job)
        return;
    if (!ok)
        model_job_free(job);
    else if (!model_job_take(l->model, job, &f))
        live_say("what was worked out could not be taken over", &f);
    bool again = (!ok && lacked) || fault_set(&f);
    if (again && fit)
        fit_again(l);
    if (!fit && (!ok || again))
        renew_later(l);
    l->fit_taken = l->fit_taken || (fit && ok && !fault_set(&f));
}

void jobs_take(struct live *l)
{
    take_from(l, &l->renewer);
    take_from(l, &l->estimator); /* its variances are newer */
}

void jobs_served(struct live *l)
{
    if (!l->fit_taken || !model_settled(l->model))
        return;
    pthread_mutex_lock(&l->lock);
    l->save_due = l->track_due = true;
    l->fit_taken = false;
    pthread_mutex_unlock(&l->lock);
}

/* ---- beginning ---- */

static void hand_over(struct live *l, struct aside *a, enum work work, struct model_job *job)
{
    pthread_mutex_lock(&l->lock);
    a->work = work;
    a->job = job;
    a->done = false;
    a->busy = true;
    pthread_cond_broadcast(&l->wake);
    pthread_mutex_unlock(&l->lock);
}

static void begin(struct live *l, enum work work)
{
    struct fault f = {0};
    pthread_mutex_lock(&l->lock);
    if (work == WORK_SAVE)
        l->save_due = false;
    if (work == WORK_REPLAY)
        l->track_due = false; /* if it fails: with the next fit again */
    pthread_mutex_unlock(&l->lock);
    struct model_job *job = work == WORK_FIT      ? model_fit_begin(l->model, &f)
                            : work == WORK_REPLAY ? model_renewal_begin(l->model, &f)
                                                  : NULL;
    if (!job && work != WORK_SAVE) {
        live_say(work == WORK_REPLAY ? "a replay could not be begun" : "a fit could not be begun", &f);
        if (work == WORK_FIT)
            fit_again(l);
        return;
    }
    if (work == WORK_FIT)
        l->changes_since_fit = 0;
    hand_over(l, &l->estimator, work, job);
}

static void begin_renewal(struct live *l)
{
    struct fault f = {0};
    struct model_job *job = model_renewal_begin(l->model, &f);
    if (job) {
        hand_over(l, &l->renewer, WORK_RENEWAL, job);
        return;
    }
    live_say("a full solve could not be begun", &f);
    renew_later(l);
}

void jobs_begin(struct live *l)
{
    int64_t now = clock_monotonic_us();
    pthread_mutex_lock(&l->lock);
    enum work work = due(l, now);
    bool renewal = renewal_due(l, now);
    pthread_mutex_unlock(&l->lock);
    if (work != WORK_NONE)
        begin(l, work);
    if (renewal)
        begin_renewal(l);
}
