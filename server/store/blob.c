/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Saved tables: many megabytes that must not hold up a member who logs. They are written in parts, a commit each, under a new generation;
 * the last commit makes that generation the one that stands, and the parts of older ones are then dropped one by one.
 */
#include "inside.h"

#include <string.h>

struct saving {
    const char *name;
    const uint8_t *bytes;
    size_t n, done;
    int64_t generation, part;
    bool more; /* parts of older generations are left */
};

static bool next_generation(struct store *s, struct saving *v, struct fault *f)
{
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_BLOB_NEXT,
                "SELECT max((SELECT coalesce(max(generation), 0) FROM blob_part), (SELECT coalesce(max(generation), 0) FROM blob)) + 1", f);
    if (!q || sql_step(&s->writer, q, f) != 1)
        return false;
    v->generation = sqlite3_column_int64(q, 0);
    sqlite3_reset(q);
    return true;
}

static bool save_part(struct store *s, void *argument, struct fault *f)
{
    struct saving *v = argument;
    size_t n = v->n - v->done < LIMIT_BLOB_PART ? v->n - v->done : LIMIT_BLOB_PART;
    if (!group_begin(s, f))
        return false;
    bool ok = v->generation || next_generation(s, v, f);
    sqlite3_stmt *q =
        ok ? sql_get(&s->writer, SQL_BLOB_PART_PUT, "INSERT INTO blob_part (generation, n, bytes) VALUES (?, ?, ?)", f) : NULL;
    if (q) {
        struct binder b = bind(q);
        bind_int(&b, v->generation);
        bind_int(&b, v->part);
        bind_bytes(&b, v->bytes + v->done, n);
        ok = bind_run(&b, &s->writer, f);
        sqlite3_clear_bindings(q);
    }
    ok = group_end(s, ok && q, f) && ok && q;
    v->done += n;
    v->part++;
    return ok;
}

static bool let_stand(struct store *s, void *argument, struct fault *f)
{
    struct saving *v = argument;
    if (!group_begin(s, f))
        return false;
    sqlite3_stmt *q =
        sql_get(&s->writer, SQL_BLOB_STAND, "INSERT OR REPLACE INTO blob (name, generation, size, stored_us) VALUES (?, ?, ?, ?)", f);
    bool ok = q != NULL;
    if (ok) {
        struct binder b = bind(q);
        bind_text(&b, v->name);
        bind_int(&b, v->generation);
        bind_int(&b, (int64_t)v->n);
        bind_int(&b, clock_now_us());
        ok = bind_run(&b, &s->writer, f);
    }
    return group_end(s, ok, f) && ok;
}

/* Older than this one and standing nowhere: a former generation, or one that a crash cut short. */
static bool drop_old(struct store *s, void *argument, struct fault *f)
{
    struct saving *v = argument;
    if (!group_begin(s, f))
        return false;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_BLOB_DROP_OLD,
                              "DELETE FROM blob_part WHERE id = (SELECT id FROM blob_part WHERE generation < ?"
                              " AND generation NOT IN (SELECT generation FROM blob) LIMIT 1)",
                              f);
    bool ok = q != NULL;
    if (ok) {
        struct binder b = bind(q);
        bind_int(&b, v->generation);
        ok = bind_run(&b, &s->writer, f);
        v->more = ok && sqlite3_changes(s->writer.db) > 0;
    }
    return group_end(s, ok, f) && ok;
}

bool store_save_blob(struct store *s, const char *name, const void *bytes, size_t n, struct fault *f)
{
    struct saving v = {.name = name, .bytes = bytes, .n = n, .more = true};
    if (n > LIMIT_BLOB)
        return fault_add(f, FAULT_TOO_LARGE, "", "too-large", "saved tables of %zu bytes are larger than the store takes", n);
    do {
        if (!writer_job(s, save_part, &v, f))
            return false;
    } while (v.done < n);
    if (!writer_job(s, let_stand, &v, f))
        return false;
    while (v.more)
        if (!writer_job(s, drop_old, &v, f))
            return false;
    return true;
}

/* The parts of one generation into `bytes`; the number copied, -1 failed. */
static int64_t read_parts(struct reader *r, int64_t generation, uint8_t *bytes, int64_t size, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_BLOB_PARTS, "SELECT bytes FROM blob_part WHERE generation = ? ORDER BY n", f);
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_int(&b, generation);
    int64_t done = 0;
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        const void *part = sqlite3_column_blob(q, 0);
        int64_t n = sqlite3_column_bytes(q, 0);
        if (n > size - done)
            n = size - done;
        if (part && n > 0)
            memcpy(bytes + done, part, (size_t)n);
        done += n;
    }
    return got < 0 ? -1 : done;
}

enum read_result read_blob(struct reader *r, const char *name, void **bytes, size_t *n, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_BLOB_FIND, "SELECT generation, size FROM blob WHERE name = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_text(&b, name);
    int got = bind_step(&b, &r->c, f);
    if (got != 1)
        return read_end(got);
    int64_t generation = sqlite3_column_int64(q, 0), size = sqlite3_column_int64(q, 1);
    sqlite3_reset(q);
    uint8_t *p = size >= 0 && size <= LIMIT_BLOB ? mem_alloc((size_t)size) : NULL;
    if (!p) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading saved tables");
        return READ_FAILED;
    }
    int64_t done = read_parts(r, generation, p, size, f);
    if (done == size) {
        *bytes = p;
        *n = (size_t)size;
        return READ_OK;
    }
    mem_free(p);
    return done < 0 ? READ_FAILED : READ_NONE; /* incomplete: as good as none, it can be rebuilt */
}
