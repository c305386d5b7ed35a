/* SPDX-License-Identifier: GPL-3.0-or-later
 * `member`: who may come in, at the club's file itself; a daemon that serves it notices within a second. */
#include "../ground/secrets.h"
#include "../store/people.h"
#include "club.h"
#include "options.h"
#include "verbs.h"

#include <stdio.h>
#include <string.h>

static const struct verb_help help = {
    "member", "member add|list|revoke|rotate --db FILE [--name NAME] [--role reader|logger|steward] [--key N]",
    "Members and their keys, also while the club is served. A new key is the last line printed; it is shown once.\n\n"
    "  add --name NAME --role ROLE     a new member with a first key\n"
    "  add --name NAME --label TEXT    one more key for a member there is\n"
    "  list                            members and their keys\n"
    "  revoke --key N | --name NAME    ends one key, or all keys of a member, at once\n"
    "  rotate --key N                  ends a key and makes another like it\n\n"
    "  --db FILE      the club's file\n"
    "  --name NAME    how the club calls the member\n"
    "  --role ROLE    reader: asks; logger: also logs; steward: also corrects others' rows, imports and makes keys\n"
    "  --key N        the key's number, see list\n"
    "  --label TEXT   what the key is for: 'phone', 'bench computer'\n"
    "  --scope SCOPE  all (default); log: reads and logs; read: reads only\n"
    "  --expires TIME RFC 3339, like 2027-01-01T00:00:00Z\n",
    "biasbook member add --db club.db --name Odo --role logger"};

struct asked {
    const char *db, *name, *role, *key, *label, *scope, *expires;
    enum key_scope key_scope;
    enum role member_role;
    int64_t expires_us, key_number;
};

static bool say_key(const char *key)
{
    printf("This key is shown once; keep it like a password.\n%s\n", key);
    return true;
}

/* ---- what is there ---- */

struct listing {
    int64_t now_us, wanted_key, member; /* of the wanted key, or the member of the wanted name */
    const char *wanted_name;
    int64_t keys[4096];
    int count;
};

static const char *state_of(const struct key_record *k, int64_t now_us)
{
    if (k->revoked_us != CLOCK_NONE)
        return "revoked";
    return k->expires_us != CLOCK_NONE && k->expires_us <= now_us ? "expired" : "valid";
}

static const char *time_or_dash(int64_t us, char out[CLOCK_TEXT])
{
    return us == CLOCK_NONE ? "-" : clock_format_date(us, out);
}

static bool print_key(void *user, const struct key_record *k, const struct member_record *m)
{
    static const char *const roles[] = {"none", "reader", "logger", "steward"}, *const scopes[] = {"all", "read", "log"};
    const struct listing *l = user;
    char made[CLOCK_TEXT], used[CLOCK_TEXT], expires[CLOCK_TEXT];
    printf("%-6lld %-24s %-8s %-8s %-5s %-10s %-10s %-10s %s\n", (long long)k->id, m->name, roles[m->role], state_of(k, l->now_us),
           scopes[k->scope], time_or_dash(k->made_us, made), time_or_dash(k->last_used_us, used), time_or_dash(k->expires_us, expires),
           k->name);
    return true;
}

static bool collect_key(void *user, const struct key_record *k, const struct member_record *m)
{
    struct listing *l = user;
    bool wanted = l->wanted_name ? !strcmp(m->name, l->wanted_name) : k->id == l->wanted_key;
    if (!wanted)
        return true;
    l->member = m->id;
    if (k->revoked_us == CLOCK_NONE && l->count < (int)(sizeof l->keys / sizeof *l->keys))
        l->keys[l->count++] = k->id;
    return true;
}

static bool walk(struct store *s, key_row row, struct listing *l, struct fault *f)
{
    struct reader *r = reader_take(s, f);
    bool ok = r && walk_member_keys(r, 0, row, l, f) == READ_OK;
    reader_give(r);
    return ok;
}

static bool find_keys(struct store *s, const struct asked *a, struct listing *l, struct fault *f)
{
    l->wanted_key = a->key_number;
    l->wanted_name = a->name;
    if (!walk(s, collect_key, l, f))
        return false;
    if (l->member)
        return true;
    return a->name ? fault_add(f, FAULT_UNKNOWN, "name", "unknown-member",
                               "the club has no member '%s' with a key; see: biasbook member list", a->name)
                   : fault_add(f, FAULT_UNKNOWN, "key", "unknown-key", "the club has no key %s; see: biasbook member list", a->key);
}

/* ---- what can be done ---- */

static bool run_list(struct store *s, const struct asked *a, struct fault *f)
{
    struct listing l = {.now_us = clock_now_us()};
    (void)a;
    printf("%-6s %-24s %-8s %-8s %-5s %-10s %-10s %-10s %s\n", "KEY", "MEMBER", "ROLE", "STATE", "SCOPE", "MADE", "LAST USED", "EXPIRES",
           "FOR");
    return walk(s, print_key, &l, f);
}

static bool run_add(struct store *s, const struct asked *a, struct fault *f)
{
    char key[KEY_TEXT];
    uint8_t hash[DIGEST_BYTES];
    key_make(key);
    key_hash(key, hash);
    struct key_wish wish = {.hash = hash, .name = a->label, .scope = a->key_scope, .expires_us = a->expires_us};
    if (a->role)
        return store_member_join(s, 0, a->name, a->member_role, &wish, NULL, NULL, f) && say_key(key);
    struct listing l = {.now_us = clock_now_us()};
    return find_keys(s, a, &l, f) && store_key_add(s, 0, l.member, &wish, NULL, f) && say_key(key);
}

static bool run_revoke(struct store *s, const struct asked *a, struct fault *f)
{
    struct listing l = {.now_us = clock_now_us()};
    bool ok = find_keys(s, a, &l, f);
    for (int i = 0; ok && i < l.count; i++)
        ok = store_key_revoke(s, 0, l.member, l.keys[i], f);
    if (ok)
        printf("%d %s revoked\n", l.count, l.count == 1 ? "key" : "keys");
    return ok;
}

static bool run_rotate(struct store *s, const struct asked *a, struct fault *f)
{
    struct listing l = {.now_us = clock_now_us()};
    char key[KEY_TEXT];
    uint8_t hash[DIGEST_BYTES];
    key_make(key);
    key_hash(key, hash);
    return find_keys(s, a, &l, f) && store_key_rotate(s, 0, l.member, a->key_number, hash, NULL, f) && say_key(key);
}

static const struct {
    const char *name;
    bool (*run)(struct store *s, const struct asked *a, struct fault *f);
} doings[] = {{"add", run_add}, {"list", run_list}, {"revoke", run_revoke}, {"rotate", run_rotate}};

/* ---- options ---- */

/* Number of a word in a list; -1: not in it. */
static int choice(const char *word, const char *const *words)
{
    for (int i = 0; words[i]; i++)
        if (!strcmp(words[i], word))
            return i;
    return -1;
}

static int read_values(struct asked *a)
{
    static const char *const roles[] = {"none", "reader", "logger", "steward", NULL}, *const scopes[] = {"all", "read", "log", NULL};
    double number = 0;
    a->expires_us = CLOCK_NONE;
    int role = a->role ? choice(a->role, roles) : 0, scope = a->scope ? choice(a->scope, scopes) : 0;
    if (a->role && role <= 0)
        return wrong_usage(&help, "--role is reader, logger or steward");
    if (scope < 0)
        return wrong_usage(&help, "--scope is all, log or read");
    if (a->expires && !clock_parse(a->expires, strlen(a->expires), &a->expires_us, NULL))
        return wrong_usage(&help, "--expires is a time like 2027-01-01T00:00:00Z");
    if (a->key && !number_option(&help, "key", a->key, 1, 1e15, &number))
        return EXIT_USAGE;
    if (a->name && (!*a->name || strlen(a->name) > LIMIT_NAME))
        return wrong_usage(&help, "--name holds 1 to %d bytes", LIMIT_NAME);
    if (a->label && strlen(a->label) > LIMIT_SHORT_TEXT)
        return wrong_usage(&help, "--label holds at most %d bytes", LIMIT_SHORT_TEXT);
    a->member_role = (enum role)role;
    a->key_scope = (enum key_scope)scope;
    a->key_number = (int64_t)number;
    return -1;
}

static int check_usage(const char *what, const struct asked *a)
{
    bool add = !strcmp(what, "add"), list = !strcmp(what, "list"), revoke = !strcmp(what, "revoke");
    if (add && !a->name)
        return wrong_usage(&help, "--name is needed");
    if (add && !a->role && !a->label)
        return wrong_usage(&help,
                           "--role is needed for a new member; for one more key of a member there is, say what it is for: --label TEXT");
    if (!add && (a->role || a->label || a->scope || a->expires))
        return wrong_usage(&help, "--role, --label, --scope and --expires belong to add");
    if ((add || list) && a->key)
        return wrong_usage(&help, "--key belongs to revoke and rotate");
    if (list && a->name)
        return wrong_usage(&help, "list shows everybody, without --name");
    if (revoke && !a->key == !a->name)
        return wrong_usage(&help, "say which: --key N for one key, or --name NAME for all of a member");
    if (!add && !list && !revoke && (!a->key || a->name))
        return wrong_usage(&help, "say which key: --key N");
    return -1;
}

int verb_member(int argc, char **argv)
{
    struct asked a = {.key_scope = SCOPE_ALL};
    const char *what[1] = {NULL};
    const struct option_spec specs[] = {
        {"db", &a.db, NULL},       {"name", &a.name, NULL},   {"role", &a.role, NULL},       {"key", &a.key, NULL},
        {"label", &a.label, NULL}, {"scope", &a.scope, NULL}, {"expires", &a.expires, NULL}, {0}};
    int rest = 0, status = options_read(argc, argv, &help, specs, what, 1, &rest);
    if (status >= 0)
        return status;
    if (!rest)
        return wrong_usage(&help, "say what to do: add, list, revoke or rotate");
    size_t n = 0, all = sizeof doings / sizeof *doings;
    while (n < all && strcmp(doings[n].name, what[0]))
        n++;
    if (n == all)
        return wrong_usage(&help, "'%s' is not known; add, list, revoke and rotate are", what[0]);
    if (!(a.db = database_path(&help, a.db)))
        return EXIT_USAGE;
    if ((status = read_values(&a)) >= 0 || (status = check_usage(what[0], &a)) >= 0)
        return status;
    struct fault f = {0};
    struct store_options so = {.path = a.db};
    struct store *s = store_open(&so, &f);
    bool ok = s && doings[n].run(s, &a, &f);
    store_close(s);
    return ok ? EXIT_DONE : refused("member", &f);
}
