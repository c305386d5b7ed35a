/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The writer's thread and what waits for it. Three queues: single results (bounded in rows and bytes), jobs of the house (members, saved
 * tables), slices of imports. Singles go first; a job gets its turn after each group, a slice after every few, so that neither starves.
 * When nothing waits the thread copies the write-ahead log into the file and looks for changes made by other processes.
 */
#include "inside.h"

#include "../ground/log.h"
#include "../trade/check.h"

#include <string.h>
#include <time.h>

#define TICK_MS          250 /* how often an idle writer looks around */
#define GROUPS_PER_SLICE 4   /* groups of single results that go before a waiting slice */
#define CROWD            16  /* a group of so many tells that many clients log at once */
#define GATHER_US        100 /* then the next one is given this long to grow, as long as it does grow */
#define GATHER_TIMES     4

/* ---- handing over ---- */

static int64_t weight(const struct write *w)
{
    const char *notes = NULL;
    size_t record = 0;
    switch (w->kind) {
    case WRITE_DECK: record = sizeof *w->deck, notes = w->deck->notes; break;
    case WRITE_STOCK: record = sizeof *w->stock, notes = w->stock->notes; break;
    case WRITE_CALIBRATION: record = sizeof *w->calibration, notes = w->calibration->notes; break;
    case WRITE_SERVICE: record = sizeof *w->service, notes = w->service->notes; break;
    case WRITE_CHECK: record = sizeof *w->check, notes = w->check->notes; break;
    case WRITE_VOID:
    case WRITE_UNDO: break;
    }
    return (int64_t)(sizeof *w + record + (notes ? strlen(notes) : 0));
}

/* On the caller's thread, so that the writer only compares. */
static void prepare(struct write *w)
{
    w->outcome = WRITE_PENDING;
    w->next = NULL;
    fault_clear(&w->fault);
    switch (w->kind) {
    case WRITE_DECK: digest_deck(w->deck, w->digest); break;
    case WRITE_STOCK: digest_stock(w->stock, w->digest); break;
    case WRITE_CALIBRATION: digest_calibration(w->calibration, w->digest); break;
    case WRITE_SERVICE: digest_service(w->service, w->digest); break;
    case WRITE_CHECK: digest_check(w->check, w->digest); break;
    case WRITE_VOID:
    case WRITE_UNDO: break;
    }
}

static bool refuse_stopping(const struct store *s, struct fault *f)
{
    if (!s->has_writer)
        return fault_add(f, FAULT_STORE, "", "read-only",
                         "the club's file was opened for reading only; serve it as a user who may write it");
    return fault_add(f, FAULT_BUSY, "", "stopping", "the daemon is stopping; try again in a moment");
}

/* Under the lock. */
static void wake_writer(struct store *s)
{
    if (s->waiting) {
        s->waiting = false;
        pthread_cond_signal(&s->work);
    }
}

bool store_submit(struct store *s, struct write *w, struct fault *f)
{
    int64_t bytes = weight(w);
    prepare(w);
    pthread_mutex_lock(&s->lock);
    struct queue *q = &s->singles;
    bool stopping = s->stopping || !s->has_writer;
    bool full = q->rows >= LIMIT_QUEUE_ROWS || q->bytes + bytes > LIMIT_QUEUE_BYTES;
    if (!stopping && !full) {
        if (q->tail)
            q->tail->next = w;
        else
            q->head = w;
        q->tail = w;
        q->rows++;
        q->bytes += bytes;
        wake_writer(s);
    }
    pthread_mutex_unlock(&s->lock);
    if (stopping)
        return refuse_stopping(s, f);
    return !full || fault_add(f, FAULT_BUSY, "", "queue-full", "too many results wait to be written; try again in a moment");
}

/* Appends to a list of jobs. `while_stopping`: the house's own work is still done then. */
static bool hand_over(struct store *s, struct job *j, bool slice, bool while_stopping)
{
    pthread_mutex_lock(&s->lock);
    bool refused = !s->has_writer || s->closing || (s->stopping && !while_stopping);
    struct job **head = slice ? &s->slices : &s->jobs, **tail = slice ? &s->slices_tail : &s->jobs_tail;
    if (!refused) {
        if (*head)
            (*tail)->next = j;
        else
            *head = j;
        *tail = j;
        wake_writer(s);
    }
    pthread_mutex_unlock(&s->lock);
    return !refused || refuse_stopping(s, j->fault);
}

/* Until it was run. */
static bool wait_for(struct store *s, struct job *j)
{
    pthread_mutex_lock(&s->lock);
    while (!j->done)
        pthread_cond_wait(&s->calm, &s->lock);
    pthread_mutex_unlock(&s->lock);
    return j->result;
}

bool writer_job(struct store *s, bool (*run)(struct store *, void *, struct fault *), void *argument, struct fault *f)
{
    struct job j = {.run = run, .argument = argument, .fault = f};
    return hand_over(s, &j, false, true) && wait_for(s, &j);
}

struct store_slice {
    struct store *store;
    struct job job;
    struct fault fault;
    int count;
    enum group_kind kind;
    struct write *list[];
};

static bool run_slice(struct store *s, void *argument, struct fault *f)
{
    struct store_slice *l = argument;
    return group_commit(s, l->list, l->count, l->kind, f);
}

struct store_slice *store_apply_begin(struct store *s, struct write *writes, int count, bool atomic, bool dry_run, struct fault *f)
{
    struct store_slice *l = mem_alloc(sizeof *l + (size_t)count * sizeof(struct write *));
    if (!l) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while importing");
        return NULL;
    }
    l->store = s;
    l->job = (struct job){.run = run_slice, .argument = l, .fault = &l->fault};
    l->count = count;
    l->kind = dry_run ? (atomic ? GROUP_DRY_ATOMIC : GROUP_DRY) : (atomic ? GROUP_ATOMIC : GROUP_SLICE);
    fault_clear(&l->fault);
    for (int i = 0; i < count; i++) {
        prepare(&writes[i]);
        l->list[i] = &writes[i];
    }
    if (hand_over(s, &l->job, true, false))
        return l;
    fault_merge(f, &l->fault, "");
    mem_free(l);
    return NULL;
}

bool store_apply_end(struct store_slice *l, struct fault *f)
{
    bool ok = wait_for(l->store, &l->job);
    if (!ok)
        fault_merge(f, &l->fault, "");
    mem_free(l);
    return ok;
}

bool store_apply(struct store *s, struct write *writes, int count, bool atomic, bool dry_run, struct fault *f)
{
    struct store_slice *l = store_apply_begin(s, writes, count, atomic, dry_run, f);
    return l && store_apply_end(l, f);
}

void store_on_commit(struct store *s, commit_hook hook, void *user)
{
    pthread_mutex_lock(&s->lock);
    s->hook = hook;
    s->hook_user = user;
    pthread_mutex_unlock(&s->lock);
}

/* ---- the thread ---- */

/* Takes up to a group of what waits; under the lock. */
static int take_group(struct store *s)
{
    struct queue *q = &s->singles;
    int n = 0;
    while (q->head && n < LIMIT_GROUP_ROWS) {
        struct write *w = q->head;
        q->head = w->next;
        w->next = NULL;
        q->bytes -= weight(w);
        s->group[n++] = w;
    }
    if (!q->head)
        q->tail = NULL;
    q->rows -= n;
    return n;
}

static struct job *take_job(struct job **head)
{
    struct job *j = *head;
    *head = j->next;
    return j;
}

static void run_singles(struct store *s, int n)
{
    struct fault whole;
    fault_clear(&whole);
    group_commit(s, s->group, n, GROUP_SINGLES, &whole);
    for (int i = 0; i < n; i++)
        s->group[i]->done(s->group[i]); /* may free it */
    s->since_slice++;
}

/* Sleeps until there is work; false on a tick without any. Under the lock. */
static bool wait_for_work(struct store *s)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += TICK_MS * 1000000L;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    while (!s->singles.head && !s->jobs && !s->slices && !s->closing) {
        s->waiting = true;
        int rc = pthread_cond_timedwait(&s->work, &s->lock, &until);
        s->waiting = false;
        if (rc != 0)
            break;
    }
    return s->singles.head || s->jobs || s->slices;
}

/* A commit costs the same for one row as for fifty. Among many clients, those whose replies have just left are about to send again; waiting for them a moment costs each
 * less than the sync does, and leaves the cores to the threads that read their requests. A lone client never waits. Called and returns under the lock. */
static void gather(struct store *s)
{
    static const struct timespec moment = {.tv_nsec = GATHER_US * 1000L};
    int rows = 0;
    for (int i = 0; i < GATHER_TIMES && s->last_group >= CROWD && s->singles.rows > rows && s->singles.rows < s->last_group; i++) {
        rows = s->singles.rows;
        pthread_mutex_unlock(&s->lock);
        nanosleep(&moment, NULL);
        pthread_mutex_lock(&s->lock);
    }
}

/* One piece of work; called and returns under the lock. */
static void work_once(struct store *s)
{
    int n = 0;
    struct job *j = NULL;
    if (s->slices && (!s->singles.head || s->since_slice >= GROUPS_PER_SLICE)) {
        j = s->jobs ? take_job(&s->jobs) : take_job(&s->slices);
        s->since_slice = 0;
    } else if (s->singles.head) {
        gather(s);
        n = s->last_group = take_group(s);
    } else if (s->jobs) {
        j = take_job(&s->jobs);
    }
    struct job *also = n && s->jobs ? take_job(&s->jobs) : NULL;
    s->busy = true;
    pthread_mutex_unlock(&s->lock);
    if (n)
        run_singles(s, n);
    if (j)
        j->result = j->run(s, j->argument, j->fault);
    if (also)
        also->result = also->run(s, also->argument, also->fault);
    pthread_mutex_lock(&s->lock);
    s->busy = false;
    if (j)
        j->done = true;
    if (also)
        also->done = true;
    if (j || also || (!s->singles.head && s->stopping))
        pthread_cond_broadcast(&s->calm);
}

static void *writer_main(void *argument)
{
    struct store *s = argument;
    pthread_setname_np(pthread_self(), "writer");
    int64_t looked = clock_monotonic_us();
    pthread_mutex_lock(&s->lock);
    for (;;) {
        if (wait_for_work(s)) {
            work_once(s);
            if (clock_monotonic_us() - looked < TICK_MS * 1000)
                continue;
            pthread_mutex_unlock(&s->lock);
            group_look_outside(s, NULL);
            looked = clock_monotonic_us();
            pthread_mutex_lock(&s->lock);
        } else if (s->closing) {
            break;
        } else {
            pthread_mutex_unlock(&s->lock);
            group_look_outside(s, NULL);
            checkpoint_idle(s);
            looked = clock_monotonic_us();
            pthread_mutex_lock(&s->lock);
        }
    }
    pthread_mutex_unlock(&s->lock);
    return NULL;
}

bool writer_start(struct store *s, struct fault *f)
{
    if (!group_prepare(s, f) || !group_look_outside(s, f) || !checkpoint_start(s, f))
        return false;
    atomic_store(&s->changed_outside, false);
    s->has_writer = true;
    if (pthread_create(&s->thread, NULL, writer_main, s) == 0)
        return true;
    s->has_writer = false;
    return fault_add(f, FAULT_INTERNAL, "", "thread", "cannot start the writer's thread");
}

void store_quiesce(struct store *s)
{
    if (!s->has_writer)
        return;
    pthread_mutex_lock(&s->lock);
    s->stopping = true;
    while (s->singles.head || s->slices || s->busy)
        pthread_cond_wait(&s->calm, &s->lock);
    pthread_mutex_unlock(&s->lock);
}

void writer_stop(struct store *s)
{
    pthread_mutex_lock(&s->lock);
    s->closing = true;
    wake_writer(s);
    pthread_mutex_unlock(&s->lock);
    pthread_join(s->thread, NULL);
    checkpoint_stop(s);
}
