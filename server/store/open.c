/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Opening and closing the club's file. What it is comes first: nothing is written to a file that is not ours, is too new or is damaged.
 */
#include "inside.h"

#include "../ground/log.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool file_sync(const char *path)
{
    char folder[LIMIT_PATH + 64];
    if (strlen(path) >= sizeof folder)
        return false;
    memcpy(folder, path, strlen(path) + 1);
    int file = open(path, O_RDONLY | O_CLOEXEC), dir = open(dirname(folder), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool ok = file >= 0 && dir >= 0 && fsync(file) == 0 && fsync(dir) == 0;
    if (file >= 0)
        close(file);
    if (dir >= 0)
        close(dir);
    return ok;
}

/* Makes the file for its owner alone (it names people and holds hashes of keys). *made tells whether it was us; an empty one counts as new. */
static bool make_file(const struct store_options *o, bool *made, struct fault *f)
{
    struct stat st;
    *made = false;
    if (stat(o->path, &st) == 0) {
        if (o->must_be_new && st.st_size > 0)
            return fault_add(f, FAULT_CONFLICT, "db", "exists", "%s is there already; choose another name", o->path);
        return true;
    }
    if (errno != ENOENT)
        return fault_add(f, FAULT_STORE, "db", "cannot-open", "%s: %s", o->path, strerror(errno));
    if ((!o->create && !o->must_be_new) || o->no_writer)
        return fault_add(f, FAULT_STORE, "db", "no-file", "there is no %s; biasbook init --db FILE makes a club", o->path);
    int fd = open(o->path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0)
        return fault_add(f, FAULT_STORE, "db", "cannot-open", "%s: %s", o->path, strerror(errno));
    close(fd);
    *made = true;
    return true;
}

static void unmake_file(const char *path)
{
    char beside[LIMIT_PATH + 8];
    unlink(path);
    snprintf(beside, sizeof beside, "%s-wal", path);
    unlink(beside);
    snprintf(beside, sizeof beside, "%s-shm", path);
    unlink(beside);
}

bool store_quick_check(struct connection *c, struct fault *f)
{
    sqlite3_stmt *s = NULL;
    bool ok = sqlite3_prepare_v2(c->db, "PRAGMA quick_check(1)", -1, &s, NULL) == SQLITE_OK && sqlite3_step(s) == SQLITE_ROW;
    const char *finding = ok ? (const char *)sqlite3_column_text(s, 0) : NULL;
    if (!ok)
        sql_fault(c, f);
    else if (!finding || strcmp(finding, "ok") != 0)
        ok = sql_finding(finding, f);
    sqlite3_finalize(s);
    return ok;
}

bool store_open_to_read(struct connection *c, const char *path, bool *immutable, struct fault *f)
{
    char wal[LIMIT_PATH + 8];
    struct fault first = {.kind = FAULT_NONE};
    int64_t version;
    *immutable = false;
    if (!sql_open(c, path, SQL_READ, &first)) {
        fault_merge(f, &first, "");
        return false;
    }
    if (sql_number(c, "PRAGMA user_version", &version, &first))
        return true;
    sql_close(c);
    snprintf(wal, sizeof wal, "%s-wal", path);
    if (access(wal, F_OK) != 0 && sql_open(c, path, SQL_READ_IMMUTABLE, NULL)) {
        *immutable = true;
        if (sql_number(c, "PRAGMA user_version", &version, NULL))
            return true;
        sql_close(c);
    }
    fault_merge(f, &first, "");
    return false;
}

/* The writing connection: identified, checked, migrated, in WAL. */
static bool open_writer(struct store *s, const struct store_options *o, const struct embedded *steps, struct fault *f)
{
    bool fresh;
    struct connection *c = &s->writer;
    if (!sql_open(c, s->path, SQL_WRITE, f) || !store_identify(c, s->version, &fresh, f))
        return false;
    if (sqlite3_db_readonly(c->db, "main") != 0)
        return fault_add(f, FAULT_STORE, "db", "read-only",
                         "%s may not be written by this user; run as the user whose it is, or have the file and its folder made writable",
                         s->path);
    if (fresh && !o->create && !o->must_be_new) /* a club that lost its bytes must not be taken for a new one */
        return fault_add(f, FAULT_STORE, "db", "not-a-club", "%s is empty; restore a backup, or make a club with biasbook init", s->path);
    if (!fresh && !store_quick_check(c, f))
        return false;
    char settings[200];
    snprintf(settings, sizeof settings,
             "PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 0; PRAGMA cache_size = -32768; PRAGMA journal_size_limit = %lld",
             (long long)LIMIT_WAL_KEEP_BYTES);
    if (!sql_text(c, "PRAGMA journal_mode = WAL", f) || !sql_text(c, settings, f) || !store_migrate(c, s->path, steps, fresh, f))
        return false;
    sql_limit(c);
    return true;
}

/* For reading only: the same questions, and a file that would have to be migrated is refused. */
static bool open_reader_only(struct store *s, struct fault *f)
{
    bool fresh;
    int64_t version;
    struct connection c;
    if (!store_open_to_read(&c, s->path, &s->immutable, f))
        return false;
    bool ok = store_identify(&c, s->version, &fresh, f);
    if (ok && fresh)
        ok = fault_add(f, FAULT_STORE, "db", "not-a-club", "%s is empty; biasbook init makes a club", s->path);
    ok = ok && sql_number(&c, "PRAGMA user_version", &version, f);
    if (ok && version < s->version)
        ok = fault_add(f, FAULT_STORE, "db", "older-file",
                       "this file has format %lld and must be brought to %d first: biasbook serve does it", (long long)version, s->version);
    ok = ok && store_quick_check(&c, f) && group_last_change(&c, &(int64_t){0}, &(int64_t){0}, f);
    sql_close(&c);
    return ok;
}

static bool read_figures(struct store *s, struct fault *f)
{
    struct reader *r = reader_take(s, f);
    int64_t seq, stored_us;
    bool ok = r && group_last_change(&r->c, &seq, &stored_us, f) && read_fact(r, "club_id", s->club_id, sizeof s->club_id, f) == READ_OK;
    reader_give(r);
    if (!ok)
        return fault_set(f) ? false : fault_add(f, FAULT_STORE, "", "damaged", "the file does not say which club it is; restore a backup");
    atomic_store(&s->last_seq, seq);
    atomic_store(&s->last_commit_us, stored_us);
    return true;
}

static struct store *store_new(const char *path)
{
    struct store *s = mem_zero(1, sizeof *s);
    if (!s)
        return NULL;
    pthread_mutex_init(&s->lock, NULL);
    pthread_mutex_init(&s->pool_lock, NULL);
    pthread_mutex_init(&s->keeper_lock, NULL);
    pthread_cond_init(&s->keeper_wake, NULL);
    pthread_cond_init(&s->calm, NULL);
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&s->work, &monotonic);
    pthread_cond_init(&s->pool_free, &monotonic);
    pthread_condattr_destroy(&monotonic);
    s->path = mem_text(path);
    s->group = mem_zero(LIMIT_GROUP_ROWS, sizeof *s->group);
    s->changed = mem_zero(LIMIT_GROUP_ROWS, sizeof *s->changed);
    s->caches = mem_zero(1, sizeof *s->caches);
    s->last_commit_us = CLOCK_NONE;
    return s;
}

static void store_free(struct store *s)
{
    while (s->pool) {
        struct reader *r = s->pool;
        s->pool = r->next;
        sql_close(&r->c);
        mem_free(r);
    }
    checkpoint_stop(s);
    sql_close(&s->writer);
    if (s->scratch && s->path)
        unmake_file(s->path);
    pthread_cond_destroy(&s->work);
    pthread_cond_destroy(&s->calm);
    pthread_cond_destroy(&s->pool_free);
    pthread_mutex_destroy(&s->lock);
    pthread_mutex_destroy(&s->pool_lock);
    pthread_mutex_destroy(&s->keeper_lock);
    pthread_cond_destroy(&s->keeper_wake);
    mem_free(s->path);
    mem_free(s->group);
    mem_free(s->changed);
    mem_free(s->caches);
    mem_free(s);
}

struct store *store_open_with(const struct store_options *o, const struct embedded *steps, struct fault *f)
{
    bool made = false;
    struct fault own = {.kind = FAULT_NONE};
    if (strlen(o->path) > LIMIT_PATH) {
        fault_add(f, FAULT_STORE, "db", "too-long", "the path is longer than %d bytes", LIMIT_PATH);
        return NULL;
    }
    if (!secrets_start()) {
        fault_add(f, FAULT_INTERNAL, "", "entropy", "the system gives no random numbers");
        return NULL;
    }
    struct store *s = store_new(o->path);
    if (!s || !s->path || !s->group || !s->changed || !s->caches) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while opening the club's file");
        if (s)
            store_free(s);
        return NULL;
    }
    s->version = store_newest(steps);
    bool ok = make_file(o, &made, &own);
    if (ok)
        ok = o->no_writer ? open_reader_only(s, &own) : open_writer(s, o, steps, &own);
    ok = ok && read_figures(s, &own);
    ok = ok && (o->no_writer || writer_start(s, &own));
    if (ok)
        return s;
    fault_merge(f, &own, "");
    s->scratch = made; /* a club that could not be made leaves nothing behind */
    store_free(s);
    return NULL;
}

struct store *store_open(const struct store_options *options, struct fault *f)
{
    return store_open_with(options, embedded_schema, f);
}

void store_close(struct store *s)
{
    if (!s)
        return;
    if (s->has_writer) {
        store_quiesce(s);
        writer_stop(s);
        while (s->pool) { /* readers first, so that the checkpoint finds nobody in the log */
            struct reader *r = s->pool;
            s->pool = r->next;
            sql_close(&r->c);
            mem_free(r);
        }
        sqlite3_wal_checkpoint_v2(s->writer.db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
    }
    store_free(s);
}

int64_t store_last_seq(struct store *s)
{
    return atomic_load(&s->last_seq);
}

int64_t store_last_commit_us(struct store *s)
{
    return atomic_load(&s->last_commit_us);
}

bool store_changed_outside(struct store *s)
{
    return atomic_exchange(&s->changed_outside, false);
}

static int64_t size_of(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 ? (int64_t)st.st_size : 0;
}

void store_figures(struct store *s, struct store_figures *out)
{
    char wal[LIMIT_PATH + 8];
    snprintf(wal, sizeof wal, "%s-wal", s->path);
    *out = (struct store_figures){
        .wal_bytes = size_of(wal),
        .file_bytes = size_of(s->path),
        .commits = atomic_load(&s->commits),
        .rows_written = atomic_load(&s->rows_written),
        .largest_group = atomic_load(&s->largest_group),
    };
    pthread_mutex_lock(&s->lock);
    out->queue_rows = s->singles.rows;
    pthread_mutex_unlock(&s->lock);
}
