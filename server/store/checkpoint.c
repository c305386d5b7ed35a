/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Copying the write-ahead log into the file, so that the log stays small and nobody waits for it.
 *
 * Copying 16 MB takes tens of milliseconds, in which the writer could commit hundreds of groups. So a keeper thread with a connection of its
 * own copies the bulk while the writer goes on; the writer then copies the little that came meanwhile, which completes the log and lets
 * SQLite begin it anew. When nothing is written for a while, the writer copies all and truncates the log.
 */
#include "inside.h"

#define LOG_TOO_LONG (8 * LIMIT_WAL_PAGES) /* pages at which the writer no longer waits for the keeper */
#define REST_PAGES   (LIMIT_WAL_PAGES / 8) /* pages that the writer copies by itself: a few ms */

/* Copies what may be copied; *copied pages of the log are then in the file. True when that is all of it. */
static bool copy_log(struct connection *c, int mode, int *copied)
{
    int pages = 0;
    *copied = 0;
    return sqlite3_wal_checkpoint_v2(c->db, NULL, mode, &pages, copied) == SQLITE_OK && pages == *copied;
}

static void *keeper_main(void *argument)
{
    struct store *s = argument;
    pthread_setname_np(pthread_self(), "keeper");
    pthread_mutex_lock(&s->keeper_lock);
    for (;;) {
        while (!s->keeper_wanted && !s->keeper_closing)
            pthread_cond_wait(&s->keeper_wake, &s->keeper_lock);
        if (s->keeper_closing)
            break;
        pthread_mutex_unlock(&s->keeper_lock);
        int copied;
        copy_log(&s->keeper, SQLITE_CHECKPOINT_PASSIVE, &copied);
        pthread_mutex_lock(&s->keeper_lock);
        s->keeper_wanted = false;
        atomic_store(&s->copied_pages, copied);
    }
    pthread_mutex_unlock(&s->keeper_lock);
    return NULL;
}

/* Asks the keeper to work, unless it does already. */
static void wake_keeper(struct store *s)
{
    pthread_mutex_lock(&s->keeper_lock);
    if (!s->keeper_wanted) {
        s->keeper_wanted = true;
        pthread_cond_signal(&s->keeper_wake);
    }
    pthread_mutex_unlock(&s->keeper_lock);
}

/* Called by SQLite on the writer's thread after each commit, with the pages now in the log. */
static int on_commit_to_log(void *user, sqlite3 *db, const char *name, int pages)
{
    struct store *s = user;
    (void)db, (void)name;
    s->wal_used = true;
    if (pages < LIMIT_WAL_PAGES)
        return SQLITE_OK;
    int copied = atomic_exchange(&s->copied_pages, 0);
    if ((copied && pages - copied <= REST_PAGES) || pages >= LOG_TOO_LONG) {
        if (copy_log(&s->writer, SQLITE_CHECKPOINT_PASSIVE, &copied))
            return SQLITE_OK; /* complete: the next commit begins the log anew */
    }
    wake_keeper(s);
    return SQLITE_OK;
}

void checkpoint_idle(struct store *s)
{
    pthread_mutex_lock(&s->keeper_lock);
    bool keeper_works = s->keeper_wanted;
    pthread_mutex_unlock(&s->keeper_lock);
    int copied;
    if (s->wal_used && !keeper_works && copy_log(&s->writer, SQLITE_CHECKPOINT_TRUNCATE, &copied))
        s->wal_used = false;
}

bool checkpoint_start(struct store *s, struct fault *f)
{
    if (!sql_open(&s->keeper, s->path, SQL_WRITE, f) ||
        !sql_text(&s->keeper, "PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 0", f))
        return false;
    sqlite3_wal_hook(s->writer.db, on_commit_to_log, s);
    s->wal_used = true; /* a log left by a crash is copied at the first rest */
    if (pthread_create(&s->keeper_thread, NULL, keeper_main, s) != 0)
        return fault_add(f, FAULT_INTERNAL, "", "thread", "cannot start the keeper's thread");
    s->has_keeper = true;
    return true;
}

void checkpoint_stop(struct store *s)
{
    if (s->has_keeper) {
        pthread_mutex_lock(&s->keeper_lock);
        s->keeper_closing = true;
        pthread_cond_signal(&s->keeper_wake);
        pthread_mutex_unlock(&s->keeper_lock);
        pthread_join(s->keeper_thread, NULL);
        s->has_keeper = false;
    }
    sql_close(&s->keeper);
}
