/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See faulty_disk.h. Each file of ours carries the system's file behind it and a list of pieces written since its last sync, each with what was
 * there before. Files are known by path, so that two connections to one file share the list.
 */
#include "faulty_disk.h"

#include <fcntl.h>
#include <pthread.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECTOR 512
#define FILES  64

struct piece {
    struct piece *older;
    sqlite3_int64 at;
    int n, had; /* bytes written; bytes that were there before */
    unsigned char before[];
};

struct known_file {
    char path[256];
    struct piece *unsynced; /* newest first */
};

struct disk_file {
    sqlite3_file base;
    struct known_file *known; /* NULL: a temporary one */
    /* the system's file follows */
};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static sqlite3_vfs *below, ours;
static sqlite3_io_methods methods;
static struct known_file files[FILES];
static long countdown;
static enum disk_fault what;
static bool ever, failed, watching, no_power;

static sqlite3_file *real(sqlite3_file *f)
{
    return (sqlite3_file *)((char *)f + sizeof(struct disk_file));
}

void disk_fail_at(long n, enum disk_fault fault, bool ever_after)
{
    pthread_mutex_lock(&lock);
    countdown = n;
    what = fault;
    ever = ever_after;
    failed = false;
    pthread_mutex_unlock(&lock);
}

bool disk_failed(void)
{
    pthread_mutex_lock(&lock);
    bool yes = failed;
    pthread_mutex_unlock(&lock);
    return yes;
}

/* Is it this operation's turn? Under the lock. */
static bool counts_down(void)
{
    if (no_power || (failed && ever))
        return true;
    if (countdown == 0 || --countdown > 0)
        return false;
    failed = true;
    if (what == DISK_POWER)
        no_power = true;
    return true;
}

static bool turn(void) /* of a change */
{
    return what != DISK_READ && counts_down();
}

/* ---- what has not been synced ---- */

static void forget(struct known_file *k)
{
    while (k && k->unsynced) {
        struct piece *older = k->unsynced->older;
        free(k->unsynced);
        k->unsynced = older;
    }
}

static void remember(sqlite3_file *f, int n, sqlite3_int64 at)
{
    struct known_file *k = ((struct disk_file *)f)->known;
    sqlite3_int64 size = 0;
    if (!watching || !k)
        return;
    struct piece *p = calloc(1, sizeof *p + (size_t)n);
    real(f)->pMethods->xFileSize(real(f), &size);
    sqlite3_int64 had = size > at ? size - at : 0;
    p->at = at;
    p->n = n;
    p->had = had < n ? (int)had : n;
    if (p->had)
        real(f)->pMethods->xRead(real(f), p->before, p->had, at);
    p->older = k->unsynced;
    k->unsynced = p;
}

static uint64_t next(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    return *seed ^= *seed << 17;
}

/* Takes back pieces sector by sector, newest first, so that an older state comes out under a newer one as it would. */
static void lose(struct known_file *k, uint64_t *seed)
{
    int fd = open(k->path, O_RDWR | O_CLOEXEC);
    int mood = (int)(next(seed) % 3); /* keep most, lose most, or toss for each */
    for (struct piece *p = k->unsynced; p && fd >= 0; p = p->older) {
        for (int i = 0; i < p->n; i += SECTOR) {
            int n = p->n - i < SECTOR ? p->n - i : SECTOR;
            if (next(seed) % 8 < (mood == 0 ? 1u : mood == 1 ? 7u : 4u))
                if (pwrite(fd, p->before + i, (size_t)n, p->at + i) != n) /* past the old end: zeroes */
                    abort();
        }
    }
    if (fd >= 0)
        close(fd);
    forget(k);
}

void disk_watch(void)
{
    pthread_mutex_lock(&lock);
    for (int i = 0; i < FILES; i++)
        forget(&files[i]);
    watching = true;
    pthread_mutex_unlock(&lock);
}

void disk_power_off(uint64_t seed)
{
    uint64_t s = seed * 2654435761u + 88172645463325252u;
    pthread_mutex_lock(&lock);
    for (int i = 0; i < FILES; i++) {
        char shm[300];
        if (!files[i].path[0])
            continue;
        lose(&files[i], &s);
        snprintf(shm, sizeof shm, "%.255s-shm", files[i].path);
        unlink(shm);
        files[i].path[0] = '\0';
    }
    countdown = 0;
    failed = ever = watching = no_power = false;
    pthread_mutex_unlock(&lock);
}

/* ---- operations that can fail ---- */

static int disk_write(sqlite3_file *f, const void *p, int n, sqlite3_int64 at)
{
    int rc = SQLITE_OK;
    pthread_mutex_lock(&lock);
    if (turn()) {
        rc = what == DISK_FULL ? SQLITE_FULL : SQLITE_IOERR_WRITE;
        if (what == DISK_SHORT && n > 1)
            real(f)->pMethods->xWrite(real(f), p, n / 2, at);
    } else {
        remember(f, n, at);
        rc = real(f)->pMethods->xWrite(real(f), p, n, at);
    }
    pthread_mutex_unlock(&lock);
    return rc;
}

static int disk_sync(sqlite3_file *f, int flags)
{
    pthread_mutex_lock(&lock);
    int rc = turn() && what != DISK_FULL ? SQLITE_IOERR_FSYNC : SQLITE_OK;
    if (rc == SQLITE_OK && !watching)
        rc = real(f)->pMethods->xSync(real(f), flags);
    if (rc == SQLITE_OK)
        forget(((struct disk_file *)f)->known);
    pthread_mutex_unlock(&lock);
    return rc;
}

static int disk_truncate(sqlite3_file *f, sqlite3_int64 size)
{
    pthread_mutex_lock(&lock);
    int rc = turn() && what != DISK_FULL ? SQLITE_IOERR_TRUNCATE : real(f)->pMethods->xTruncate(real(f), size);
    pthread_mutex_unlock(&lock);
    return rc;
}

static int disk_delete(sqlite3_vfs *v, const char *path, int sync)
{
    (void)v;
    pthread_mutex_lock(&lock);
    int rc = no_power ? SQLITE_IOERR_DELETE : below->xDelete(below, path, sync);
    for (int i = 0; i < FILES && rc == SQLITE_OK; i++)
        if (strcmp(files[i].path, path) == 0)
            forget(&files[i]);
    pthread_mutex_unlock(&lock);
    return rc;
}

/* ---- the rest goes through ---- */
static int disk_close(sqlite3_file *f)
{
    return real(f)->pMethods->xClose(real(f));
}
static int disk_read(sqlite3_file *f, void *p, int n, sqlite3_int64 at)
{
    pthread_mutex_lock(&lock);
    bool fails = what == DISK_READ && counts_down();
    pthread_mutex_unlock(&lock);
    return fails ? SQLITE_IOERR_READ : real(f)->pMethods->xRead(real(f), p, n, at);
}
static int disk_size(sqlite3_file *f, sqlite3_int64 *size)
{
    return real(f)->pMethods->xFileSize(real(f), size);
}
static int disk_lock(sqlite3_file *f, int level)
{
    return real(f)->pMethods->xLock(real(f), level);
}
static int disk_unlock(sqlite3_file *f, int level)
{
    return real(f)->pMethods->xUnlock(real(f), level);
}
static int disk_reserved(sqlite3_file *f, int *out)
{
    return real(f)->pMethods->xCheckReservedLock(real(f), out);
}
static int disk_control(sqlite3_file *f, int op, void *p)
{
    return real(f)->pMethods->xFileControl(real(f), op, p);
}
static int disk_sector(sqlite3_file *f)
{
    return real(f)->pMethods->xSectorSize(real(f));
}
/* No promise that a sector is whole after power loss, as the system's own layer makes. */
static int disk_traits(sqlite3_file *f)
{
    return real(f)->pMethods->xDeviceCharacteristics(real(f)) & ~SQLITE_IOCAP_POWERSAFE_OVERWRITE;
}
static int disk_shm_map(sqlite3_file *f, int page, int size, int extend, void volatile **out)
{
    return real(f)->pMethods->xShmMap(real(f), page, size, extend, out);
}
static int disk_shm_lock(sqlite3_file *f, int offset, int n, int flags)
{
    return real(f)->pMethods->xShmLock(real(f), offset, n, flags);
}
static void disk_shm_barrier(sqlite3_file *f)
{
    real(f)->pMethods->xShmBarrier(real(f));
}
static int disk_shm_unmap(sqlite3_file *f, int remove)
{
    return real(f)->pMethods->xShmUnmap(real(f), remove);
}

static struct known_file *known(const char *path)
{
    for (int i = 0; path && i < FILES; i++)
        if (strcmp(files[i].path, path) == 0)
            return &files[i];
    for (int i = 0; path && i < FILES; i++)
        if (!files[i].path[0]) {
            snprintf(files[i].path, sizeof files[i].path, "%s", path);
            return &files[i];
        }
    return NULL;
}

static int disk_open(sqlite3_vfs *v, const char *path, sqlite3_file *f, int flags, int *out)
{
    (void)v;
    struct disk_file *d = (struct disk_file *)f;
    pthread_mutex_lock(&lock);
    d->known = known(path);
    pthread_mutex_unlock(&lock);
    int rc = below->xOpen(below, path, real(f), flags, out);
    f->pMethods = real(f)->pMethods ? &methods : NULL;
    return rc;
}

bool disk_install(void)
{
    below = sqlite3_vfs_find(NULL);
    if (!below)
        return false;
    methods = (sqlite3_io_methods){2,           disk_close,   disk_read,     disk_write,       disk_truncate,  disk_sync,
                                   disk_size,   disk_lock,    disk_unlock,   disk_reserved,    disk_control,   disk_sector,
                                   disk_traits, disk_shm_map, disk_shm_lock, disk_shm_barrier, disk_shm_unmap, NULL,
                                   NULL};
    ours = *below;
    ours.zName = "faulty";
    ours.szOsFile = (int)sizeof(struct disk_file) + below->szOsFile;
    ours.xOpen = disk_open;
    ours.xDelete = disk_delete;
    return sqlite3_vfs_register(&ours, 1) == SQLITE_OK;
}
