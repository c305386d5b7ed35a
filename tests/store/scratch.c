/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * See scratch.h.
 */
#include "scratch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static long alive_before;

static struct store *open_at(const char *path)
{
    struct fault f = {.kind = FAULT_NONE};
    struct store *s = store_open(&(struct store_options){.path = path, .create = true}, &f);
    if (!s)
        print_error("%s: %s\n", path, f.items[0].detail);
    assert_non_null(s);
    return s;
}

int scratch_open(void **state)
{
    alive_before = mem_alive();
    struct scratch *s = calloc(1, sizeof *s);
    snprintf(s->folder, sizeof s->folder, "/tmp/biasbook-store-XXXXXX");
    if (!mkdtemp(s->folder))
        return 1;
    snprintf(s->path, sizeof s->path, "%s/club.db", s->folder);
    s->store = open_at(s->path);
    s->arena = arena_new(1 << 20);
    *state = s;
    return 0;
}

int scratch_close(void **state)
{
    struct scratch *s = *state;
    struct fault f = {.kind = FAULT_NONE};
    bool whole = true;
    if (s->store) {
        whole = store_check(s->store, &f);
        if (!whole)
            print_error("check: %s %s\n", f.items[0].code, f.items[0].detail);
    }
    store_close(s->store);
    arena_free(s->arena);
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", s->folder);
    int rc = system(command);
    free(s);
    if (mem_alive() != alive_before)
        print_error("%ld blocks leaked\n", mem_alive() - alive_before);
    return rc || !whole || mem_alive() != alive_before;
}

void scratch_reopen(struct scratch *s)
{
    store_close(s->store);
    s->store = open_at(s->path);
}

/* ---- writing ---- */
struct waiting {
    pthread_mutex_t lock;
    pthread_cond_t answered;
    bool done;
};

static void answered(struct write *w)
{
    struct waiting *p = w->user;
    pthread_mutex_lock(&p->lock);
    p->done = true;
    pthread_cond_signal(&p->answered);
    pthread_mutex_unlock(&p->lock);
}

void write_now(struct store *s, struct write *w)
{
    struct waiting p = {.lock = PTHREAD_MUTEX_INITIALIZER, .answered = PTHREAD_COND_INITIALIZER};
    w->done = answered;
    w->user = &p;
    if (!store_submit(s, w, &w->fault)) {
        w->outcome = WRITE_REFUSED;
        return;
    }
    pthread_mutex_lock(&p.lock);
    while (!p.done)
        pthread_cond_wait(&p.answered, &p.lock);
    pthread_mutex_unlock(&p.lock);
}

struct deck a_deck(const char *id)
{
    struct deck d;
    deck_init(&d);
    snprintf(d.id, sizeof d.id, "%s", id);
    snprintf(d.name, sizeof d.name, "Deck %.50s", id);
    d.medium = MEDIUM_CASSETTE;
    d.heads = 3;
    d.bias_dial = (struct dial){.present = true,
                                .unit = "mark",
                                .low = -5,
                                .high = 5,
                                .step = .5,
                                .zero = 0,
                                .plus = PLUS_MORE,
                                .scale = SCALE_DB,
                                .db_per_unit = .6};
    d.level_dial = (struct dial){.present = true,
                                 .unit = "%",
                                 .low = 50,
                                 .high = 150,
                                 .step = ABSENT,
                                 .zero = 100,
                                 .plus = PLUS_LESS,
                                 .scale = SCALE_PERCENT,
                                 .db_per_unit = ABSENT};
    return d;
}

struct stock a_stock(const char *id)
{
    struct stock t;
    stock_init(&t);
    snprintf(t.id, sizeof t.id, "%s", id);
    snprintf(t.name, sizeof t.name, "Stock %.50s", id);
    t.tape_class = CLASS_TYPE_2;
    return t;
}

struct calibration a_calibration(const char *deck, const char *stock)
{
    struct calibration c;
    calibration_init(&c);
    c.id = uuid_make();
    snprintf(c.deck, sizeof c.deck, "%s", deck);
    snprintf(c.stock, sizeof c.stock, "%s", stock);
    c.made_at_us = 1709316000000000; /* 2024-03-01T19:00:00+01:00 */
    c.made_at_offset_minutes = 60;
    c.bias = 1.5;
    c.level = 98;
    return c;
}

struct service a_service(const char *deck)
{
    struct service v;
    service_init(&v);
    v.id = uuid_make();
    snprintf(v.deck, sizeof v.deck, "%s", deck);
    snprintf(v.kind, sizeof v.kind, "belts");
    v.made_at_us = 1709316000000000;
    return v;
}

struct deck_check a_check(const char *deck)
{
    struct deck_check k;
    deck_check_init(&k);
    k.id = uuid_make();
    snprintf(k.deck, sizeof k.deck, "%s", deck);
    k.kind = CHECK_CONTROL_TAPE;
    k.made_at_us = 1709316000000000;
    k.high_db = -.5;
    return k;
}

static struct write sent(struct store *s, struct write w, const char *if_match)
{
    w.if_match = if_match;
    w.may_correct_others = true;
    write_now(s, &w);
    return w;
}

struct write put_deck(struct store *s, const struct deck *d, const char *if_match)
{
    return sent(s, (struct write){.kind = WRITE_DECK, .deck = d}, if_match);
}

struct write put_stock(struct store *s, const struct stock *t, const char *if_match)
{
    return sent(s, (struct write){.kind = WRITE_STOCK, .stock = t}, if_match);
}

struct write put_calibration(struct store *s, const struct calibration *c, const char *if_match)
{
    return sent(s, (struct write){.kind = WRITE_CALIBRATION, .calibration = c}, if_match);
}

struct write put_void(struct store *s, const struct calibration *c, const char *reason)
{
    return sent(s, (struct write){.kind = WRITE_VOID, .calibration = c, .void_reason = reason}, NULL);
}

struct write put_service(struct store *s, const struct service *v, const char *if_match)
{
    return sent(s, (struct write){.kind = WRITE_SERVICE, .service = v}, if_match);
}

struct write put_check(struct store *s, const struct deck_check *k, const char *if_match)
{
    return sent(s, (struct write){.kind = WRITE_CHECK, .check = k}, if_match);
}

void make_pair(struct store *s)
{
    struct deck d = a_deck("deck-a");
    struct stock t = a_stock("stock-a");
    struct write w = put_deck(s, &d, NULL);
    assert_outcome(w, WRITE_CREATED);
    w = put_stock(s, &t, NULL);
    assert_outcome(w, WRITE_CREATED);
}

const char *quoted(const struct stamp *stamp)
{
    static char texts[4][60];
    static int turn;
    char *text = texts[turn++ % 4];
    snprintf(text, sizeof texts[0], "\"%s\"", stamp->etag);
    return text;
}

int64_t member_called(struct store *s, const char *name, enum role role)
{
    uint8_t hash[DIGEST_BYTES];
    struct fault f = {.kind = FAULT_NONE};
    int64_t id = 0;
    secrets_random(hash, sizeof hash);
    assert_true(store_member_add(s, name, role, hash, &id, &f));
    return id;
}

int64_t ask(const char *path, const char *sql)
{
    struct connection c;
    int64_t n = -1;
    assert_true(sql_open(&c, path, SQL_READ, NULL));
    struct fault f = {.kind = FAULT_NONE};
    if (!sql_number(&c, sql, &n, &f))
        fail_msg("%s: %s", sql, f.items[0].detail);
    sql_close(&c);
    return n;
}

void tell(const char *path, const char *sql)
{
    struct connection c;
    assert_true(sql_open(&c, path, SQL_WRITE, NULL));
    struct fault f = {.kind = FAULT_NONE};
    if (!sql_text(&c, sql, &f))
        fail_msg("%s: %s", sql, f.items[0].detail);
    sql_close(&c);
}

static bool count(void *user, const struct calibration *c, const struct stamp *stamp)
{
    (void)c, (void)stamp;
    ++*(int *)user;
    return true;
}

int count_calibrations(struct store *s, const struct calibration_filter *filter)
{
    int n = 0;
    struct fault f = {.kind = FAULT_NONE};
    struct reader *r = reader_take(s, &f);
    assert_non_null(r);
    assert_int_equal(walk_calibrations(r, filter, false, count, &n, &f), READ_OK);
    reader_give(r);
    return n;
}
