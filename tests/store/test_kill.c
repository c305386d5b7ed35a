/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * kill -9 in the middle of writing: whatever was acknowledged is there afterwards, the numbers are gapless, the file proves itself.
 * (A killed process, not a lost power supply: what the kernel had taken stays.)
 */
#include "scratch.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define THREADS 8
#define ROUNDS  12

struct logger {
    struct store *store;
    int pipe;
};

/* Logs for ever; each acknowledged id goes down the pipe at once. */
static void *log_for_ever(void *argument)
{
    struct logger *l = argument;
    for (int i = 0;; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        c.move_count = i % 4;
        for (int k = 0; k < c.move_count; k++)
            c.moves[k] = (struct move){k, k, k, k};
        struct write w = put_calibration(l->store, &c, NULL);
        if (w.outcome == WRITE_CREATED && write(l->pipe, c.id.bytes, 16) != 16)
            abort();
        if (i % 5 == 4) {
            c.bias = 4;
            put_calibration(l->store, &c, quoted(&w.stamp));
        }
    }
    return NULL;
}

static void child(const char *path, int out)
{
    struct store *s = store_open(&(struct store_options){.path = path}, NULL);
    struct logger l = {s, out};
    pthread_t t[THREADS];
    if (!s)
        _exit(3);
    for (int i = 0; i < THREADS; i++)
        pthread_create(&t[i], NULL, log_for_ever, &l);
    pause();
    _exit(4);
}

static bool present(struct store *s, struct arena *a, const struct uuid *id)
{
    struct calibration c;
    struct stamp stamp;
    struct reader *r = reader_take(s, NULL);
    bool there = read_calibration(r, id, a, &c, &stamp, NULL) == READ_OK;
    reader_give(r);
    return there;
}

static void killed_again_and_again(void **state)
{
    struct scratch *s = *state;
    static struct uuid acknowledged[200000];
    int count = 0;
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    for (int round = 0; round < ROUNDS; round++) {
        int ends[2];
        assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
        fcntl(ends[1], F_SETPIPE_SZ, 1 << 20);
        pid_t pid = fork();
        assert_true(pid >= 0);
        if (pid == 0)
            child(s->path, ends[1]);
        close(ends[1]);
        int wanted = count + 40 + round * 13; /* not by the clock: after so many acknowledgements */
        while (count < wanted && read(ends[0], acknowledged[count].bytes, 16) == 16)
            count++;
        assert_int_equal(kill(pid, SIGKILL), 0);
        int status;
        waitpid(pid, &status, 0);
        assert_true(WIFSIGNALED(status));
        while (count < 200000 && read(ends[0], acknowledged[count].bytes, 16) == 16) /* those under way when it fell */
            count++;
        close(ends[0]);
        assert_true(count >= wanted);

        struct fault f = {.kind = FAULT_NONE};
        s->store = store_open(&(struct store_options){.path = s->path}, &f);
        assert_non_null(s->store);
        for (int i = 0; i < count; i++) {
            arena_reset(s->arena);
            assert_true(present(s->store, s->arena, &acknowledged[i]));
        }
        if (!store_check(s->store, &f))
            fail_msg("%s", f.items[0].detail);
        store_close(s->store);
        s->store = NULL;
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(killed_again_and_again, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
