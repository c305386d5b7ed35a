/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A page that the disk would not give is not a damaged page: the file may be whole, and restoring a backup would be the wrong remedy. SQLite tells the two apart
 * nearly everywhere, but for two places.
 *
 * EIO, ENXIO and ERANGE of a read become SQLITE_IOERR_CORRUPTFS in its layer for files, and that becomes plain SQLITE_CORRUPT in its interpreter. Other numbers
 * become SQLITE_IOERR_READ. So the layer reads through a call of ours (sqlite3_vfs.xSetSystemCall), which gives such failures another number.
 *
 * quick_check and integrity_check go on after a page they could not read and list it as a finding, as they list damage.
 */
#include "sql.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static ssize_t told_apart(ssize_t got)
{
    if (got < 0 && (errno == EIO || errno == ENXIO || errno == ERANGE))
        errno = EREMOTEIO;
    return got;
}

static ssize_t read_of_ours(int fd, void *p, size_t n)
{
    return told_apart(read(fd, p, n));
}

static ssize_t pread_of_ours(int fd, void *p, size_t n, off_t at)
{
    return told_apart(pread(fd, p, n, at));
}

static ssize_t pread64_of_ours(int fd, void *p, size_t n, off64_t at)
{
    return told_apart(pread64(fd, p, n, at));
}

void unreadable_install(void)
{
    sqlite3_vfs *v = sqlite3_vfs_find(NULL);
    if (!v || v->iVersion < 3 || !v->xSetSystemCall)
        return;
    v->xSetSystemCall(v, "read", (sqlite3_syscall_ptr)read_of_ours);
    v->xSetSystemCall(v, "pread", (sqlite3_syscall_ptr)pread_of_ours);
    v->xSetSystemCall(v, "pread64", (sqlite3_syscall_ptr)pread64_of_ours);
}

/* "... unable to get the page. error code=266", "... failed to get page 7" (whose number was looked at before) */
static bool is_unreadable(const char *finding)
{
    const char *code = strstr(finding, "error code=");
    return (code && (strtol(code + 11, NULL, 10) & 0xFF) == SQLITE_IOERR) || strstr(finding, "failed to get page");
}

bool sql_finding(const char *finding, struct fault *f)
{
    if (!finding)
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory in the store; try again");
    if (is_unreadable(finding))
        return fault_add(f, FAULT_STORE, "", "disk",
                         "a page could not be read (%.100s): the disk failed, or memory was short; look at the system's log", finding);
    return fault_add(f, FAULT_STORE, "", "damaged", "the club's file is damaged (%.100s); restore a backup", finding);
}
