/* SPDX-License-Identifier: GPL-3.0-or-later
 * See failing.h. Everything goes on to the system by itself: the heap to the C library's other names (or the sanitizer's), files by system calls. */
#include "failing.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

struct orders {
    atomic_int kind;
    atomic_long left, seen, alive;
    atomic_bool ever, failed;
};
static struct orders *orders;
static bool subject; /* this process is a child that feels it */
static char below[128];
static size_t below_n;

/* Of a build that counts what is reached: what it counted is written at the end of a process, with memory of its own. */
void __gcov_init(void *) __attribute__((weak));

static void no_more_faults(void)
{
    atomic_store(&orders->kind, FAIL_NOTHING);
}

static void become_subject(void)
{
    if (__gcov_init)
        atexit(no_more_faults);
    subject = true;
    atomic_store(&orders->alive, 0);
}

bool failing_start(const char *folder)
{
    below_n = (size_t)snprintf(below, sizeof below, "%s", folder);
    orders = mmap(NULL, sizeof *orders, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    return orders != MAP_FAILED && below_n < sizeof below && pthread_atfork(NULL, NULL, become_subject) == 0;
}

void fail_at(enum fail_kind kind, long n, bool ever_after)
{
    atomic_store(&orders->kind, FAIL_NOTHING);
    atomic_store(&orders->left, n);
    atomic_store(&orders->seen, 0);
    atomic_store(&orders->ever, ever_after);
    atomic_store(&orders->failed, false);
    atomic_store(&orders->kind, n ? (int)kind : FAIL_NOTHING);
}

bool has_failed(void)
{
    return atomic_load(&orders->failed);
}

long calls_seen(void)
{
    return atomic_load(&orders->seen);
}

long blocks_alive(void)
{
    return atomic_load(&orders->alive);
}

/* Is it this call's turn? */
static bool turn(enum fail_kind kind)
{
    if (!subject || atomic_load_explicit(&orders->kind, memory_order_relaxed) != (int)kind)
        return false;
    atomic_fetch_add(&orders->seen, 1);
    long left = atomic_fetch_sub(&orders->left, 1);
    if (left == 1)
        atomic_store(&orders->failed, true);
    return left == 1 || (left < 1 && atomic_load(&orders->ever));
}

/* ---- the heap ---- */

#if defined __SANITIZE_ADDRESS__
#define NEXT(name)                    __interceptor_##name
#define NEXT_ALIGNED(alignment, size) __interceptor_memalign(alignment, size)
void *__interceptor_malloc(size_t size);
void *__interceptor_calloc(size_t count, size_t size);
void *__interceptor_realloc(void *p, size_t size);
void *__interceptor_memalign(size_t alignment, size_t size);
void __interceptor_free(void *p);
#else
#define NEXT(name)                    __libc_##name
#define NEXT_ALIGNED(alignment, size) __libc_memalign(alignment, size)
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *p, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *p);
#endif

static bool no_memory(void)
{
    if (!turn(FAIL_MEMORY))
        return false;
    errno = ENOMEM;
    return true;
}

static void *counted(void *p)
{
    if (p && subject)
        atomic_fetch_add_explicit(&orders->alive, 1, memory_order_relaxed);
    return p;
}

void *malloc(size_t size)
{
    return no_memory() ? NULL : counted(NEXT(malloc)(size));
}

void *calloc(size_t count, size_t size)
{
    return no_memory() ? NULL : counted(NEXT(calloc)(count, size));
}

void *realloc(void *p, size_t size)
{
    if (no_memory())
        return NULL;
    void *q = NEXT(realloc)(p, size);
    return p ? q : counted(q);
}

void *memalign(size_t alignment, size_t size);
void *memalign(size_t alignment, size_t size)
{
    return no_memory() ? NULL : counted(NEXT_ALIGNED(alignment, size));
}

void *aligned_alloc(size_t alignment, size_t size)
{
    return memalign(alignment, size);
}

int posix_memalign(void **out, size_t alignment, size_t size)
{
    void *p = memalign(alignment, size);
    if (p)
        *out = p;
    return p ? 0 : ENOMEM;
}

void free(void *p)
{
    if (p && subject)
        atomic_fetch_sub_explicit(&orders->alive, 1, memory_order_relaxed);
    NEXT(free)(p);
}

/* ---- files ---- */

#define DESCRIPTORS 4096
static atomic_bool ours[DESCRIPTORS]; /* it is of a file below the folder */

static bool is_ours(int fd)
{
    return subject && fd >= 0 && fd < DESCRIPTORS && atomic_load_explicit(&ours[fd], memory_order_relaxed);
}

static bool path_is_ours(const char *path)
{
    return subject && strncmp(path, below, below_n) == 0;
}

static int wrong(int number)
{
    errno = number;
    return -1;
}

static bool dies(void)
{
    return turn(FAIL_KILL);
}

static void die(void)
{
    kill(getpid(), SIGKILL);
    for (;;)
        pause();
}

static int open_by_system(const char *path, int flags, mode_t mode)
{
    if (path_is_ours(path)) {
        if (turn(FAIL_ERROR))
            return wrong(EACCES);
        if ((flags & O_CREAT) && turn(FAIL_FULL))
            return wrong(ENOSPC);
        if ((flags & O_CREAT) && dies())
            die();
    }
    int fd = (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
    if (fd >= 0 && fd < DESCRIPTORS)
        atomic_store(&ours[fd], path_is_ours(path));
    return fd;
}

#define OPENS(name)                                                                                                                        \
    int name(const char *path, int flags, ...)                                                                                             \
    {                                                                                                                                      \
        va_list ap;                                                                                                                        \
        va_start(ap, flags);                                                                                                               \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(ap, mode_t) : 0;                                                              \
        va_end(ap);                                                                                                                        \
        return open_by_system(path, flags, mode);                                                                                          \
    }
OPENS(open)
OPENS(open64)

int close(int fd)
{
    if (fd >= 0 && fd < DESCRIPTORS)
        atomic_store_explicit(&ours[fd], false, memory_order_relaxed);
    return (int)syscall(SYS_close, fd);
}

static size_t half(size_t n)
{
    return n > 1 ? n / 2 : n;
}

/* What becomes of reading n bytes: *n may shrink; true: it fails. */
static bool reading_fails(int fd, size_t *n)
{
    if (!is_ours(fd))
        return false;
    if (turn(FAIL_SHORT))
        *n = half(*n);
    return turn(FAIL_ERROR);
}

ssize_t read(int fd, void *p, size_t n)
{
    return reading_fails(fd, &n) ? wrong(EIO) : syscall(SYS_read, fd, p, n);
}

ssize_t pread(int fd, void *p, size_t n, off_t at)
{
    return reading_fails(fd, &n) ? wrong(EIO) : syscall(SYS_pread64, fd, p, n, at);
}

ssize_t pread64(int fd, void *p, size_t n, off64_t at)
{
    return pread(fd, p, n, at);
}

ssize_t sendfile(int to, int from, off_t *at, size_t n)
{
    return reading_fails(from, &n) || reading_fails(to, &n) ? wrong(EIO) : syscall(SYS_sendfile, to, from, at, n);
}

ssize_t sendfile64(int to, int from, off64_t *at, size_t n)
{
    return sendfile(to, from, at, n);
}

/* A full disk takes what still fits and says so at the next call. */
static ssize_t write_by_system(int fd, const void *p, size_t n, off_t at, bool positioned)
{
    bool mine = is_ours(fd), killed = mine && dies(), full = mine && turn(FAIL_FULL);
    if (mine && turn(FAIL_ERROR))
        return wrong(EIO);
    size_t part = killed || full || (mine && turn(FAIL_SHORT)) ? half(n) : n;
    ssize_t wrote = full && part == n ? wrong(ENOSPC)
                    : positioned      ? syscall(SYS_pwrite64, fd, p, part, at)
                                      : syscall(SYS_write, fd, p, part);
    if (killed)
        die();
    return full && atomic_load(&orders->ever) ? wrong(ENOSPC) : wrote;
}

ssize_t write(int fd, const void *p, size_t n)
{
    return write_by_system(fd, p, n, 0, false);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at)
{
    return write_by_system(fd, p, n, at, true);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at)
{
    return write_by_system(fd, p, n, at, true);
}

static bool change_fails(bool mine)
{
    if (mine && dies())
        die();
    return mine && turn(FAIL_ERROR);
}

static int sync_by_system(long number, int fd)
{
    bool mine = is_ours(fd);
    return change_fails(mine) || (mine && turn(FAIL_SYNC)) ? wrong(EIO) : (int)syscall(number, fd);
}

int fsync(int fd)
{
    return sync_by_system(SYS_fsync, fd);
}

int fdatasync(int fd)
{
    return sync_by_system(SYS_fdatasync, fd);
}

int ftruncate(int fd, off_t size)
{
    bool mine = is_ours(fd);
    if (mine && turn(FAIL_FULL))
        return wrong(ENOSPC);
    return change_fails(mine) ? wrong(EIO) : (int)syscall(SYS_ftruncate, fd, size);
}

int ftruncate64(int fd, off64_t size)
{
    return ftruncate(fd, size);
}

int rename(const char *from, const char *to)
{
    return change_fails(path_is_ours(to)) ? wrong(EIO) : (int)syscall(SYS_rename, from, to);
}

int unlink(const char *path)
{
    return change_fails(path_is_ours(path)) ? wrong(EIO) : (int)syscall(SYS_unlink, path);
}

void *mmap(void *at, size_t n, int protection, int flags, int fd, off_t offset)
{
    if (is_ours(fd) && turn(FAIL_ERROR)) {
        errno = ENOMEM;
        return MAP_FAILED;
    }
    return (void *)syscall(SYS_mmap, at, n, protection, flags, fd, offset);
}

void *mmap64(void *at, size_t n, int protection, int flags, int fd, off64_t offset)
{
    return mmap(at, n, protection, flags, fd, offset);
}

static int look_by_system(int fd, const char *path, struct stat *out, int flags)
{
    if ((path[0] ? path_is_ours(path) : is_ours(fd)) && turn(FAIL_ERROR))
        return wrong(EIO);
    return (int)syscall(SYS_newfstatat, fd, path, out, flags);
}

int fstat(int fd, struct stat *out)
{
    return look_by_system(fd, "", out, AT_EMPTY_PATH);
}

int fstat64(int fd, struct stat64 *out)
{
    return look_by_system(fd, "", (struct stat *)out, AT_EMPTY_PATH);
}

int stat(const char *path, struct stat *out)
{
    return look_by_system(AT_FDCWD, path, out, 0);
}

int stat64(const char *path, struct stat64 *out)
{
    return look_by_system(AT_FDCWD, path, (struct stat *)out, 0);
}
