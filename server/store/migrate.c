/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Bringing a file up to date. A file is identified before anything is changed; it is copied before the first migration; each
 * migration is one transaction that also moves user_version, so a file is always at exactly one of the numbered states.
 */
#include "inside.h"

#include "../ground/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

int store_newest(const struct embedded *steps)
{
    int n = 0;
    for (; steps[n].name; n++)
        if (strtol(steps[n].name, NULL, 10) != n + 1)
            return 0;
    return n;
}

bool store_identify(struct connection *c, int newest, bool *fresh, struct fault *f)
{
    int64_t application, version, tables;
    if (!sql_number(c, "PRAGMA application_id", &application, f) || !sql_number(c, "PRAGMA user_version", &version, f) ||
        !sql_number(c, "SELECT count(*) FROM sqlite_schema", &tables, f))
        return false;
    *fresh = application == 0 && version == 0 && tables == 0;
    if (*fresh)
        return true;
    if (application != STORE_APPLICATION_ID)
        return fault_add(f, FAULT_STORE, "", "not-a-club", "this is a database of another program, not a biasbook file");
    if (version > newest)
        return fault_add(f, FAULT_STORE, "", "newer-file",
                         "this file has format %lld, this biasbook knows formats up to %d; use the newer biasbook that wrote it",
                         (long long)version, newest);
    if (version < 1)
        return fault_add(f, FAULT_STORE, "", "damaged", "this file has format %lld, which never was; restore a backup", (long long)version);
    return true;
}

/* FILE.before-N, or FILE.before-N.2, ... when an earlier attempt left a copy that may be the better one. False: all taken. */
static bool free_name(const char *path, int newest, char *out, size_t size)
{
    snprintf(out, size, "%s.before-%d", path, newest);
    for (int i = 2; access(out, F_OK) == 0; i++) {
        if (i > 99)
            return false;
        snprintf(out, size, "%s.before-%d.%d", path, newest, i);
    }
    return true;
}

/* A whole copy beside the file, complete under its name or not there at all. */
static bool copy_before(struct connection *c, const char *path, int newest, struct fault *f)
{
    char copy[LIMIT_PATH + 40], part[LIMIT_PATH + 48];
    if (!free_name(path, newest, copy, sizeof copy))
        return fault_add(f, FAULT_STORE, "", "copy-failed", "there are 99 copies from before this migration already; move them away");
    snprintf(part, sizeof part, "%s.part", copy);
    unlink(part);
    sqlite3 *to = NULL;
    bool ok = sqlite3_open_v2(part, &to, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX, NULL) == SQLITE_OK;
    sqlite3_backup *b = ok ? sqlite3_backup_init(to, "main", c->db, "main") : NULL;
    ok = b && sqlite3_backup_step(b, -1) == SQLITE_DONE;
    ok = sqlite3_backup_finish(b) == SQLITE_OK && ok;
    ok = sqlite3_close(to) == SQLITE_OK && ok;
    if (ok && file_sync(part) && rename(part, copy) == 0 && file_sync(copy)) {
        log_line(LOG_INFO, "copied the file before migrating it", "copy", copy, NULL);
        return true;
    }
    unlink(part);
    return fault_add(f, FAULT_STORE, "", "copy-failed",
                     "the file must be migrated, and no copy could be made of it first; make room beside it");
}

/* One step; *done tells whether it was still to be done (another process may have been faster). */
static bool migrate_one(struct connection *c, const struct embedded *step, int number, struct fault *f)
{
    char mark[120];
    int64_t version, broken;
    struct uuid club = uuid_make();
    char club_text[UUID_TEXT];
    snprintf(mark, sizeof mark, "PRAGMA user_version = %d; PRAGMA application_id = %d", number, STORE_APPLICATION_ID);
    if (!sql_text(c, "BEGIN IMMEDIATE", f))
        return false;
    bool ok = sql_number(c, "PRAGMA user_version", &version, f);
    if (ok && version == number - 1) {
        ok = sql_text(c, (const char *)step->data, f) && sql_number(c, "SELECT count(*) FROM pragma_foreign_key_check", &broken, f);
        if (ok && broken)
            ok = fault_add(f, FAULT_STORE, "", "damaged", "%s left rows that refer to nothing; restore a backup", step->name);
        if (ok && number == 1) {
            char birth[160];
            snprintf(birth, sizeof birth, "INSERT INTO fact VALUES ('club_id', '%s'), ('club_name', '')", uuid_format(&club, club_text));
            ok = sql_text(c, birth, f);
        }
        ok = ok && sql_text(c, mark, f);
    }
    if (ok && sql_text(c, "COMMIT", f))
        return true;
    sqlite3_exec(c->db, "ROLLBACK", NULL, NULL, NULL);
    return false;
}

bool store_migrate(struct connection *c, const char *path, const struct embedded *steps, bool fresh, struct fault *f)
{
    int newest = store_newest(steps);
    int64_t version;
    if (!newest)
        return fault_add(f, FAULT_INTERNAL, "", "migrations", "the migrations inside this program are not numbered 1, 2, 3, ...");
    if (!sql_number(c, "PRAGMA user_version", &version, f))
        return false;
    if (version >= newest)
        return true;
    if (!fresh && !copy_before(c, path, newest, f))
        return false;
    /* A migration may rebuild a table that others refer to; references are checked at the end of each instead. */
    bool ok = sql_text(c, "PRAGMA foreign_keys = OFF", f);
    for (int n = (int)version + 1; ok && n <= newest; n++)
        ok = migrate_one(c, &steps[n - 1], n, f);
    return sql_text(c, "PRAGMA foreign_keys = ON", ok ? f : NULL) && ok;
}
