/* SPDX-License-Identifier: GPL-3.0-or-later
 * See live.h: opening, the commit hook, taking and giving views, closing. */
#include "inside.h"

#include "../ground/log.h"
#include "../ground/memory.h"
#include "../store/reader.h"

#include <errno.h>
#include <string.h>
#include <time.h>

/* ---- views ---- */

static void hold_drop(struct model_hold *h)
{
    if (h && atomic_fetch_sub(&h->holders, 1) == 1) {
        model_view_free(h->view);
        mem_free(h);
    }
}

struct view *live_take(struct live *l)
{
    pthread_mutex_lock(&l->view_lock);
    struct view *v = l->view;
    atomic_fetch_add(&v->holders, 1);
    pthread_mutex_unlock(&l->view_lock);
    return v;
}

void view_give(struct view *v)
{
    if (!v || atomic_fetch_sub(&v->holders, 1) != 1)
        return;
    catalog_drop((struct catalog *)(uintptr_t)v->catalog);
    hold_drop(v->hold);
    mem_free(v);
}

static void write_fitted(struct view *v, const struct model_view *m)
{
    struct model_figures figures;
    model_view_figures(m, &figures);
    if (figures.fitted_us != CLOCK_NONE)
        clock_format(figures.fitted_us, 0, v->fitted_at);
}

/* Puts a view of these two in place; takes both references. Only one of the two may be new: the other is taken from the view in place,
 * under the lock, so that the hook and the solver never undo each other's work. */
static bool publish(struct live *l, struct catalog *catalog, struct model_hold *hold, int64_t as_of)
{
    struct view *v = mem_zero(1, sizeof *v);
    if (!v) {
        catalog_drop(catalog);
        hold_drop(hold);
        return false;
    }
    atomic_init(&v->holders, 1);
    if (hold)
        write_fitted(v, hold->view);
    pthread_mutex_lock(&l->view_lock);
    struct view *old = l->view;
    if (!catalog)
        catalog = catalog_hold((struct catalog *)(uintptr_t)old->catalog);
    if (!hold) {
        hold = old->hold;
        atomic_fetch_add(&hold->holders, 1);
        as_of = old->as_of;
        memcpy(v->fitted_at, old->fitted_at, sizeof v->fitted_at);
    }
    v->catalog = catalog;
    v->hold = hold;
    v->model = hold->view;
    v->as_of = as_of;
    l->view = v;
    pthread_mutex_unlock(&l->view_lock);
    view_give(old);
    return true;
}

bool live_publish_model(struct live *l, struct model_view *mv, int64_t as_of)
{
    struct model_hold *h = mem_zero(1, sizeof *h);
    if (!h) {
        model_view_free(mv);
        return false;
    }
    atomic_init(&h->holders, 1);
    h->view = mv;
    return publish(l, NULL, h, as_of);
}

/* ---- catalog ---- */

struct loading {
    struct catalog *catalog;
    bool failed;
};

static bool load_deck(void *user, const struct deck *d, const struct stamp *stamp)
{
    struct loading *g = user;
    g->failed = !catalog_put(&g->catalog, &(struct catalog_change){.deck = d, .stamp = stamp});
    return !g->failed;
}

static bool load_stock(void *user, const struct stock *s, const struct stamp *stamp)
{
    struct loading *g = user;
    g->failed = !catalog_put(&g->catalog, &(struct catalog_change){.stock = s, .stamp = stamp});
    return !g->failed;
}

static struct catalog *read_catalog(struct store *s, struct fault *f)
{
    struct loading g = {.catalog = catalog_new()};
    struct reader *r = g.catalog ? reader_take(s, f) : NULL;
    bool ok = r && walk_decks(r, NULL, 0, load_deck, &g, f) != READ_FAILED && walk_stocks(r, NULL, 0, load_stock, &g, f) != READ_FAILED;
    reader_give(r);
    if (ok && !g.failed)
        return g.catalog;
    if (!g.catalog || g.failed)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading decks and stocks");
    catalog_drop(g.catalog);
    return NULL;
}

bool live_load_catalog(struct live *l, struct fault *f)
{
    pthread_mutex_lock(&l->catalog_lock);
    struct catalog *c = read_catalog(l->store, f);
    bool ok = c && (publish(l, c, NULL, 0) || fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading decks and stocks"));
    pthread_mutex_unlock(&l->catalog_lock);
    return ok;
}

/* On the writer's thread, after the commit and before its callers are answered: who wrote a deck may name it in the next request. */
static void on_commit(void *user, struct write *const *writes, int count)
{
    struct live *l = user;
    struct catalog_change changes[64];
    int64_t top = 0;
    bool services = false, stale = false;
    for (int i = 0; i < count;) {
        size_t n = 0;
        for (; i < count && n < 64; i++) {
            const struct write *w = writes[i];
            if (w->stamp.seq > top)
                top = w->stamp.seq;
            if (w->kind == WRITE_SERVICE)
                services = true;
            if (w->kind == WRITE_DECK || w->kind == WRITE_STOCK)
                changes[n++] = (struct catalog_change){
                    .deck = w->kind == WRITE_DECK ? w->deck : NULL, .stock = w->kind == WRITE_STOCK ? w->stock : NULL, .stamp = &w->stamp};
        }
        if (n) {
            pthread_mutex_lock(&l->catalog_lock);
            struct view *v = live_take(l);
            struct catalog *c = catalog_with(v->catalog, changes, n);
            view_give(v);
            if (!c || !publish(l, c, NULL, 0))
                stale = true;
            pthread_mutex_unlock(&l->catalog_lock);
        }
    }
    pthread_mutex_lock(&l->lock);
    if (top > l->target)
        l->target = top;
    l->services_changed = l->services_changed || services;
    l->catalog_stale = l->catalog_stale || stale;
    if (!l->resting)
        pthread_cond_broadcast(&l->wake);
    pthread_mutex_unlock(&l->lock);
}

/* ---- opening ---- */

/* The first view: saved tables when there are any, else what the model says before any row. */
static bool first_view(struct live *l, struct fault *f)
{
    void *bytes = NULL;
    size_t n = 0;
    struct model_view *saved = NULL;
    struct reader *r = reader_take(l->store, f);
    if (!r)
        return false;
    if (read_blob(r, "model-view", &bytes, &n, NULL) == READ_OK) {
        struct fault unread = {0};
        saved = model_view_load(bytes, n, &unread);
        if (!saved)
            log_line(LOG_WARN, "saved tables not usable, learning anew", "why", unread.items[0].detail, NULL);
    }
    mem_free(bytes);
    reader_give(r);
    int64_t as_of = 0;
    if (saved) {
        struct model_figures figures;
        model_view_figures(saved, &figures);
        as_of = figures.as_of;
        if (as_of > l->start_seq || !model_warm(l->model, saved)) { /* of another file, or of a future that was restored away */
            model_view_free(saved);
            saved = NULL;
            as_of = 0;
        }
    }
    if (!saved && !(saved = model_publish(l->model, f)))
        return false;
    l->as_of = as_of;
    return live_publish_model(l, saved, as_of);
}

static bool first_answer(struct live *l, const struct live_options *options, struct fault *f)
{
    if (!options->refit_first && !(options->no_threads && l->as_of < l->start_seq))
        return true;
    l->services_changed = true;
    if (!solver_catch_up(l, l->start_seq, f) || !model_refit(l->model, f) || !solver_publish(l, l->start_seq, f))
        return false;
    l->changes_since_fit = 0; /* just estimated */
    l->track_due = true;
    return true;
}

static void stop_threads(struct live *l, int started)
{
    pthread_t threads[3] = {l->solver, l->estimator.thread, l->renewer.thread};
    pthread_mutex_lock(&l->lock);
    l->stopping = true;
    l->give_up = true;
    pthread_cond_broadcast(&l->wake);
    pthread_mutex_unlock(&l->lock);
    for (int i = 0; i < started; i++)
        pthread_join(threads[i], NULL);
}

static bool start_threads(struct live *l, struct fault *f)
{
    int started = 0;
    l->estimator = (struct aside){.live = l, .name = "estimator", .nice = 19};
    l->renewer = (struct aside){.live = l, .name = "renewer", .nice = 10};
    started += pthread_create(&l->solver, NULL, solver_main, l) == 0;
    started += started == 1 && pthread_create(&l->estimator.thread, NULL, aside_main, &l->estimator) == 0;
    started += started == 2 && pthread_create(&l->renewer.thread, NULL, aside_main, &l->renewer) == 0;
    l->threads = started == 3;
    if (l->threads)
        return true;
    stop_threads(l, started);
    return fault_add(f, FAULT_INTERNAL, "", "thread", "cannot start the threads that learn from results");
}

static struct live *make(struct store *s)
{
    struct live *l = mem_zero(1, sizeof *l);
    if (!l)
        return NULL;
    l->store = s;
    pthread_mutex_init(&l->catalog_lock, NULL);
    pthread_mutex_init(&l->view_lock, NULL);
    pthread_mutex_init(&l->lock, NULL);
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&l->wake, &monotonic);
    pthread_condattr_destroy(&monotonic);
    l->keys = keyring_new();
    l->sessions = sessions_new();
    l->model = model_new();
    return l;
}

struct live *live_open(struct store *s, const struct live_options *options, struct fault *f)
{
    struct live *l = make(s);
    if (!l || !l->keys || !l->sessions || !l->model) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory at start");
        live_close(l);
        return NULL;
    }
    /* The first catalog goes in by hand: publish() needs a view to replace. */
    l->view = mem_zero(1, sizeof *l->view);
    struct catalog *catalog = l->view ? read_catalog(s, f) : NULL;
    if (!catalog) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory at start");
        mem_free(l->view);
        l->view = NULL;
        live_close(l);
        return NULL;
    }
    atomic_init(&l->view->holders, 1);
    l->view->catalog = catalog;
    l->start_seq = l->target = store_last_seq(s);
    if (!keyring_load(l->keys, s, f) || !first_view(l, f) || !first_answer(l, options, f)) {
        live_close(l);
        return NULL;
    }
    if (!options->no_threads) {
        store_on_commit(s, on_commit, l);
        if (!start_threads(l, f)) {
            store_on_commit(s, NULL, NULL);
            live_close(l);
            return NULL;
        }
    }
    return l;
}

void live_close(struct live *l)
{
    if (!l)
        return;
    if (l->threads) {
        stop_threads(l, 3);
        store_on_commit(l->store, NULL, NULL);
        model_job_free(l->estimator.job);
        model_job_free(l->renewer.job);
        struct fault f = {0};
        if (!solver_save(l, &f))
            log_line(LOG_WARN, "tables not saved", "why", f.items[0].detail, NULL);
    }
    view_give(l->view);
    track_drop(l->track);
    keyring_free(l->keys);
    sessions_free(l->sessions);
    model_free(l->model);
    pthread_cond_destroy(&l->wake);
    pthread_mutex_destroy(&l->lock);
    pthread_mutex_destroy(&l->view_lock);
    pthread_mutex_destroy(&l->catalog_lock);
    mem_free(l);
}

/* ---- small questions ---- */

bool live_ready(struct live *l)
{
    pthread_mutex_lock(&l->lock);
    bool ready = l->as_of >= l->start_seq;
    pthread_mutex_unlock(&l->lock);
    return ready;
}

bool live_wait(struct live *l, int64_t seq, int timeout_ms)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += timeout_ms / 1000;
    until.tv_nsec += (long)(timeout_ms % 1000) * 1000000L;
    if (until.tv_nsec >= 1000000000L) {
        until.tv_sec++;
        until.tv_nsec -= 1000000000L;
    }
    pthread_mutex_lock(&l->lock);
    while (l->as_of < seq && pthread_cond_timedwait(&l->wake, &l->lock, &until) != ETIMEDOUT)
        ;
    bool there = l->as_of >= seq;
    pthread_mutex_unlock(&l->lock);
    return there;
}

bool live_find_key(struct live *l, const char *key, struct key_holder *out)
{
    return keyring_find(l->keys, key, out);
}

bool live_reload_keys(struct live *l, struct fault *f)
{
    bool fresh = keyring_load(l->keys, l->store, f);
    pthread_mutex_lock(&l->lock);
    l->keys_stale = l->keys_stale || !fresh;
    pthread_mutex_unlock(&l->lock);
    return fresh;
}

bool live_session_open(struct live *l, int64_t key, int64_t now_us, char token[SESSION_TEXT])
{
    return sessions_open(l->sessions, key, now_us, token);
}

bool live_session_find(struct live *l, const char *token, struct key_holder *out)
{
    int64_t key = sessions_key(l->sessions, token, clock_now_us());
    if (!key)
        return false;
    if (keyring_holder(l->keys, key, out))
        return true;
    sessions_end(l->sessions, token);
    return false;
}

void live_session_end(struct live *l, const char *token)
{
    sessions_end(l->sessions, token);
}

void live_figures(struct live *l, struct live_figures *out)
{
    pthread_mutex_lock(&l->lock);
    *out = l->figures;
    out->as_of = l->as_of;
    pthread_mutex_unlock(&l->lock);
}
