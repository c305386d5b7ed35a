/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Whether there is room on the disk for what members are about to log, asked before somebody finds out by a refusal.
 */
#include "inside.h"

#include <sys/statvfs.h>

bool store_has_room(struct store *s, struct fault *f)
{
    struct statvfs disk;
    if (statvfs(s->path, &disk) != 0)
        return true; /* not known, so not refused */
    unsigned long long left = (unsigned long long)disk.f_bavail * disk.f_frsize;
    if (left >= LIMIT_DISK_LEAST || disk.f_blocks == 0) /* some file systems count nothing */
        return true;
    return fault_add(f, FAULT_STORE, "", "disk-full", "the club's disk has only %llu kB left; make room, else nothing more can be logged",
                     left / 1024);
}
