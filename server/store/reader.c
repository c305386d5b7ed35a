/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The pool of reading connections, and what all readers share.
 */
#include "inside.h"

#include <errno.h>
#include <string.h>
#include <time.h>

static struct reader *reader_open(struct store *s, struct fault *f)
{
    struct reader *r = mem_zero(1, sizeof *r);
    if (!r) {
        fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while opening the club's file");
        return NULL;
    }
    r->store = s;
    if (sql_open(&r->c, s->path, s->immutable ? SQL_READ_IMMUTABLE : SQL_READ, f)) {
        if (sql_text(&r->c, "PRAGMA query_only = ON; PRAGMA cache_size = -2048", f)) {
            sql_limit(&r->c);
            return r;
        }
        sql_close(&r->c);
    }
    mem_free(r);
    return NULL;
}

/* One from the pool, or the right to open one (NULL with *may_open), or neither after the longest wait. */
static struct reader *from_pool(struct store *s, bool *may_open)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += LIMIT_READER_WAIT_MS / 1000;
    *may_open = false;
    pthread_mutex_lock(&s->pool_lock);
    while (!s->pool && s->readers >= LIMIT_READERS)
        if (pthread_cond_timedwait(&s->pool_free, &s->pool_lock, &until) == ETIMEDOUT)
            break;
    struct reader *r = s->pool;
    if (r) {
        s->pool = r->next;
    } else if (s->readers < LIMIT_READERS) {
        s->readers++;
        *may_open = true;
    }
    pthread_mutex_unlock(&s->pool_lock);
    return r;
}

static void drop(struct store *s, struct reader *r)
{
    if (r)
        sql_close(&r->c);
    mem_free(r);
    pthread_mutex_lock(&s->pool_lock);
    s->readers--;
    pthread_cond_signal(&s->pool_free);
    pthread_mutex_unlock(&s->pool_lock);
}

/* BEGIN alone sees nothing yet; the first question fixes the snapshot, so one is asked at once. */
static bool begin(struct reader *r, struct fault *f)
{
    sqlite3_stmt *b = sql_get(&r->c, SQL_BEGIN_READ, "BEGIN", f),
                 *v = b ? sql_get(&r->c, SQL_USER_VERSION, "PRAGMA user_version", f) : NULL;
    sqlite3_stmt *end = v ? sql_get(&r->c, SQL_COMMIT, "COMMIT", f) : NULL; /* ready before it is needed */
    if (!end || !sql_run(&r->c, b, f) || sql_step(&r->c, v, f) != 1)
        return false;
    int version = sqlite3_column_int(v, 0);
    sqlite3_reset(v);
    return version == r->store->version ||
           fault_add(f, FAULT_STORE, "", "newer-file", "the file has format %d now, this biasbook knows %d; restart with the newer one",
                     version, r->store->version);
}

struct reader *reader_take(struct store *s, struct fault *f)
{
    bool may_open;
    struct reader *r = from_pool(s, &may_open);
    if (!r && !may_open) {
        fault_add(f, FAULT_BUSY, "", "busy", "too many questions at once; try again in a moment");
        return NULL;
    }
    if (!r && !(r = reader_open(s, f))) {
        drop(s, NULL);
        return NULL;
    }
    if (begin(r, f))
        return r;
    drop(s, r);
    return NULL;
}

void reader_give(struct reader *r)
{
    if (!r)
        return;
    struct store *s = r->store;
    /* A failure may have ended the transaction; such a connection is not used again. */
    if (sqlite3_get_autocommit(r->c.db) || !sql_run(&r->c, r->c.ready[SQL_COMMIT], NULL)) {
        drop(s, r);
        return;
    }
    pthread_mutex_lock(&s->pool_lock);
    r->next = s->pool;
    s->pool = r;
    pthread_cond_signal(&s->pool_free);
    pthread_mutex_unlock(&s->pool_lock);
}

enum read_result read_end(int got)
{
    return got < 0 ? READ_FAILED : got == 0 ? READ_NONE : READ_OK;
}

void take_stamp(struct columns *c, struct stamp *out, bool with_void)
{
    uint8_t digest[DIGEST_BYTES];
    out->seq = take_int(c);
    out->revision = (int)take_int(c);
    out->stored_us = take_int(c);
    take_text(c, out->member, sizeof out->member);
    take_text(c, out->author, sizeof out->author);
    take_text(c, out->origin, sizeof out->origin);
    take_bytes(c, digest, sizeof digest);
    out->is_void = with_void && !take_is_null(c);
    out->void_reason[0] = '\0';
    if (with_void)
        take_text(c, out->void_reason, sizeof out->void_reason);
    etag_make(out->etag, out->revision, digest, out->is_void);
}

enum read_result read_fact(struct reader *r, const char *name, char *out, size_t size, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_FACT_GET, "SELECT value FROM fact WHERE name = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_text(&b, name);
    int got = bind_step(&b, &r->c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_text(&k, out, size);
        sqlite3_reset(q);
    }
    return read_end(got);
}
