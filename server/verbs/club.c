/* SPDX-License-Identifier: GPL-3.0-or-later
 * Opening a club for a verb; `init`. */
#include "club.h"

#include "../ground/secrets.h"
#include "options.h"
#include "verbs.h"

#include <stdio.h>
#include <string.h>

bool club_open(struct club *c, const char *path, enum club_way way, bool with_model, struct fault *f)
{
    memset(c, 0, sizeof *c);
    struct store_options so = {.path = path, .no_writer = way == CLUB_READ};
    c->house.open = true; /* who holds the file is its steward */
    c->house.started_us = clock_now_us();
    c->house.store = store_open(&so, f);
    if (!c->house.store)
        return false;
    if (with_model) {
        struct live_options lo = {.no_threads = true};
        c->house.live = live_open(c->house.store, &lo, f);
        if (!c->house.live) {
            club_close(c);
            return false;
        }
    }
    return true;
}

void club_close(struct club *c)
{
    live_close(c->house.live);
    store_close(c->house.store);
    memset(c, 0, sizeof *c);
}

bool club_add_member(struct store *s, const char *name, enum role role, struct fault *f)
{
    char key[KEY_TEXT];
    uint8_t hash[DIGEST_BYTES];
    int64_t id;
    key_make(key);
    key_hash(key, hash);
    if (!store_member_add(s, name, role, hash, &id, f))
        return false;
    printf("This key is shown once; keep it like a password.\n%s\n", key);
    return true;
}

/* ---- init ---- */

int verb_init(int argc, char **argv)
{
    static const struct verb_help help = {"init", "init --db FILE [--name NAME]",
                                          "Makes the club's file and its first steward; the steward's key is the last line printed.\n\n"
                                          "  --db FILE    the file to make; it must not exist\n"
                                          "  --name NAME  the steward's name (steward)\n",
                                          "biasbook init --db club.db --name Wilma"};
    const char *db = NULL, *name = NULL;
    const struct option_spec specs[] = {{"db", &db, NULL}, {"name", &name, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, NULL, 0, &rest);
    if (status >= 0)
        return status;
    if (!(db = database_path(&help, db)))
        return EXIT_USAGE;
    struct fault f = {0};
    struct store_options so = {.path = db, .create = true, .must_be_new = true};
    struct store *s = store_open(&so, &f);
    bool ok = s && club_add_member(s, name ? name : "steward", ROLE_STEWARD, &f);
    store_close(s);
    return ok ? EXIT_DONE : refused("init", &f);
}
