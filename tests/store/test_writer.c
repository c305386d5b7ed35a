/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The queue and the thread: many at once lose nothing, the bounds hold before anything is queued, stopping answers all, imports and the
 * house's own work get their turn.
 */
#include "scratch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CLIENTS 64
#define EACH    40

struct client {
    pthread_t thread;
    struct store *store;
    int number;
    int64_t seqs[EACH];
};

static void *client_main(void *argument)
{
    struct client *c = argument;
    for (int i = 0; i < EACH; i++) {
        struct calibration r = a_calibration("deck-a", "stock-a");
        r.bias = c->number / 16.0;
        struct write w = put_calibration(c->store, &r, NULL);
        c->seqs[i] = w.outcome == WRITE_CREATED ? w.stamp.seq : -1;
    }
    return NULL;
}

/* What the hook was told, in its order. */
struct told {
    int64_t last;
    int rows, calls;
    bool in_order;
};

static void hook(void *user, struct write *const *writes, int count)
{
    struct told *t = user;
    t->calls++;
    for (int i = 0; i < count; i++) {
        t->in_order = t->in_order && writes[i]->stamp.seq == t->last + 1;
        t->last = writes[i]->stamp.seq;
        t->rows++;
    }
}

static void sixty_four_at_once_lose_nothing(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct told told = {.last = 2, .in_order = true};
    store_on_commit(s->store, hook, &told);
    struct client *clients = calloc(CLIENTS, sizeof *clients);
    for (int i = 0; i < CLIENTS; i++) {
        clients[i].store = s->store;
        clients[i].number = i;
        assert_int_equal(pthread_create(&clients[i].thread, NULL, client_main, &clients[i]), 0);
    }
    static bool seen[CLIENTS * EACH];
    memset(seen, 0, sizeof seen);
    for (int i = 0; i < CLIENTS; i++) {
        pthread_join(clients[i].thread, NULL);
        for (int k = 0; k < EACH; k++) {
            int64_t at = clients[i].seqs[k] - 3;
            assert_in_range(at, 0, CLIENTS * EACH - 1);
            assert_false(seen[at]); /* with the range: gapless, none twice */
            seen[at] = true;
            if (k)
                assert_true(clients[i].seqs[k] > clients[i].seqs[k - 1]);
        }
    }
    free(clients);
    store_on_commit(s->store, NULL, NULL);
    assert_true(told.in_order);
    assert_int_equal(told.rows, CLIENTS * EACH);
    struct store_figures g;
    store_figures(s->store, &g);
    assert_int_equal(g.rows_written, CLIENTS * EACH + 2);
    assert_true(g.commits < g.rows_written); /* they were grouped */
    assert_true(g.largest_group > 1);
    assert_int_equal(g.queue_rows, 0);
    assert_int_equal(store_last_seq(s->store), CLIENTS * EACH + 2);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration"), CLIENTS * EACH);
    assert_true(store_last_commit_us(s->store) == ask(s->path, "SELECT max(stored_us) FROM change"));
}

/* ---- the writer held still by the hook, so that the queue can be looked at ---- */
struct gate {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    bool reached, open;
};

static void wait_at_gate(void *user, struct write *const *writes, int count)
{
    struct gate *g = user;
    (void)writes, (void)count;
    pthread_mutex_lock(&g->lock);
    g->reached = true;
    pthread_cond_broadcast(&g->changed);
    while (!g->open)
        pthread_cond_wait(&g->changed, &g->lock);
    pthread_mutex_unlock(&g->lock);
}

static void wait_reached(struct gate *g)
{
    pthread_mutex_lock(&g->lock);
    while (!g->reached)
        pthread_cond_wait(&g->changed, &g->lock);
    pthread_mutex_unlock(&g->lock);
}

static void open_gate(struct gate *g)
{
    pthread_mutex_lock(&g->lock);
    g->open = true;
    pthread_cond_broadcast(&g->changed);
    pthread_mutex_unlock(&g->lock);
}

static atomic_int answers;
static void count_answer(struct write *w)
{
    (void)w;
    atomic_fetch_add(&answers, 1);
}

static struct write *many(int count, struct calibration **rows)
{
    struct write *w = calloc((size_t)count, sizeof *w);
    *rows = calloc((size_t)count, sizeof **rows);
    for (int i = 0; i < count; i++) {
        (*rows)[i] = a_calibration("deck-a", "stock-a");
        w[i] = (struct write){.kind = WRITE_CALIBRATION, .calibration = &(*rows)[i], .done = count_answer, .may_correct_others = true};
    }
    return w;
}

static void full_queue_is_busy_and_the_rest_is_answered(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct gate gate = {.lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER};
    struct calibration *rows;
    int total = LIMIT_QUEUE_ROWS + 50, taken = 0;
    struct write *w = many(total + 1, &rows);
    atomic_store(&answers, 0);
    store_on_commit(s->store, wait_at_gate, &gate);
    assert_true(store_submit(s->store, &w[total], NULL));
    wait_reached(&gate); /* the writer sits in the hook: whatever comes now waits */
    struct fault f;
    for (int i = 0; i < total; i++) {
        fault_clear(&f);
        if (store_submit(s->store, &w[i], &f))
            taken++;
        else
            break;
    }
    store_on_commit(s->store, NULL, NULL);
    open_gate(&gate);
    store_quiesce(s->store);
    int64_t by_bytes = LIMIT_QUEUE_BYTES / (int64_t)(sizeof(struct write) + sizeof(struct calibration)); /* whichever bound is first */
    assert_int_equal(taken, by_bytes < LIMIT_QUEUE_ROWS ? by_bytes : LIMIT_QUEUE_ROWS);
    assert_int_equal(f.kind, FAULT_BUSY);
    assert_string_equal(f.items[0].code, "queue-full");
    assert_int_equal(atomic_load(&answers), taken + 1);
    fault_clear(&f);
    assert_false(store_submit(s->store, &w[total - 1], &f));
    assert_string_equal(f.items[0].code, "stopping");
    struct write late = w[total - 1];
    fault_clear(&f);
    assert_false(store_apply(s->store, &late, 1, false, false, &f));
    assert_int_equal(f.kind, FAULT_BUSY);
    assert_true(store_save_blob(s->store, "view", "x", 1, NULL)); /* the house's own work is still done */
    assert_int_equal(ask(s->path, "SELECT count(*) FROM calibration"), taken + 1);
    free(w);
    free(rows);
}

static void full_by_bytes(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct gate gate = {.lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER};
    static char notes[LIMIT_NOTES_BYTES + 1];
    memset(notes, 'n', LIMIT_NOTES_BYTES);
    struct calibration *rows;
    int total = LIMIT_QUEUE_ROWS;
    struct write *w = many(total, &rows);
    for (int i = 0; i < total; i++)
        rows[i].notes = notes;
    store_on_commit(s->store, wait_at_gate, &gate);
    assert_true(store_submit(s->store, &w[0], NULL));
    wait_reached(&gate);
    int taken = 0;
    struct fault f;
    fault_clear(&f);
    while (taken + 1 < total && store_submit(s->store, &w[taken + 1], &f))
        taken++;
    store_on_commit(s->store, NULL, NULL);
    open_gate(&gate);
    store_quiesce(s->store);
    int64_t each = (int64_t)(sizeof(struct write) + sizeof(struct calibration) + LIMIT_NOTES_BYTES);
    assert_int_equal(taken, LIMIT_QUEUE_BYTES / each);
    assert_string_equal(f.items[0].code, "queue-full");
    free(w);
    free(rows);
}

/* ---- imports beside single results ---- */
struct importer {
    pthread_t thread;
    struct store *store;
    int slices;
    bool ok;
};

static void *importer_main(void *argument)
{
    struct importer *m = argument;
    m->ok = true;
    for (int k = 0; k < m->slices; k++) {
        struct calibration *rows;
        struct write *w = many(100, &rows);
        for (int i = 0; i < 100; i++) {
            w[i].imported = true;
            w[i].done = NULL;
        }
        m->ok = store_apply(m->store, w, 100, false, false, NULL) && m->ok;
        for (int i = 0; i < 100; i++)
            m->ok = m->ok && w[i].outcome == WRITE_CREATED;
        free(w);
        free(rows);
    }
    return NULL;
}

static void imports_and_results_side_by_side(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct importer m = {.store = s->store, .slices = 20};
    struct client c[4];
    assert_int_equal(pthread_create(&m.thread, NULL, importer_main, &m), 0);
    for (int i = 0; i < 4; i++) {
        c[i] = (struct client){.store = s->store};
        assert_int_equal(pthread_create(&c[i].thread, NULL, client_main, &c[i]), 0);
    }
    for (int i = 0; i < 4; i++)
        pthread_join(c[i].thread, NULL);
    pthread_join(m.thread, NULL);
    assert_true(m.ok);
    assert_int_equal(store_last_seq(s->store), 2 + 20 * 100 + 4 * EACH);
}

/* Two slices under way at once are written one after the other, each in its own transaction. */
static void slices_in_halves(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct calibration *rows[2];
    struct write *w[2];
    struct store_slice *l[2];
    struct fault f = {0};
    for (int k = 0; k < 2; k++) {
        w[k] = many(50, &rows[k]);
        for (int i = 0; i < 50; i++) {
            w[k][i].imported = true;
            w[k][i].done = NULL;
        }
        assert_non_null(l[k] = store_apply_begin(s->store, w[k], 50, false, false, &f));
    }
    for (int k = 0; k < 2; k++) {
        assert_true(store_apply_end(l[k], &f));
        for (int i = 0; i < 50; i++)
            assert_int_equal(w[k][i].stamp.seq, 3 + 50 * k + i);
    }
    store_quiesce(s->store);
    assert_null(store_apply_begin(s->store, w[0], 50, false, false, &f));
    assert_int_equal(f.kind, FAULT_BUSY);
    for (int k = 0; k < 2; k++) {
        free(w[k]);
        free(rows[k]);
    }
}

/* A result that comes while a slice waits goes first; a slice is not put off for ever. */
static void slices_yield_but_do_not_starve(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct gate gate = {.lock = PTHREAD_MUTEX_INITIALIZER, .changed = PTHREAD_COND_INITIALIZER};
    struct calibration *rows;
    struct write *w = many(2, &rows);
    struct importer m = {.store = s->store, .slices = 1};
    store_on_commit(s->store, wait_at_gate, &gate);
    assert_true(store_submit(s->store, &w[0], NULL));
    wait_reached(&gate);
    assert_int_equal(pthread_create(&m.thread, NULL, importer_main, &m), 0);
    for (bool waits = false; !waits;) { /* until the slice is in the queue */
        pthread_mutex_lock(&s->store->lock);
        waits = s->store->slices != NULL;
        pthread_mutex_unlock(&s->store->lock);
    }
    assert_true(store_submit(s->store, &w[1], NULL));
    store_on_commit(s->store, NULL, NULL);
    open_gate(&gate);
    pthread_join(m.thread, NULL);
    assert_true(m.ok);
    store_quiesce(s->store);
    assert_int_equal(w[1].stamp.seq, 4); /* before the slice's 5 … 104 */
    assert_int_equal(store_last_seq(s->store), 104);
    free(w);
    free(rows);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(sixty_four_at_once_lose_nothing, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(full_queue_is_busy_and_the_rest_is_answered, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(full_by_bytes, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(imports_and_results_side_by_side, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(slices_in_halves, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(slices_yield_but_do_not_starve, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
