/* SPDX-License-Identifier: GPL-3.0-or-later
 * See track.h. */
#include "track.h"

#include "../ground/memory.h"
#include "../store/prior.h"
#include "inside.h"

#define TRACK_BLOCKS      60 /* replayed in so many steps at most: a step knows nothing of the days after it */
#define TRACK_STORE_BATCH 256

struct collecting {
    struct track *track;
    bool failed;
};

static bool collect(void *user, const struct replay_row *row)
{
    struct collecting *c = user;
    struct track *t = c->track;
    if (t->count == t->room) {
        size_t room = t->room ? 2 * t->room : 256;
        struct replay_row *rows = mem_grow(t->rows, room, sizeof *rows);
        if (!rows) {
            c->failed = true;
            return false;
        }
        t->rows = rows;
        t->room = room;
    }
    t->rows[t->count++] = *row;
    return true;
}

struct track *track_make(struct model_job *job, int64_t as_of, const atomic_bool *stop, struct fault *f)
{
    struct collecting c = {.track = mem_zero(1, sizeof *c.track)};
    if (c.track)
        atomic_init(&c.track->holders, 1);
    bool ok = c.track && model_job_replay(job, TRACK_BLOCKS, stop, collect, &c, f) && !c.failed;
    if (ok) {
        c.track->as_of = as_of;
        return c.track;
    }
    if (!c.track || c.failed)
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory for the track record");
    track_drop(c.track);
    return NULL;
}

bool track_store(struct live *l, const struct track *t, struct fault *f)
{
    struct prior_suggestion batch[TRACK_STORE_BATCH];
    int n = 0;
    bool ok = store_clear_prior(l->store, f);
    for (size_t i = 0; ok && i < t->count; i++) {
        const struct replay_row *r = &t->rows[i];
        struct prior_suggestion *p = &batch[n++];
        *p = (struct prior_suggestion){.calibration = r->id, .basis = (int)r->basis, .as_of = t->as_of};
        for (int k = 0; k < RESPONSES; k++) {
            p->mean[k] = r->mean[k];
            p->se[k] = r->se[k];
            p->low90[k] = r->low90[k];
            p->high90[k] = r->high90[k];
        }
        if (n == TRACK_STORE_BATCH || i + 1 == t->count) {
            ok = store_save_prior(l->store, batch, n, f);
            n = 0;
        }
    }
    return ok;
}

void track_drop(struct track *t)
{
    if (!t || atomic_fetch_sub(&t->holders, 1) != 1)
        return;
    mem_free(t->rows);
    mem_free(t);
}

void track_publish(struct live *l, struct track *t)
{
    pthread_mutex_lock(&l->view_lock);
    struct track *old = l->track;
    l->track = t;
    pthread_mutex_unlock(&l->view_lock);
    track_drop(old);
}

struct track *live_take_track(struct live *l)
{
    pthread_mutex_lock(&l->view_lock);
    struct track *t = l->track;
    if (t)
        atomic_fetch_add(&t->holders, 1);
    pthread_mutex_unlock(&l->view_lock);
    return t;
}
