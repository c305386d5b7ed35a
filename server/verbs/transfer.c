/* SPDX-License-Identifier: GPL-3.0-or-later
 * `import` and `export`: rows in and out of a club's file. */
#include "../actions/exporter.h"
#include "../actions/importer.h"
#include "club.h"
#include "options.h"
#include "verbs.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* ---- export ---- */

static bool to_file(void *user, const char *bytes, size_t n)
{
    return fwrite(bytes, 1, n, user) == n;
}

int verb_export(int argc, char **argv)
{
    static const struct verb_help help = {
        "export",
        "export --db FILE [--format ndjson|csv] [--exchange] [--members names|pseudonyms|none] [--deck ID] [--stock ID] [--since TIME]",
        "Writes all rows to standard output; the last line counts them and holds the SHA-256 of all bytes before it.\n\n"
        "  --db FILE        the club's file\n"
        "  --format FORMAT  ndjson (default) or csv\n"
        "  --exchange       for another club: own rows name this club as their origin\n"
        "  --members WHAT   names (default), pseudonyms (the same in each export) or none\n"
        "  --deck ID, --stock ID, --since TIME  only calibrations of these, and the decks and stocks that they name\n",
        "biasbook export --db club.db --format csv > club.csv"};
    const char *db = NULL, *format_name = NULL, *members = NULL, *since = NULL;
    struct export_options o = {.since_us = CLOCK_NONE};
    const struct option_spec specs[] = {
        {"db", &db, NULL},       {"format", &format_name, NULL}, {"exchange", NULL, &o.exchange}, {"members", &members, NULL},
        {"deck", &o.deck, NULL}, {"stock", &o.stock, NULL},      {"since", &since, NULL},         {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!transfer_format_from(format_name, &o.format))
        return wrong_usage(&help, "--format is ndjson or csv, not '%s'", format_name);
    if (!export_members_from(members, &o.members))
        return wrong_usage(&help, "--members is names, pseudonyms or none, not '%s'", members);
    if (since && !clock_parse(since, strlen(since), &o.since_us, NULL))
        return wrong_usage(&help, "--since is a time like 2026-03-01T00:00:00Z, not '%s'", since);
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct fault f = {0};
    struct club c;
    if (!club_open(&c, db, CLUB_READ, false, &f))
        return refused("export", &f);
    bool ok = export_club(c.house.store, &o, to_file, stdout, &f);
    if (fflush(stdout) && ok)
        ok = fault_add(&f, FAULT_STORE, "", "output", "standard output could not be written: %s", strerror(errno));
    club_close(&c);
    return ok ? EXIT_DONE : refused("export", &f);
}

/* ---- import ---- */

static bool feed_file(struct importer *i, const char *path, struct fault *f)
{
    int fd = strcmp(path, "-") ? open(path, O_RDONLY | O_CLOEXEC) : STDIN_FILENO;
    if (fd < 0)
        return fault_add(f, FAULT_STORE, "", "cannot-open", "%.120s: %s", path, strerror(errno));
    char block[64 * 1024];
    bool fine = true;
    for (;;) {
        ssize_t got = read(fd, block, sizeof block);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            fine = fault_add(f, FAULT_STORE, "", "cannot-read", "%.120s: %s", path, strerror(errno));
        if (got <= 0 || !(fine = importer_feed(i, block, (size_t)got, f)))
            break;
    }
    if (fd != STDIN_FILENO)
        close(fd);
    return fine;
}

static bool ends_with(const char *text, const char *end)
{
    size_t n = strlen(text), m = strlen(end);
    return n >= m && !strcmp(text + n - m, end);
}

static int run_import(const char *db, struct import_options *o, const char **files, int count)
{
    struct fault f = {0};
    struct club c;
    if (!club_open(&c, db, CLUB_WRITE, false, &f))
        return refused("import", &f);
    struct importer *i = importer_new(c.house.store, o, &f);
    bool ok = i != NULL;
    for (int k = 0; ok && k < count; k++)
        ok = importer_next_file(i, count > 1 ? files[k] : "", &f) && feed_file(i, files[k], &f);
    ok = ok && importer_finish(i, &f);
    struct import_counts counts = {0};
    if (i) {
        struct buffer b;
        buffer_init(&b, LIMIT_REPLY);
        importer_counts(i, &counts);
        importer_report(i, &b);
        if (ok)
            importer_remember(i);
        if (!b.failed)
            fwrite(b.data, 1, b.length, stdout);
        buffer_free(&b);
    }
    importer_free(i);
    club_close(&c);
    if (!ok)
        return refused("import", &f);
    return counts.refused ? EXIT_REFUSED : EXIT_DONE;
}

int verb_import(int argc, char **argv)
{
    static const struct verb_help help = {
        "import", "import --db FILE [--dry-run] [--atomic] [--format ndjson|csv] FILE…",
        "Takes rows one by one (or all or none) and prints what was accepted, what was there already, and what was refused and why.\n\n"
        "  --db FILE          the club's file; it may be served meanwhile\n"
        "  --dry-run          find out everything, change nothing\n"
        "  --atomic           all rows or none\n"
        "  --format FORMAT    ndjson or csv (by the file's name: .csv is CSV, else NDJSON)\n"
        "  --separator CHAR   CSV: ',' (default) or ';'\n"
        "  --decimal-comma    CSV: numbers are written with a comma\n"
        "  --on-conflict DO   a deck or stock that is there with other content: ask (default: refuse it, and another\n"
        "                     club's rows of it), keep ours, or take theirs\n"
        "  --as NAMES         another club's deck or stock under an id of ours: deck:THEIRS=OURS,stock:THEIRS=OURS\n"
        "  FILE               '-' is standard input\n",
        "biasbook import --db club.db --dry-run friends.ndjson"};
    const char *db = NULL, *format_name = NULL, *separator = NULL, *conflict = NULL, *as = NULL, *files[256];
    struct import_options o = {.may_correct_others = true, .now_us = clock_now_us(), .separator = ','};
    const struct option_spec specs[] = {{"db", &db, NULL},
                                        {"format", &format_name, NULL},
                                        {"separator", &separator, NULL},
                                        {"on-conflict", &conflict, NULL},
                                        {"as", &as, NULL},
                                        {"dry-run", NULL, &o.dry_run},
                                        {"atomic", NULL, &o.atomic},
                                        {"decimal-comma", NULL, &o.decimal_comma},
                                        {0}};
    int count = 0, status = options_read(argc, argv, &help, specs, files, 256, &count);
    if (status >= 0)
        return status;
    if (!count)
        return wrong_usage(&help, "which file?");
    if (format_name ? !transfer_format_from(format_name, &o.format) : false)
        return wrong_usage(&help, "--format is ndjson or csv, not '%s'", format_name);
    if (!format_name)
        o.format = ends_with(files[0], ".csv") ? FORMAT_CSV : FORMAT_NDJSON;
    if (!import_conflict_from(conflict, &o.on_conflict))
        return wrong_usage(&help, "--on-conflict is ask, keep or take, not '%s'", conflict);
    struct fault f = {0};
    if (!import_as_read(as, &o.as, &f))
        return wrong_usage(&help, "--as: %s", f.items[0].detail);
    if (separator && strcmp(separator, ",") && strcmp(separator, ";"))
        return wrong_usage(&help, "--separator is ',' or ';'");
    if (separator)
        o.separator = separator[0];
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    return run_import(db, &o, files, count);
}
