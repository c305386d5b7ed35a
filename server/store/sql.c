/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Opening, stepping, binding: see sql.h.
 */
#include "sql.h"

#include "../ground/buffer.h"
#include "../ground/limits.h"
#include "../ground/log.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

/* Connections are used by one thread at a time, so SQLite's own locks would only cost; its memory counters take a lock a call. */
static void configure(void)
{
    sqlite3_config(SQLITE_CONFIG_MULTITHREAD);
    sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
    unreadable_install();
}

bool sql_fault(struct connection *c, struct fault *f)
{
    int extended = c->db ? sqlite3_extended_errcode(c->db) : SQLITE_NOMEM;
    const char *text = c->db ? sqlite3_errmsg(c->db) : "out of memory";
    switch (extended & 0xFF) {
    case SQLITE_NOMEM: return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory in the store; try again");
    case SQLITE_BUSY:
    case SQLITE_LOCKED: return fault_add(f, FAULT_BUSY, "", "busy", "another process is writing the club's file; try again");
    case SQLITE_FULL: return fault_add(f, FAULT_STORE, "", "disk-full", "the disk is full; make room and try again");
    case SQLITE_CORRUPT: return fault_add(f, FAULT_STORE, "", "damaged", "the club's file is damaged (%s); restore a backup", text);
    case SQLITE_NOTADB: return fault_add(f, FAULT_STORE, "", "not-a-club", "this is not a biasbook file");
    case SQLITE_READONLY:
    case SQLITE_PERM:
        return fault_add(
            f, FAULT_STORE, "", "read-only",
            "the club's file may not be written (%s): the user who serves it needs to write the file and its folder, and the disk must "
            "not be mounted read-only",
            text);
    case SQLITE_CANTOPEN:
        return fault_add(f, FAULT_STORE, "", "cannot-open",
                         "the club's file cannot be opened (%s): check its path and who may read it and its folder", text);
    case SQLITE_IOERR: return fault_add(f, FAULT_STORE, "", "disk", "the disk failed (%s, %d); look at the system's log", text, extended);
    default: break;
    }
    char code[16];
    snprintf(code, sizeof code, "%d", extended);
    log_line(LOG_ERROR, "store", "code", code, "why", text, NULL);
    return fault_add(f, FAULT_INTERNAL, "", "store", "the store refused what it should have taken (%s)", text);
}

/* A file: address, so that a read-only copy opens without the -shm that WAL wants beside it. */
static bool immutable_address(const char *path, struct buffer *out)
{
    buffer_text(out, "file:");
    for (; *path; path++) {
        if (strchr("?#%", *path))
            buffer_format(out, "%%%02x", (unsigned)(unsigned char)*path);
        else
            buffer_char(out, *path);
    }
    buffer_text(out, "?immutable=1");
    return !out->failed;
}

static void harden(sqlite3 *db)
{
    sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_FKEY, 1, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DQS_DML, 0, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DQS_DDL, 0, NULL);
    sqlite3_busy_timeout(db, LIMIT_BUSY_MS);
}

bool sql_open(struct connection *c, const char *path, enum sql_mode mode, struct fault *f)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, configure);
    memset(c, 0, sizeof *c);
    struct buffer address;
    buffer_init(&address, 3 * LIMIT_PATH);
    int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE | (mode == SQL_WRITE ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY);
    if (mode == SQL_READ_IMMUTABLE) {
        flags |= SQLITE_OPEN_URI;
        if (!immutable_address(path, &address)) {
            buffer_free(&address);
            return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while opening the club's file");
        }
    }
    bool ok = sqlite3_open_v2(address.data ? address.data : path, &c->db, flags, NULL) == SQLITE_OK;
    buffer_free(&address);
    if (ok) {
        harden(c->db);
        ok = sqlite3_exec(c->db, "PRAGMA mmap_size = 0; PRAGMA temp_store = MEMORY; PRAGMA cell_size_check = ON", NULL, NULL, NULL) ==
             SQLITE_OK;
    }
    if (ok)
        return true;
    sql_fault(c, f);
    sql_close(c);
    return false;
}

void sql_close(struct connection *c)
{
    for (int i = 0; i < SQL_COUNT; i++)
        sqlite3_finalize(c->ready[i]);
    sqlite3_close(c->db);
    memset(c, 0, sizeof *c);
}

void sql_limit(struct connection *c)
{
    static const struct {
        int which, value;
    } limits[] = {
        {SQLITE_LIMIT_LENGTH, 4 * LIMIT_BLOB_PART}, {SQLITE_LIMIT_SQL_LENGTH, 20000}, {SQLITE_LIMIT_COLUMN, 100},
        {SQLITE_LIMIT_COMPOUND_SELECT, 10},         {SQLITE_LIMIT_FUNCTION_ARG, 10},  {SQLITE_LIMIT_ATTACHED, 1},
        {SQLITE_LIMIT_VARIABLE_NUMBER, 100},        {SQLITE_LIMIT_TRIGGER_DEPTH, 1},  {SQLITE_LIMIT_WORKER_THREADS, 0},
        {SQLITE_LIMIT_LIKE_PATTERN_LENGTH, 100},
    };
    for (size_t i = 0; i < sizeof limits / sizeof *limits; i++)
        sqlite3_limit(c->db, limits[i].which, limits[i].value);
}

sqlite3_stmt *sql_get(struct connection *c, enum sql which, const char *text, struct fault *f)
{
    sqlite3_stmt **s = &c->ready[which];
    if (!*s && sqlite3_prepare_v3(c->db, text, -1, SQLITE_PREPARE_PERSISTENT, s, NULL) != SQLITE_OK)
        sql_fault(c, f);
    return *s;
}

int sql_step(struct connection *c, sqlite3_stmt *s, struct fault *f)
{
    int rc = sqlite3_step(s);
    if (rc == SQLITE_ROW)
        return 1;
    if (rc == SQLITE_DONE) {
        sqlite3_reset(s);
        return 0;
    }
    sql_fault(c, f);
    sqlite3_reset(s);
    return -1;
}

bool sql_run(struct connection *c, sqlite3_stmt *s, struct fault *f)
{
    int got;
    while ((got = sql_step(c, s, f)) > 0)
        ;
    return got == 0;
}

bool sql_text(struct connection *c, const char *text, struct fault *f)
{
    return sqlite3_exec(c->db, text, NULL, NULL, NULL) == SQLITE_OK || sql_fault(c, f);
}

bool sql_number(struct connection *c, const char *text, int64_t *out, struct fault *f)
{
    sqlite3_stmt *s = NULL;
    bool ok = sqlite3_prepare_v2(c->db, text, -1, &s, NULL) == SQLITE_OK && sqlite3_step(s) == SQLITE_ROW;
    if (ok)
        *out = sqlite3_column_int64(s, 0);
    else
        sql_fault(c, f);
    sqlite3_finalize(s);
    return ok;
}

/* ---- values in ---- */
static void bound(struct binder *b, int rc)
{
    b->failed = b->failed || rc != SQLITE_OK;
}

void bind_null(struct binder *b)
{
    bound(b, sqlite3_bind_null(b->s, ++b->n));
}

void bind_int(struct binder *b, int64_t v)
{
    bound(b, sqlite3_bind_int64(b->s, ++b->n, v));
}

void bind_count(struct binder *b, int v)
{
    if (v < 0)
        bind_null(b);
    else
        bind_int(b, v);
}

void bind_id(struct binder *b, int64_t v)
{
    if (v == 0)
        bind_null(b);
    else
        bind_int(b, v);
}

void bind_real(struct binder *b, double v)
{
    if (isnan(v))
        bind_null(b);
    else
        bound(b, sqlite3_bind_double(b->s, ++b->n, v));
}

void bind_text(struct binder *b, const char *t)
{
    bound(b, t ? sqlite3_bind_text(b->s, ++b->n, t, -1, SQLITE_STATIC) : sqlite3_bind_null(b->s, ++b->n));
}

void bind_given(struct binder *b, const char *t)
{
    bind_text(b, t && *t ? t : NULL);
}

void bind_bytes(struct binder *b, const void *p, size_t n)
{
    bound(b, sqlite3_bind_blob64(b->s, ++b->n, n ? p : "", n, SQLITE_STATIC));
}

int bind_step(struct binder *b, struct connection *c, struct fault *f)
{
    if (b->failed) {
        fault_add(f, FAULT_INTERNAL, "", "store", "a value is larger than the store takes");
        return -1;
    }
    return sql_step(c, b->s, f);
}

bool bind_run(struct binder *b, struct connection *c, struct fault *f)
{
    int got;
    while ((got = bind_step(b, c, f)) > 0)
        ;
    return got == 0;
}

/* ---- values out ---- */
bool take_is_null(const struct columns *c)
{
    return sqlite3_column_type(c->s, c->n) == SQLITE_NULL;
}

void take_skip(struct columns *c)
{
    c->n++;
}

int64_t take_int(struct columns *c)
{
    return sqlite3_column_int64(c->s, c->n++);
}

int take_count(struct columns *c)
{
    bool none = take_is_null(c);
    int64_t v = take_int(c);
    return none ? -1 : (int)v;
}

bool take_flag(struct columns *c)
{
    return take_int(c) != 0;
}

double take_real(struct columns *c)
{
    bool none = take_is_null(c);
    double v = sqlite3_column_double(c->s, c->n++);
    return none ? (double)NAN : v;
}

void take_text(struct columns *c, char *out, size_t room)
{
    const unsigned char *t = sqlite3_column_text(c->s, c->n);
    size_t n = t ? (size_t)sqlite3_column_bytes(c->s, c->n) : 0;
    c->n++;
    if (n >= room)
        n = room - 1;
    if (t && n)
        memcpy(out, t, n);
    out[n] = '\0';
}

const char *take_long(struct columns *c)
{
    return (const char *)sqlite3_column_text(c->s, c->n++);
}

void take_bytes(struct columns *c, void *out, size_t n)
{
    const void *p = sqlite3_column_blob(c->s, c->n);
    if (p && (size_t)sqlite3_column_bytes(c->s, c->n) == n)
        memcpy(out, p, n);
    else
        memset(out, 0, n);
    c->n++;
}
