/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Opening: what is refused, with which code, and that a refused file is left exactly as it was.
 */
#include "scratch.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct fault last;

static struct store *try_open(const char *path, struct store_options o)
{
    o.path = path;
    fault_clear(&last);
    return store_open(&o, &last);
}

static void refused(const char *path, struct store_options o, enum fault_kind kind, const char *code)
{
    struct store *s = try_open(path, o);
    assert_null(s);
    if (strcmp(last.items[0].code, code) != 0)
        fail_msg("%s: %s, not %s", last.items[0].code, last.items[0].detail, code);
    assert_int_equal(last.kind, kind);
}

static void write_file(const char *path, const void *bytes, size_t n)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    fclose(f);
}

/* The bytes of a file, freed by the caller. */
static char *file_bytes(const char *path, size_t *n)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    fseek(f, 0, SEEK_END);
    *n = (size_t)ftell(f);
    rewind(f);
    char *bytes = malloc(*n + 1);
    assert_int_equal(fread(bytes, 1, *n, f), *n);
    fclose(f);
    return bytes;
}

static void beside(const struct scratch *s, const char *name, char out[128])
{
    snprintf(out, 128, "%s/%s", s->folder, name);
}

static void missing_new_and_there(void **state)
{
    struct scratch *s = *state;
    char path[128];
    beside(s, "other.db", path);
    refused(path, (struct store_options){0}, FAULT_STORE, "no-file");
    refused(path, (struct store_options){.no_writer = true, .create = true}, FAULT_STORE, "no-file");
    assert_int_not_equal(access(path, F_OK), 0);
    struct store *made = try_open(path, (struct store_options){.create = true, .must_be_new = true});
    assert_non_null(made);
    struct stat st;
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600); /* it names people and holds hashes of keys */
    assert_int_equal(store_last_seq(made), 0);
    assert_true(store_last_commit_us(made) == CLOCK_NONE);
    store_close(made);
    refused(path, (struct store_options){.create = true, .must_be_new = true}, FAULT_CONFLICT, "exists");
    beside(s, "no/such/folder.db", path);
    refused(path, (struct store_options){.create = true}, FAULT_STORE, "cannot-open");
    beside(s, "empty.db", path); /* as mktemp leaves it */
    write_file(path, "", 0);
    refused(path, (struct store_options){.no_writer = true}, FAULT_STORE, "not-a-club");
    refused(path, (struct store_options){.path = path}, FAULT_STORE,
            "not-a-club"); /* a club that lost its bytes is not served as a new one */
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_size, 0);
    made = try_open(path, (struct store_options){.create = true, .must_be_new = true});
    assert_non_null(made);
    store_close(made);
}

static void each_club_has_its_own_id(void **state)
{
    struct scratch *s = *state;
    char path[128];
    struct uuid id;
    assert_true(uuid_parse(s->store->club_id, &id));
    beside(s, "other.db", path);
    struct store *other = try_open(path, (struct store_options){.create = true});
    assert_string_not_equal(other->club_id, s->store->club_id);
    store_close(other);
    char before[UUID_TEXT];
    memcpy(before, s->store->club_id, sizeof before);
    scratch_reopen(s);
    assert_string_equal(before, s->store->club_id);
}

static void files_of_others_are_left_alone(void **state)
{
    struct scratch *s = *state;
    char path[128];
    size_t n, m;
    beside(s, "letter.txt", path);
    write_file(path, "Dear all, this is a letter and no database, though it is long enough to look at.\n", 81);
    refused(path, (struct store_options){.create = true}, FAULT_STORE, "not-a-club");
    beside(s, "foreign.db", path);
    write_file(path, "", 0);
    tell(path, "CREATE TABLE letters (text)");
    char *before = file_bytes(path, &n);
    refused(path, (struct store_options){.create = true}, FAULT_STORE, "not-a-club");
    tell(path, "PRAGMA application_id = 17");
    free(before);
    before = file_bytes(path, &n);
    refused(path, (struct store_options){.create = true}, FAULT_STORE, "not-a-club");
    char *after = file_bytes(path, &m);
    assert_int_equal(n, m);
    assert_memory_equal(before, after, n);
    free(before);
    free(after);
}

static void newer_is_refused_by_both_numbers(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    tell(s->path, "PRAGMA user_version = 41");
    size_t n, m;
    char *before = file_bytes(s->path, &n);
    refused(s->path, (struct store_options){.create = true}, FAULT_STORE, "newer-file");
    assert_non_null(strstr(last.items[0].detail, "41"));
    char known[16];
    snprintf(known, sizeof known, " %d;", store_newest(embedded_schema));
    assert_non_null(strstr(last.items[0].detail, known));
    refused(s->path, (struct store_options){.no_writer = true}, FAULT_STORE, "newer-file");
    char *after = file_bytes(s->path, &m);
    assert_int_equal(n, m);
    assert_memory_equal(before, after, n);
    free(before);
    free(after);
}

static void damage_is_found_at_start(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    for (int i = 0; i < 200; i++) {
        struct calibration c = a_calibration("deck-a", "stock-a");
        put_calibration(s->store, &c, NULL);
    }
    store_close(s->store);
    s->store = NULL;
    int64_t page = ask(s->path, "SELECT rootpage FROM sqlite_schema WHERE name = 'calibration'");
    int fd = open(s->path, O_RDWR | O_CLOEXEC);
    char noise[200];
    memset(noise, 0xA5, sizeof noise);
    assert_int_equal(pwrite(fd, noise, sizeof noise, (page - 1) * 4096), sizeof noise);
    close(fd);
    refused(s->path, (struct store_options){0}, FAULT_STORE, "damaged");
    refused(s->path, (struct store_options){.no_writer = true}, FAULT_STORE, "damaged");
}

static void reading_only(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct store *r = try_open(s->path, (struct store_options){.no_writer = true}); /* beside the daemon */
    assert_non_null(r);
    assert_int_equal(store_last_seq(r), 2);
    struct calibration c = a_calibration("deck-a", "stock-a");
    assert_refused(put_calibration(r, &c, NULL), FAULT_STORE, "read-only");
    struct fault f = {.kind = FAULT_NONE};
    assert_false(store_save_blob(r, "x", "y", 1, &f));
    assert_int_equal(f.kind, FAULT_STORE);
    store_quiesce(r);
    store_close(r);
    /* a copy on a medium where nothing can be written beside it */
    store_close(s->store);
    s->store = NULL;
    assert_int_equal(chmod(s->path, 0400), 0);
    assert_int_equal(chmod(s->folder, 0500), 0);
    r = try_open(s->path, (struct store_options){.no_writer = true});
    assert_int_equal(chmod(s->folder, 0700), 0);
    assert_non_null(r);
    assert_true(store_check(r, &last));
    store_close(r);
}

static void paths_with_awkward_letters(void **state)
{
    struct scratch *s = *state;
    char path[128];
    beside(s, "a b?c#d%41.db", path);
    struct store *made = try_open(path, (struct store_options){.create = true});
    assert_non_null(made);
    store_close(made);
    assert_int_equal(access(path, F_OK), 0);
    struct connection c;
    assert_true(sql_open(&c, path, SQL_READ_IMMUTABLE, NULL));
    int64_t version;
    assert_true(sql_number(&c, "PRAGMA user_version", &version, NULL));
    assert_int_equal(version, store_newest(embedded_schema));
    sql_close(&c);
    char *endless = malloc(2 * LIMIT_PATH);
    memset(endless, 'x', 2 * LIMIT_PATH);
    endless[2 * LIMIT_PATH - 1] = '\0';
    refused(endless, (struct store_options){.create = true}, FAULT_STORE, "too-long");
    free(endless);
}

/* Closing copies the log into the file: one file holds the club. */
static void one_file_after_closing(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    char wal[128];
    snprintf(wal, sizeof wal, "%s-wal", s->path);
    store_close(s->store);
    s->store = NULL;
    assert_int_not_equal(access(wal, F_OK), 0);
    assert_int_equal(ask(s->path, "SELECT count(*) FROM change"), 2);
}

static void log_is_emptied_when_idle(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    struct store_figures g;
    for (int64_t until = clock_monotonic_us() + 5000000; clock_monotonic_us() < until;) {
        store_figures(s->store, &g);
        if (g.wal_bytes == 0)
            break;
        struct timespec t = {.tv_nsec = 20000000};
        nanosleep(&t, NULL);
    }
    assert_int_equal(g.wal_bytes, 0);
    assert_true(g.file_bytes > 0);
}

static void each_allocation_failing_while_opening(void **state)
{
    struct scratch *s = *state;
    make_pair(s->store);
    store_close(s->store);
    s->store = NULL;
    long before = mem_alive();
    for (long n = 1; n < 100; n++) {
        mem_fail_at(n, 1);
        struct store *o = try_open(s->path, (struct store_options){0});
        mem_fail_at(0, 0);
        if (o) {
            store_close(o);
            assert_int_equal(mem_alive(), before);
            return;
        }
        assert_int_equal(last.kind, FAULT_MEMORY);
        assert_int_equal(mem_alive(), before);
    }
    fail();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(missing_new_and_there, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(each_club_has_its_own_id, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(files_of_others_are_left_alone, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(newer_is_refused_by_both_numbers, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(damage_is_found_at_start, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(reading_only, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(paths_with_awkward_letters, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(one_file_after_closing, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(log_is_emptied_when_idle, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(each_allocation_failing_while_opening, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
