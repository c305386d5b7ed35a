/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Committed rows from the store into the model, in seq order, and the model's views out.
 *
 * Rows are read from the store, not handed over by the writer: nothing piles up in memory when an import outruns the solver.
 */
#include "inside.h"

#include "../ground/memory.h"
#include "../store/reader.h"

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
        pthread_mutex_lock(&l->lock);
        l->services_changed = l->services_changed || services; /* not all of them came in: once more next time */
        pthread_mutex_unlock(&l->lock);
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
