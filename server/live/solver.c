/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The solver thread: feeds committed rows to the model, solves with variances held, publishes. It owns the model; what takes long (an estimate, a full solve) runs on a
 * copy aside (jobs.c, aside.c), and what came out is brought up to date one result at a time between rounds, so that no logged result waits for it.
 */
#include "inside.h"

#include "../store/reader.h"

#include <errno.h>
#include <time.h>

#define RETRY_US      1000000LL /* until what failed is tried again */
#define POLL_MS       500       /* how often another process's changes are looked for: contract says within a second */
#define STALE_MS      20        /* the same when what is served lacks something acknowledged, because memory was out at the commit */
#define NICE          5         /* those who log and ask go first when all cores are busy */
#define REST_US       15000LL   /* longest rest after a round that was short: a result has to be seen within 20 ms */
#define LONG_US       50000LL   /* a round that took so long and learned a burst of rows: then larger portions, which cost less a row */
#define BURST_ROWS    48        /* fewer are a few members, who wait for what they logged */
#define BURST_SHARE   8         /* under a lasting burst learning takes at most one part in so many of the time */
#define BURST_REST_US 4000000LL /* but what is served is never older than this and a round */
#define STEP_US       50000LL   /* how soon the end of a burst is noticed */
#define LONE_ROWS     4         /* after so few no rest at all */

/* ---- the steps of one round ---- */

static void look_outside(struct live *l)
{
    keyring_save_uses(l->keys, l->store);
    pthread_mutex_lock(&l->lock);
    bool stale = l->catalog_stale || l->keys_stale;
    l->catalog_stale = l->keys_stale = false; /* before reading: a commit meanwhile may set it again */
    pthread_mutex_unlock(&l->lock);
    if (!store_changed_outside(l->store) && !stale)
        return;
    struct fault f = {0};
    if (!keyring_load(l->keys, l->store, &f) || !live_load_catalog(l, &f)) {
        live_say("could not read changes made by another process", &f);
        pthread_mutex_lock(&l->lock);
        l->catalog_stale = l->keys_stale = true; /* look again */
        pthread_mutex_unlock(&l->lock);
        return;
    }
    pthread_mutex_lock(&l->lock);
    l->services_changed = true;
    int64_t seq = store_last_seq(l->store);
    if (seq > l->target)
        l->target = seq;
    pthread_mutex_unlock(&l->lock);
}

/* After each round the solver rests, so that under steady logging it takes a share of the cores and not all: the next round learns more at once. A result that
 * comes after a quiet moment, or from a member who logs alone, is learned from at once. */
static int64_t rest_after(int64_t took_us, int64_t learned)
{
    if (learned <= LONE_ROWS)
        return 0;
    if (took_us >= LONG_US && learned >= BURST_ROWS)
        return BURST_SHARE * took_us < BURST_REST_US ? BURST_SHARE * took_us : BURST_REST_US;
    return 2 * took_us < REST_US ? 2 * took_us : REST_US;
}

static bool solve_new_rows(struct live *l, int64_t target)
{
    struct fault f = {0};
    int64_t start = clock_monotonic_us();
    bool ok = solver_catch_up(l, target, &f) && model_solve(l->model, &f) && solver_publish(l, target, &f);
    int64_t now = clock_monotonic_us();
    pthread_mutex_lock(&l->lock);
    l->changed_us = now;
    l->figures.solves++;
    l->figures.solve_last_us = now - start;
    pthread_mutex_unlock(&l->lock);
    if (!ok)
        live_say("new results could not be learned from, will try again", &f);
    else
        jobs_served(l);
    return ok;
}

/* One more result into what was worked out aside. */
static void catch_up(struct live *l)
{
    struct fault f = {0};
    struct model_figures held;
    if (!model_catch_up(l->model))
        return;
    model_held(l->model, &held);
    if (!solver_publish(l, held.as_of, &f))
        live_say("what was worked out could not be published", &f);
    else
        jobs_served(l);
}

static void wait_ms(struct live *l, int ms) /* with the lock held */
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += (long)ms * 1000000L;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    pthread_cond_timedwait(&l->wake, &l->lock, &until);
}

/* With the lock held: until that time, a finished job or the end; further rows do not wake it, but when a burst is over there is nothing more to rest for. */
static void rest(struct live *l, int64_t until_us)
{
    int64_t next_us = clock_monotonic_us(), before = 0;
    bool over = false;
    l->resting = true;
    while (!over && next_us < until_us && !l->stopping && !l->estimator.done && !l->renewer.done) {
        before = l->target;
        next_us = next_us + STEP_US < until_us ? next_us + STEP_US : until_us;
        struct timespec until = {.tv_sec = next_us / 1000000, .tv_nsec = next_us % 1000000 * 1000};
        while (!l->stopping && !l->estimator.done && !l->renewer.done && pthread_cond_timedwait(&l->wake, &l->lock, &until) != ETIMEDOUT)
            ;
        over = l->target - before < BURST_ROWS;
    }
    l->resting = false;
}

/* With the lock held. */
static bool look_due(const struct live *l, int64_t since_us)
{
    return since_us >= (l->catalog_stale || l->keys_stale ? STALE_MS : POLL_MS) * 1000LL;
}

void *solver_main(void *user)
{
    struct live *l = user;
    int64_t looked = 0, stuck_until = 0, rest_until = 0;
    pthread_setname_np(pthread_self(), "solver");
    live_yield(NICE);
    pthread_mutex_lock(&l->lock);
    while (!l->stopping) {
        int64_t now = clock_monotonic_us(), target = l->target;
        struct model_figures held;
        model_held(l->model, &held);
        bool behind = (held.as_of < target || l->as_of < target) && now >= stuck_until; /* to be fed, or fed and to be published */
        bool finished = l->estimator.done || l->renewer.done, look = look_due(l, now - looked);
        if (behind && !finished && now < rest_until) {
            if (!model_catching_up(l->model)) {
                rest(l, rest_until);
                rest_until = 0;
                continue;
            }
            behind = false; /* a rest is for catching up, if there is something to: under steady logging no other time is */
        }
        if (!behind && !look && !jobs_due(l, now) && !model_catching_up(l->model)) {
            wait_ms(l, l->catalog_stale || l->keys_stale ? STALE_MS : jobs_due_soon(l, now) ? 50 : POLL_MS);
            continue;
        }
        pthread_mutex_unlock(&l->lock);
        if (look) {
            look_outside(l);
            looked = now;
        }
        if (finished)
            jobs_take(l);
        if (behind) {
            if (!solve_new_rows(l, target))
                stuck_until = now + RETRY_US;
            int64_t end = clock_monotonic_us(), learned = target - held.as_of;
            rest_until = end + rest_after(end - now, learned);
            for (int64_t i = 0; i <= learned && i <= LONE_ROWS; i++) /* there may be no rest: faster than it falls behind */
                catch_up(l);
        } else {
            catch_up(l);
        }
        jobs_begin(l);
        pthread_mutex_lock(&l->lock);
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}
