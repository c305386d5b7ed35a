/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Putting a backup in place: proved before, copied beside the club, proved again, and only then renamed; what was there is kept.
 */
#include "backup.h"

#include "inside.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <unistd.h>

static bool disk_fault(const char *path, struct fault *f)
{
    return fault_add(f, FAULT_STORE, "", "disk", "%.180s: %s", path, strerror(errno));
}

static bool copy_file(const char *from, const char *to, struct fault *f)
{
    struct stat st;
    int in = open(from, O_RDONLY | O_CLOEXEC), out = -1;
    if (in < 0)
        return disk_fault(from, f);
    bool ok = fstat(in, &st) == 0 && (out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600)) >= 0;
    off_t left = ok ? st.st_size : 0;
    while (ok && left) {
        ssize_t sent = sendfile(out, in, NULL, (size_t)left);
        ok = sent > 0 || (sent < 0 && errno == EINTR);
        left -= sent > 0 ? sent : 0;
    }
    ok = ok && fsync(out) == 0;
    if (!ok)
        disk_fault(to, f);
    close(in);
    if (out >= 0)
        close(out);
    return ok;
}

/* Folds the write-ahead log into the file that is there and makes sure that nobody serves it: leaving WAL needs the file alone. */
static bool set_aside(const char *path, struct fault *f)
{
    char aside[LIMIT_PATH + 16];
    struct connection c;
    struct stat st;
    if (stat(path, &st))
        return errno == ENOENT || disk_fault(path, f);
    struct fault why = {0};
    if (sql_open(&c, path, SQL_WRITE, &why)) {
        bool alone = sql_text(&c, "PRAGMA busy_timeout=200; PRAGMA journal_mode=DELETE;", &why);
        sql_close(&c);
        if (!alone)
            return fault_add(f, FAULT_BUSY, "db", "in-use", "the club's file is in use: stop the daemon first, nothing was changed");
    } /* what cannot even be opened is set aside as it is */
    snprintf(aside, sizeof aside, "%s.replaced", path);
    return rename(path, aside) == 0 || disk_fault(aside, f);
}

bool store_restore(const char *backup, const char *path, struct fault *f)
{
    char part[LIMIT_PATH + 16];
    if (strlen(path) > LIMIT_PATH || strlen(backup) > LIMIT_PATH)
        return fault_add(f, FAULT_UNACCEPTABLE, "db", "too-long", "the path is longer than %d bytes", LIMIT_PATH);
    if (!store_verify_file(backup, f))
        return false;
    snprintf(part, sizeof part, "%s.restoring", path);
    unlink(part); /* of a restore that was cut off */
    bool ok = copy_file(backup, part, f) && store_verify_file(part, f) && set_aside(path, f);
    if (ok && !(rename(part, path) == 0 && file_sync(path)))
        ok = disk_fault(path, f);
    if (!ok)
        unlink(part);
    return ok;
}
