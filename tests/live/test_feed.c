/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows from the store into the model when memory runs out on the way: the next attempt brings in all that the first one left out; and what could not be begun is
 * not begun again at once.
 */
#include "../../server/live/inside.h"

#include "../../server/ground/memory.h"
#include "../../server/model/view.h"
#include "../../server/store/writer.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = "/tmp/biasbook-feed-XXXXXX";

struct club {
    struct store *store;
    struct live *live;
};

static void apply(struct club *c, struct write *w)
{
    struct fault f = {0};
    assert_true(store_apply(c->store, w, 1, false, false, &f));
    assert_int_equal(w->outcome, WRITE_CREATED);
}

static int open_club(void **state)
{
    static struct club c;
    char path[64];
    struct fault f = {0};
    if (!mkdtemp(folder))
        return -1;
    snprintf(path, sizeof path, "%s/c.db", folder);
    c.store = store_open(&(struct store_options){.path = path, .create = true, .must_be_new = true}, &f);
    if (!c.store)
        return -1;
    struct deck *d = calloc(1, sizeof *d);
    struct write *w = calloc(1, sizeof *w);
    if (!d || !w)
        return -1;
    deck_init(d);
    d->medium = MEDIUM_CASSETTE;
    d->heads = 3;
    snprintf(d->id, sizeof d->id, "one");
    snprintf(d->name, sizeof d->name, "One");
    write_init(w);
    w->kind = WRITE_DECK;
    w->deck = d;
    apply(&c, w);
    free(w);
    free(d);
    c.live = live_open(c.store, &(struct live_options){.no_threads = true}, &f);
    *state = &c;
    return c.live ? 0 : -1;
}

static int close_club(void **state)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    struct club *c = *state;
    char path[64];
    live_close(c->live);
    store_close(c->store);
    for (size_t i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s/c.db%s", folder, ends[i]);
        unlink(path);
    }
    return rmdir(folder);
}

static int services_known(struct model *m)
{
    struct fault f = {0};
    assert_true(model_solve(m, &f));
    struct model_view *v = model_publish(m, &f);
    assert_non_null(v);
    int n = v->head->services;
    model_view_free(v);
    return n;
}

/* Each allocation of a round failing in turn, with another service to be brought in each time. */
static void no_service_is_lost(void **state)
{
    struct club *c = *state;
    int services = 0, failed = 0;
    for (long n = 1; n < 200; n++) {
        struct service s = {
            .id = uuid_make(), .made_at_us = clock_now_us(), .resets = true, .bias_shift_db = ABSENT, .level_shift_db = ABSENT};
        struct write *w = calloc(1, sizeof *w);
        struct fault f = {0};
        assert_non_null(w);
        snprintf(s.deck, sizeof s.deck, "one");
        write_init(w);
        w->kind = WRITE_SERVICE;
        w->service = &s;
        apply(c, w);
        services++;
        c->live->services_changed = true; /* as the hook says */
        int64_t target = w->stamp.seq;
        free(w);
        mem_fail_at(n, 0);
        bool ok = solver_catch_up(c->live, target, &f);
        mem_fail_at(0, 0);
        failed += !ok;
        f = (struct fault){0};
        assert_true(solver_catch_up(c->live, target, &f));
        assert_int_equal(services_known(c->live->model), services);
        if (ok && n > 20)
            break;
    }
    assert_true(failed > 0);
}

static void a_fit_that_cannot_be_begun_waits(void **state)
{
    struct club *c = *state;
    struct live *l = c->live;
    int64_t now = clock_monotonic_us();
    l->changes_since_fit = 1;
    l->changed_us = l->fitted_us = now - 3600LL * 1000000LL;
    assert_true(jobs_due(l, now));
    mem_fail_at(1, 1);
    jobs_begin(l);
    mem_fail_at(0, 0);
    assert_null(l->estimator.job);
    assert_true(l->changes_since_fit > 0);
    assert_false(jobs_due(l, now));
    assert_true(jobs_due(l, clock_monotonic_us() + 2 * 1000000LL));
    l->changes_since_fit = 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_service_is_lost),
        cmocka_unit_test(a_fit_that_cannot_be_begun_waits),
    };
    return cmocka_run_group_tests_name("feed", tests, open_club, close_club);
}
