/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Copies made while members log are whole; a copy is under its name only when it is proved; rehearsals leave the club alone.
 */
#include "scratch.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static int files_in(const char *folder)
{
    int n = 0;
    DIR *d = opendir(folder);
    while (readdir(d))
        n++;
    closedir(d);
    return n - 2;
}

struct logging {
    pthread_t thread;
    struct store *store;
    atomic_bool stop;
    atomic_int acknowledged;
};

static void *log_on(void *argument)
{
    struct logging *l = argument;
    while (!atomic_load(&l->stop)) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        if (put_calibration(l->store, &c, NULL).outcome == WRITE_CREATED)
            atomic_fetch_add(&l->acknowledged, 1);
    }
    return NULL;
}

static void copy_while_logging(void **state)
{
    struct scratch *s = *state;
    char copy[128];
    struct fault f = {.kind = FAULT_NONE};
    snprintf(copy, sizeof copy, "%s/copy.db", s->folder);
    make_pair(s->store);
    struct logging l = {.store = s->store};
    assert_int_equal(pthread_create(&l.thread, NULL, log_on, &l), 0);
    for (int i = 0; i < 5; i++) {
        int before = atomic_load(&l.acknowledged);
        bool ok = store_backup(s->store, copy, &f); /* also over an older copy */
        if (!ok)
            print_error("%s\n", f.items[0].detail);
        int64_t rows = ok ? ask(copy, "SELECT count(*) FROM calibration") : -1;
        if (i == 4)
            atomic_store(&l.stop, true);
        assert_true(ok);
        assert_true(rows >= before); /* nothing acknowledged before is missing */
        assert_true(store_verify_file(copy, &f));
    }
    pthread_join(l.thread, NULL);
    struct stat st;
    assert_int_equal(stat(copy, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    struct store *c = store_open(&(struct store_options){.path = copy}, &f); /* and it is a club to go on with */
    assert_non_null(c);
    assert_string_equal(c->club_id, s->store->club_id);
    struct calibration more = a_calibration("deck-a", "stock-a");
    assert_outcome(put_calibration(c, &more, NULL), WRITE_CREATED);
    store_close(c);
    assert_int_equal(files_in(s->folder), 4); /* the club with -wal and -shm, the copy: no part is left */
}

static void refused_copies(void **state)
{
    struct scratch *s = *state;
    struct fault f = {.kind = FAULT_NONE};
    char path[256];
    make_pair(s->store);
    assert_false(store_backup(s->store, s->path, &f));
    assert_string_equal(f.items[0].code, "same-file");
    snprintf(path, sizeof path, "%s/./club.db", s->folder);
    fault_clear(&f);
    assert_false(store_backup(s->store, path, &f));
    assert_string_equal(f.items[0].code, "same-file");
    snprintf(path, sizeof path, "%s/no/such/copy.db", s->folder);
    fault_clear(&f);
    assert_false(store_backup(s->store, path, &f));
    assert_int_equal(f.kind, FAULT_STORE);
    snprintf(path, sizeof path, "%s/folder", s->folder);
    assert_int_equal(mkdir(path, 0700), 0);
    fault_clear(&f);
    assert_false(store_backup(s->store, path, &f)); /* a folder is no file to rename onto */
    assert_int_equal(files_in(s->folder), 4);
}

static void copy_of_a_club_opened_for_reading(void **state)
{
    struct scratch *s = *state;
    char copy[128];
    snprintf(copy, sizeof copy, "%s/copy.db", s->folder);
    make_pair(s->store);
    struct store *r = store_open(&(struct store_options){.path = s->path, .no_writer = true}, NULL);
    assert_true(store_backup(r, copy, NULL));
    store_close(r);
    assert_int_equal(ask(copy, "SELECT count(*) FROM change"), 2);
}

/* One byte of a copy changed anywhere is either found, or changes nothing that is read. */
static void damaged_copies_are_found(void **state)
{
    struct scratch *s = *state;
    char copy[128];
    snprintf(copy, sizeof copy, "%s/copy.db", s->folder);
    make_pair(s->store);
    for (int i = 0; i < 20; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        c.notes = "what was typed";
        put_calibration(s->store, &c, NULL);
    }
    assert_true(store_backup(s->store, copy, NULL));
    struct fault f = {.kind = FAULT_NONE};
    tell(copy, "UPDATE calibration SET bias = 1.25 WHERE seq = 7");
    assert_false(store_verify_file(copy, &f));
    assert_string_equal(f.items[0].code, "digest");
    assert_true(store_backup(s->store, copy, NULL));
    struct stat st;
    assert_int_equal(stat(copy, &st), 0);
    assert_int_equal(truncate(copy, st.st_size - 4096), 0);
    fault_clear(&f);
    assert_false(store_verify_file(copy, &f));
    assert_int_equal(f.kind, FAULT_STORE);
    assert_true(store_backup(s->store, copy, NULL));
    int64_t page = ask(copy, "SELECT rootpage FROM sqlite_schema WHERE name = 'calibration_stands'");
    int fd = open(copy, O_RDWR | O_CLOEXEC);
    char byte;
    assert_int_equal(pread(fd, &byte, 1, page * 4096 - 10), 1);
    byte ^= 0x10;
    assert_int_equal(pwrite(fd, &byte, 1, page * 4096 - 10), 1);
    close(fd);
    fault_clear(&f);
    assert_false(store_verify_file(copy, &f));
    assert_string_equal(f.items[0].code, "damaged");
    fault_clear(&f);
    assert_false(store_verify_file("/nonexistent/club.db", &f));
    assert_string_equal(f.items[0].code, "cannot-open");
}

static void rehearsal_reaches_nothing(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    int before = files_in(s->folder);
    struct store *r = store_rehearsal(s->store, NULL);
    assert_non_null(r);
    struct deck d = a_deck("deck-new");
    struct write w = {.kind = WRITE_DECK, .deck = &d, .may_correct_others = true};
    assert_true(store_apply(r, &w, 1, false, false, NULL));
    assert_outcome(w, WRITE_CREATED);
    struct calibration c = a_calibration("deck-new", "stock-a"); /* a later slice sees what an earlier one brought */
    w = (struct write){.kind = WRITE_CALIBRATION, .calibration = &c, .may_correct_others = true};
    assert_true(store_apply(r, &w, 1, false, false, NULL));
    assert_outcome(w, WRITE_CREATED);
    store_close(r);
    assert_int_equal(store_last_seq(s->store), 2);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM deck"), 1);
    assert_int_equal(files_in(s->folder), before);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(copy_while_logging, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(refused_copies, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(copy_of_a_club_opened_for_reading, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(damaged_copies_are_found, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(rehearsal_reaches_nothing, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
