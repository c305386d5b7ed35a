/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Copies: see backup.h. VACUUM INTO reads one snapshot, so it holds up nobody, and leaves out what was deleted.
 */
#include "backup.h"

#include "inside.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool same_file(const char *a, const char *b)
{
    struct stat x, y;
    return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev && x.st_ino == y.st_ino;
}

/* The snapshot into a new file that only its owner may read. */
static bool copy_into(struct store *s, const char *path, struct fault *f)
{
    struct connection c;
    int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0)
        return fault_add(f, FAULT_STORE, "", "cannot-open", "%s: %s", path, strerror(errno));
    close(fd);
    sqlite3_stmt *q = NULL;
    bool ok = sql_open(&c, s->path, s->immutable ? SQL_READ_IMMUTABLE : SQL_READ, f);
    if (ok && (sqlite3_prepare_v2(c.db, "VACUUM INTO ?", -1, &q, NULL) != SQLITE_OK ||
               sqlite3_bind_text(q, 1, path, -1, SQLITE_STATIC) != SQLITE_OK || sqlite3_step(q) != SQLITE_DONE))
        ok = sql_fault(&c, f);
    sqlite3_finalize(q);
    sql_close(&c);
    if (!ok)
        unlink(path);
    return ok;
}

bool store_backup(struct store *s, const char *destination, struct fault *f)
{
    char part[LIMIT_PATH + 48];
    struct uuid name = uuid_make();
    char text[UUID_TEXT];
    if (strlen(destination) > LIMIT_PATH)
        return fault_add(f, FAULT_UNACCEPTABLE, "destination", "too-long", "the path is longer than %d bytes", LIMIT_PATH);
    if (same_file(s->path, destination))
        return fault_add(f, FAULT_UNACCEPTABLE, "destination", "same-file",
                         "that is the club's own file; choose another name for the copy");
    snprintf(part, sizeof part, "%s.%.13s.part", destination, uuid_format(&name, text) + UUID_TEXT - 14);
    if (!copy_into(s, part, f))
        return false;
    bool ok = store_verify_file(part, f);
    if (ok && !(file_sync(part) && rename(part, destination) == 0 && file_sync(destination)))
        ok = fault_add(f, FAULT_STORE, "destination", "disk", "%s: %s", destination, strerror(errno));
    if (!ok)
        unlink(part);
    return ok;
}

bool store_verify_file(const char *path, struct fault *f)
{
    struct reader r = {.next = NULL};
    bool immutable, fresh;
    int newest = store_newest(embedded_schema);
    int64_t version;
    if (access(path, R_OK) != 0)
        return fault_add(f, FAULT_STORE, "", "cannot-open", "%s: %s", path, strerror(errno));
    if (!store_open_to_read(&r.c, path, &immutable, f))
        return false;
    bool ok = store_identify(&r.c, newest, &fresh, f) && sql_number(&r.c, "PRAGMA user_version", &version, f);
    if (ok && fresh)
        ok = fault_add(f, FAULT_STORE, "", "not-a-club", "%s is empty", path);
    ok = ok && sql_text(&r.c, "BEGIN", f) && integrity_prove(&r, version == newest, f);
    sql_close(&r.c);
    return ok;
}

static bool careless(struct store *s, void *argument, struct fault *f)
{
    (void)argument;
    return sql_text(&s->writer, "PRAGMA synchronous = OFF", f);
}

struct store *store_rehearsal(struct store *s, struct fault *f)
{
    char path[LIMIT_PATH + 48];
    struct uuid name = uuid_make();
    char text[UUID_TEXT];
    snprintf(path, sizeof path, "%s.rehearsal-%.12s", s->path, uuid_format(&name, text) + UUID_TEXT - 13);
    if (!copy_into(s, path, f))
        return NULL;
    struct store *copy = store_open(&(struct store_options){.path = path}, f);
    if (!copy) {
        unlink(path);
        return NULL;
    }
    copy->scratch = true;
    if (!writer_job(copy, careless, NULL, f)) {
        store_close(copy);
        return NULL;
    }
    return copy;
}
