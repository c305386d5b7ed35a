/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The solver thread: reads committed rows from the store in seq order, gives them to the model, solves with variances held, publishes. It
 * owns the model; a fit runs on a copy with the estimator meanwhile, so that a long one never delays a logged result.
 *
 * Rows are read from the store, not handed over by the writer: nothing piles up in memory when an import outruns the solver.
 */
#include "inside.h"

#include "../ground/log.h"
#include "../ground/memory.h"
#include "../store/reader.h"

#include <errno.h>
#include <time.h>

#define QUIET_US   300000LL  /* no change for so long: a good moment to estimate variances */
#define FIT_SHARE  10        /* under steady change a fit takes at most one part in so many of the time */
#define RETRY_US   1000000LL /* until what failed is tried again */
#define POLL_MS    500       /* how often another process's changes are looked for: contract says within a second */
#define STALE_MS   20        /* the same when what is served lacks something acknowledged, because memory was out at the commit */
#define NICE       5         /* those who log and ask go first when all cores are busy */
#define REST_US    15000LL   /* longest rest after a round that was short: a result has to be seen within 20 ms */
#define LONG_US    50000LL   /* a round that took so long and learned a burst of rows: then larger portions, which cost less a row */
#define BURST_ROWS 48        /* fewer are a few members, who wait for what they logged */

struct feeding {
    struct live *live;
    int64_t after, target;
    bool failed;
    long fed;
};

static bool feed_service(void *user, const struct service *s, const struct stamp *stamp)
{
    struct feeding *g = user;
    if (stamp->seq > g->after && stamp->seq <= g->target)
        g->failed = !model_put_service(g->live->model, s, stamp);
    return !g->failed;
}

static bool feed_calibration(void *user, const struct calibration *c, const struct stamp *stamp)
{
    struct feeding *g = user;
    if (stamp->seq > g->target)
        return false; /* newer than the catalog we hold: the next round takes it */
    g->failed = !model_put_calibration(g->live->model, c, stamp);
    g->fed++;
    return !g->failed;
}

static bool feed_catalog(struct live *l, const struct catalog *c, int64_t after)
{
    for (size_t i = 0; i < c->count; i++) {
        const struct catalog_entry *e = c->entries[i];
        if (e->stamp.seq <= after)
            continue;
        if (!(e->is_deck ? model_put_deck(l->model, e->deck) : model_put_stock(l->model, e->stock)))
            return false;
    }
    return true;
}

/* `l->as_of` tells what is published; what the *model* holds may be less right after a start from saved tables. */
bool solver_catch_up(struct live *l, int64_t target, struct fault *f)
{
    struct model_figures held;
    model_held(l->model, &held);
    pthread_mutex_lock(&l->lock);
    bool stale = l->catalog_stale;
    pthread_mutex_unlock(&l->lock);
    if (stale) /* a row of a deck that is not in it yet would be passed over for good */
        return fault_add(f, FAULT_MEMORY, "", "memory", "decks and stocks have to be read again first");
    struct feeding g = {.live = l, .after = held.as_of, .target = target};
    pthread_mutex_lock(&l->lock);
    bool services = l->services_changed || g.after == 0;
    l->services_changed = false;
    pthread_mutex_unlock(&l->lock);

    struct view *v = live_take(l);
    bool ok = feed_catalog(l, v->catalog, g.after);
    view_give(v);
    struct reader *r = ok ? reader_take(l->store, f) : NULL;
    if (r && services)
        ok = walk_services(r, NULL, feed_service, &g, f) != READ_FAILED && !g.failed;
    struct calibration_filter filter = {.since_us = CLOCK_NONE, .after_seq = g.after};
    if (r && ok)
        ok = walk_calibrations(r, &filter, true, feed_calibration, &g, f) != READ_FAILED && !g.failed;
    reader_give(r);
    if (!r || !ok) {
        if (!ok && !fault_set(f))
            fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading rows into the model");
        return false;
    }
    model_reached(l->model, target);
    l->changes_since_fit += g.fed;
    return true;
}

bool solver_publish(struct live *l, int64_t as_of, struct fault *f)
{
    struct model_view *v = model_publish(l->model, f);
    if (!v || !live_publish_model(l, v, as_of))
        return false;
    pthread_mutex_lock(&l->lock);
    if (as_of > l->as_of)
        l->as_of = as_of; /* as_of of a view never falls */
    pthread_cond_broadcast(&l->wake);
    pthread_mutex_unlock(&l->lock);
    return true;
}

bool solver_save(struct live *l, struct fault *f)
{
    struct view *v = live_take(l);
    void *bytes = NULL;
    size_t n = 0;
    bool ok = model_view_save(v->model, &bytes, &n, f) && store_save_blob(l->store, "model-view", bytes, n, f);
    mem_free(bytes);
    view_give(v);
    return ok;
}

/* ---- the steps of one round ---- */

static void say(const char *what, const struct fault *f)
{
    char text[400];
    log_line(LOG_ERROR, what, "why", fault_text(f, text, sizeof text), NULL);
}

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
        say("could not read changes made by another process", &f);
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
 * comes after a quiet moment is learned from at once. */
static int64_t rest_after(int64_t took_us, int64_t learned)
{
    if (took_us >= LONG_US && learned >= BURST_ROWS)
        return 3 * took_us;
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
        say("new results could not be learned from, will try again", &f);
    return ok;
}

/* A fit that was given up for want of memory is due once more, in a second. Other failures would come again: they wait for new results. */
static void fit_again(struct live *l)
{
    pthread_mutex_lock(&l->lock);
    if (!l->changes_since_fit)
        l->changes_since_fit = 1;
    l->changed_us = clock_monotonic_us() + RETRY_US - QUIET_US;
    pthread_mutex_unlock(&l->lock);
}

static void take_fit(struct live *l, struct model_job *job, bool worked, bool lacked)
{
    struct fault f = {0};
    if (!worked) {
        model_job_free(job);
        if (lacked)
            fit_again(l);
        return;
    }
    struct model_figures held;
    if (!model_fit_adopt(l->model, job, &f)) {
        say("a fit could not be taken over", &f);
        fit_again(l);
        return;
    }
    model_held(l->model, &held);
    if (!solver_publish(l, held.as_of, &f) || !solver_save(l, &f))
        say("a fit could not be published", &f);
    pthread_mutex_lock(&l->lock);
    l->track_due = true;
    pthread_mutex_unlock(&l->lock);
}

/* With the lock held. Variances are worth estimating again: something changed, and either all is quiet or the last time is long enough ago. */
static bool fit_due(const struct live *l, int64_t now)
{
    if (!l->changes_since_fit || l->job)
        return false;
    if (now - l->changed_us >= QUIET_US)
        return true;
    return now - l->fitted_us >= FIT_SHARE * l->fit_took_us + 1000000LL;
}

/* With the lock held. The track record waits until nothing else does. */
static bool replay_due(const struct live *l, int64_t now)
{
    return l->track_due && !l->job && !l->changes_since_fit && now - l->changed_us >= QUIET_US;
}

static void begin_job(struct live *l, bool replay)
{
    struct fault f = {0};
    struct model_job *job = model_fit_begin(l->model, &f);
    if (!job)
        say(replay ? "a replay could not be begun" : "a fit could not be begun", &f);
    if (!job && !replay) {
        fit_again(l);
        return;
    }
    pthread_mutex_lock(&l->lock);
    if (replay)
        l->track_due = false; /* if it failed: with the next fit again */
    else
        l->changes_since_fit = 0;
    l->job = job;
    l->job_is_replay = replay;
    l->job_done = false;
    pthread_cond_broadcast(&l->wake);
    pthread_mutex_unlock(&l->lock);
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

/* With the lock held: until that time, a finished fit or the end; further rows do not wake it. */
static void rest(struct live *l, int64_t until_us)
{
    struct timespec until = {.tv_sec = until_us / 1000000, .tv_nsec = until_us % 1000000 * 1000};
    l->resting = true;
    while (!l->stopping && !l->job_done && pthread_cond_timedwait(&l->wake, &l->lock, &until) != ETIMEDOUT)
        ;
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
        int64_t now = clock_monotonic_us();
        struct model_job *finished = l->job_done ? l->job : NULL;
        bool worked = l->job_ok, lacked = l->job_lacked;
        int64_t target = l->target;
        struct model_figures held;
        model_held(l->model, &held);
        bool behind = (held.as_of < target || l->as_of < target) && now >= stuck_until; /* to be fed, or fed and to be published */
        bool resting = behind && !finished && now < rest_until;
        if (resting) {
            rest(l, rest_until);
            continue;
        }
        if (finished) {
            l->job = NULL;
            l->job_done = false;
        } else if (!behind && !look_due(l, now - looked) && !fit_due(l, now) && !replay_due(l, now)) {
            bool soon = fit_due(l, now + QUIET_US) || replay_due(l, now + QUIET_US);
            wait_ms(l, l->catalog_stale || l->keys_stale ? STALE_MS : soon ? 50 : POLL_MS);
            continue;
        }
        bool look = look_due(l, now - looked);
        pthread_mutex_unlock(&l->lock);
        if (look) {
            look_outside(l);
            looked = now;
        }
        if (behind) {
            if (!solve_new_rows(l, target))
                stuck_until = now + RETRY_US;
            int64_t end = clock_monotonic_us();
            rest_until = end + rest_after(end - now, target - held.as_of);
        }
        if (finished)
            take_fit(l, finished, worked, lacked);
        pthread_mutex_lock(&l->lock);
        bool fit = fit_due(l, clock_monotonic_us());
        if (fit || replay_due(l, clock_monotonic_us())) {
            pthread_mutex_unlock(&l->lock);
            begin_job(l, !fit);
            pthread_mutex_lock(&l->lock);
        }
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}
