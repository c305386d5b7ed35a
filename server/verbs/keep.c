/* SPDX-License-Identifier: GPL-3.0-or-later
 * `backup`, `restore`, `check`: keeping a club's file, and proving it. */
#include "../store/backup.h"
#include "club.h"
#include "options.h"
#include "verbs.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* For /metrics, so that a club can be told when its copies grow old. The copy is good without it. */
static void note_backup(const char *db)
{
    char now[CLOCK_TEXT];
    struct fault f = {0};
    struct store_options so = {.path = db};
    struct store *s = store_open(&so, &f);
    bool noted = s && store_set_fact(s, "last_backup", clock_format(clock_now_us(), 0, now), &f);
    store_close(s);
    if (!noted)
        fprintf(stderr, "biasbook backup: the copy is made; that it was made could not be noted in the club's file\n");
}

int verb_backup(int argc, char **argv)
{
    static const struct verb_help help = {
        "backup", "backup --db FILE DEST",
        "Copies the club's file, also while it is served: consistent, checked, and put in place by renaming.\n\n"
        "  --db FILE  the club's file\n"
        "  DEST       the copy to make; an older copy of this name is replaced only by a proved one\n",
        "biasbook backup --db club.db club-monday.db"};
    const char *db = NULL, *dest[1];
    const struct option_spec specs[] = {{"db", &db, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, dest, 1, &rest);
    if (status >= 0)
        return status;
    if (!rest)
        return wrong_usage(&help, "where to? Say DEST");
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct fault f = {0};
    struct store_options so = {.path = db, .no_writer = true};
    struct store *s = store_open(&so, &f);
    bool ok = s && store_backup(s, dest[0], &f);
    store_close(s);
    if (!ok)
        return refused("backup", &f);
    note_backup(db);
    printf("%s\n", dest[0]);
    return EXIT_DONE;
}

int verb_restore(int argc, char **argv)
{
    static const struct verb_help help = {"restore", "restore --db FILE BACKUP",
                                          "Proves a backup and puts it in place of the club's file. Stop the daemon first; the file that "
                                          "was there is kept as FILE.replaced.\n\n"
                                          "  --db FILE  where the club shall be\n"
                                          "  BACKUP     a copy made by backup\n",
                                          "biasbook restore --db club.db club-monday.db"};
    const char *db = NULL, *from[1];
    const struct option_spec specs[] = {{"db", &db, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, from, 1, &rest);
    if (status >= 0)
        return status;
    if (!rest)
        return wrong_usage(&help, "which backup?");
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct fault f = {0};
    if (!store_restore(from[0], db, &f))
        return refused("restore", &f);
    printf("%s\n", db);
    return EXIT_DONE;
}

/* What is served from saved tables must be what the rows say, to the stated tolerance. */
#define SERVED_TOLERANCE_DB 0.05

static bool same_answers(struct house *h, struct live *fresh, struct fault *f)
{
    struct view *served = live_take(h->live), *rebuilt = live_take(fresh);
    double worst = 0;
    const struct catalog *c = rebuilt->catalog;
    int64_t now = clock_now_us();
    for (size_t i = 0; i < c->count; i++)
        for (size_t k = 0; k < c->count; k++) {
            if (!c->entries[i]->is_deck || c->entries[k]->is_deck)
                continue;
            struct model_question q = model_question_plain(c->entries[i]->deck, c->entries[k]->stock, now);
            struct model_answer a, b;
            model_ask(served->model, &q, &a);
            model_ask(rebuilt->model, &q, &b);
            for (int r = 0; r < RESPONSES; r++)
                worst = fmax(worst, fabs(a.mean[r] - b.mean[r]));
        }
    int64_t served_as_of = served->as_of;
    struct model_figures figures;
    model_view_figures(served->model, &figures);
    /* Stopped between a change and the estimation of variances that follows it: the tables hold the change, but by variances of before. */
    bool settled = served_as_of == store_last_seq(h->store) && figures.fitted_as_of == served_as_of;
    view_give(served);
    view_give(rebuilt);
    printf("model          saved tables up to change %lld differ from a rebuild by %.4f dB at most\n", (long long)served_as_of, worst);
    if (!settled)
        printf("               not judged: variances were not estimated again after the last change; the next start does it\n");
    if (settled && worst > SERVED_TOLERANCE_DB)
        return fault_add(f, FAULT_INTERNAL, "model", "model-differs",
                         "saved tables differ by %.3f dB from what the rows say (at most %.2f is allowed)", worst, SERVED_TOLERANCE_DB);
    return true;
}

int verb_check(int argc, char **argv)
{
    static const struct verb_help help = {
        "check", "check --db FILE",
        "Proves a club's file (or a copy of one): integrity, references, counters, contents against their digests, and that the\n"
        "saved model is what the rows say. Ends 0 when all is well.\n\n"
        "  --db FILE  the file; it is only read\n",
        "biasbook check --db club.db"};
    const char *db = NULL;
    const struct option_spec specs[] = {{"db", &db, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct fault f = {0};
    struct club c;
    if (!club_open(&c, db, CLUB_READ, false, &f))
        return refused("check", &f);
    bool ok = store_check(c.house.store, &f);
    if (ok)
        printf("file           integrity, references, counters and contents are right; last change %lld\n",
               (long long)store_last_seq(c.house.store));
    struct live_options served = {.no_threads = true}, rebuilt = {.no_threads = true, .refit_first = true};
    struct live *fresh = ok ? live_open(c.house.store, &rebuilt, &f) : NULL;
    c.house.live = fresh ? live_open(c.house.store, &served, &f) : NULL;
    ok = ok && c.house.live && same_answers(&c.house, fresh, &f);
    live_close(fresh);
    club_close(&c);
    if (!ok)
        return refused("check", &f);
    printf("all is well\n");
    return EXIT_DONE;
}
