/* SPDX-License-Identifier: GPL-3.0-or-later
 * Finds the verb; says what there is. */
#include "verbs.h"

#include "../ground/secrets.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static const struct {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *what;
} verbs[] = {
    {"serve", verb_serve, "serve a club's file"},
    {"demo", verb_demo, "serve an invented club, to look around"},
    {"init", verb_init, "make a club's file and its first steward's key"},
    {"suggest", verb_suggest, "where to start for a deck and a tape"},
    {"import", verb_import, "take rows from NDJSON or CSV files"},
    {"export", verb_export, "write all rows as NDJSON or CSV"},
    {"fit", verb_fit, "run the estimator alone on any table"},
    {"member", verb_member, "add a member and print the new key"},
    {"backup", verb_backup, "copy a club's file, also while it is served"},
    {"restore", verb_restore, "put a backup in place, after proving it"},
    {"check", verb_check, "prove a club's file: integrity, counters, model"},
    {"version", verb_version, "say the version"},
};

static void list(FILE *to)
{
    fprintf(to, "usage: biasbook VERB …\n\n");
    for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++)
        fprintf(to, "  %-8s  %s\n", verbs[i].name, verbs[i].what);
    fprintf(to, "\n'biasbook VERB --help' tells the options and gives an example.\n");
}

int verb_version(int argc, char **argv)
{
    if (argc > 1 && !strcmp(argv[1], "--help")) {
        printf("usage: biasbook version\n\nPrints name and version.\n\nexample:\n  biasbook version\n");
        return EXIT_DONE;
    }
    if (argc > 1) {
        fprintf(stderr, "biasbook version: '%s' is not expected here\n", argv[1]);
        return EXIT_USAGE;
    }
    printf("biasbook %s\n", BIASBOOK_VERSION);
    return EXIT_DONE;
}

/* What was printed has to reach whoever reads it: a full disk behind `export > FILE` is no success. */
static int say_all(const char *verb, int status)
{
    bool lost = fflush(stdout) != 0 || ferror(stdout);
    if (!lost || status != EXIT_DONE)
        return status;
    fprintf(stderr, "biasbook %s: its output could not be written\n", verb);
    return EXIT_REFUSED;
}

int verbs_main(int argc, char **argv)
{
    if (!secrets_start()) {
        fprintf(stderr, "biasbook: this machine gives no random numbers; keys cannot be made safely\n");
        return EXIT_REFUSED;
    }
    if (argc < 2) {
        list(stderr);
        return EXIT_USAGE;
    }
    if (!strcmp(argv[1], "--help") || !strcmp(argv[1], "-h") || !strcmp(argv[1], "help")) {
        list(stdout);
        return EXIT_DONE;
    }
    if (!strcmp(argv[1], "--version"))
        return verb_version(1, argv);
    for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++)
        if (!strcmp(argv[1], verbs[i].name))
            return say_all(argv[1], verbs[i].run(argc - 1, argv + 1));
    fprintf(stderr, "biasbook: there is no verb '%s'\n\n", argv[1]);
    list(stderr);
    return EXIT_USAGE;
}
