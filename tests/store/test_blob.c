/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Saved tables: whole or the ones before, whatever their size; nothing of former ones stays.
 */
#include "scratch.h"

#include <stdlib.h>
#include <string.h>

static void read_back(struct store *s, const char *name, const uint8_t *bytes, size_t n)
{
    void *got = NULL;
    size_t m = 0;
    struct reader *r = reader_take(s, NULL);
    assert_int_equal(read_blob(r, name, &got, &m, NULL), READ_OK);
    reader_give(r);
    assert_int_equal(m, n);
    assert_memory_equal(got, bytes, n);
    mem_free(got);
}

static void every_size_comes_back(void **state)
{
    struct scratch *s = *state;
    static const size_t sizes[] = {0, 1, LIMIT_BLOB_PART - 1, LIMIT_BLOB_PART, LIMIT_BLOB_PART + 1, 3 * LIMIT_BLOB_PART + 17, 5};
    uint8_t *bytes = malloc(4 * LIMIT_BLOB_PART);
    secrets_random(bytes, 4 * LIMIT_BLOB_PART);
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        assert_true(store_save_blob(s->store, "view", bytes + i, sizes[i], NULL));
        read_back(s->store, "view", bytes + i, sizes[i]);
        size_t parts = sizes[i] / LIMIT_BLOB_PART + (sizes[i] % LIMIT_BLOB_PART || sizes[i] == 0);
        assert_int_equal(ask(s->path, "SELECT count(*) FROM blob_part"), parts); /* former ones are gone */
    }
    assert_true(store_save_blob(s->store, "other", "abc", 3, NULL));
    read_back(s->store, "other", (const uint8_t *)"abc", 3);
    read_back(s->store, "view", bytes + 6, 5);
    free(bytes);
}

static void incomplete_is_none(void **state)
{
    struct scratch *s = *state;
    uint8_t *bytes = calloc(3, LIMIT_BLOB_PART);
    void *got = NULL;
    size_t n;
    struct fault f = {.kind = FAULT_NONE};
    assert_true(store_save_blob(s->store, "view", bytes, 3 * LIMIT_BLOB_PART, NULL));
    free(bytes);
    tell(s->path, "DELETE FROM blob_part WHERE n = 1");
    struct reader *r = reader_take(s->store, NULL);
    assert_int_equal(read_blob(r, "view", &got, &n, &f), READ_NONE);
    assert_int_equal(read_blob(r, "nothing", &got, &n, &f), READ_NONE);
    assert_false(fault_set(&f));
    mem_fail_at(1, 0);
    assert_int_equal(read_blob(r, "view", &got, &n, &f), READ_FAILED);
    mem_fail_at(0, 0);
    assert_int_equal(f.kind, FAULT_MEMORY);
    reader_give(r);
}

/* What a crash left half-written is cleared away by the next save. */
static void leftovers_are_cleared(void **state)
{
    struct scratch *s = *state;
    assert_true(store_save_blob(s->store, "view", "one", 3, NULL));
    tell(s->path, "INSERT INTO blob_part (generation, n, bytes) VALUES (50, 0, x'00'), (50, 1, x'00')");
    assert_true(store_save_blob(s->store, "view", "two", 3, NULL));
    assert_int_equal(ask(s->path, "SELECT count(*) FROM blob_part"), 1);
    read_back(s->store, "view", (const uint8_t *)"two", 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(every_size_comes_back, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(incomplete_is_none, scratch_open, scratch_close),
        cmocka_unit_test_setup_teardown(leftovers_are_cleared, scratch_open, scratch_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
