/* SPDX-License-Identifier: GPL-3.0-or-later
 * `demo`: an invented club in a scratch file, served to anyone on this machine. */
#include "../actions/importer.h"
#include "../ground/embedded.h"
#include "options.h"
#include "serve.h"
#include "verbs.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool load_demo(const char *path, struct fault *f)
{
    struct store_options so = {.path = path, .create = true, .must_be_new = true};
    struct store *s = store_open(&so, f);
    if (!s)
        return false;
    struct import_options io = {.may_correct_others = true, .now_us = clock_now_us()};
    struct importer *i = importer_new(s, &io, f);
    bool ok = i != NULL;
    for (const struct embedded *e = embedded_demo; ok && e->name; e++)
        ok = importer_next_file(i, e->name, f) && importer_feed(i, (const char *)e->data, embedded_length(e), f);
    ok = ok && importer_finish(i, f);
    struct import_counts counts = {0};
    if (i)
        importer_counts(i, &counts);
    if (ok && counts.refused)
        ok = fault_add(f, FAULT_INTERNAL, "", "demo", "%lld rows of the demo club were refused", (long long)counts.refused);
    importer_free(i);
    store_close(s);
    return ok;
}

static void remove_scratch(const char *dir, const char *db)
{
    static const char *const ends[] = {"", "-wal", "-shm"};
    char path[600];
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%s%s", db, ends[i]);
        unlink(path);
    }
    rmdir(dir);
}

int verb_demo(int argc, char **argv)
{
    static const struct verb_help help = {"demo", "demo [--listen ADDR:PORT|unix:PATH] [--db FILE]",
                                          "Loads an invented club into a scratch file and serves it without keys, on loopback only. The "
                                          "file is removed at the end.\n\n" SERVE_LISTEN_TEXT
                                          "  --db FILE           make the demo's file here and keep it; it must not exist\n",
                                          "biasbook demo --listen 127.0.0.1:0"};
    struct serve_options o = {.verb = "demo", .open = true, .refit_first = true};
    const char *kept = NULL;
    const struct option_spec specs[] = {{"listen", &o.listen, NULL}, {"static", &o.static_dir, NULL}, {"db", &kept, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!o.listen)
        o.listen = SERVE_DEFAULT;
    if (!serve_is_local(o.listen))
        return wrong_usage(&help, "the demo lets anyone write, so it listens on loopback only; %s is not", o.listen);
    char dir[400], path[440];
    const char *tmp = getenv("TMPDIR");
    struct fault f = {0};
    if (!kept) {
        snprintf(dir, sizeof dir, "%s/biasbook-demo-XXXXXX", tmp && strlen(tmp) < 300 && *tmp ? tmp : "/tmp");
        if (!mkdtemp(dir)) {
            fprintf(stderr, "biasbook demo: no scratch folder could be made: %s\n", strerror(errno));
            return EXIT_REFUSED;
        }
        snprintf(path, sizeof path, "%s/club.db", dir);
    }
    o.db = kept ? kept : path;
    status = load_demo(o.db, &f) ? serve_run(&o) : refused("demo", &f);
    if (!kept)
        remove_scratch(dir, path);
    return status;
}
