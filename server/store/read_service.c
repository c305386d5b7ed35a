/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Rows into services and checks of a deck.
 */
#include "inside.h"

#include <string.h>

#define NAMES " CROSS JOIN deck d ON d.id = x.deck LEFT JOIN member m ON m.id = x.member LEFT JOIN member a ON a.id = x.author"
#define SELECT_SERVICE                                                                                                                     \
    "SELECT " STAMP_COLUMNS                                                                                                                \
    ", x.uuid, d.slug, x.made_at_us, x.made_at_offset_minutes, x.kind, x.resets, x.bias_shift_db, x.level_shift_db,"                       \
    " x.notes FROM service x" NAMES
#define SELECT_CHECK                                                                                                                       \
    "SELECT " STAMP_COLUMNS ", x.uuid, d.slug, x.made_at_us, x.made_at_offset_minutes, x.kind, x.low_db, x.high_db, x.low_balance_db,"     \
    " x.high_balance_db, x.notes FROM deck_check x" NAMES
#define OF_ONE  " WHERE x.uuid = ? AND x.replaced_by IS NULL"
#define OF_ALL  " WHERE x.replaced_by IS NULL ORDER BY x.seq"
#define OF_DECK " WHERE x.deck = (SELECT id FROM deck WHERE slug = ?) AND x.replaced_by IS NULL ORDER BY x.seq"

static void take_service(struct columns *k, struct service *v, struct stamp *stamp)
{
    memset(v, 0, sizeof *v);
    take_stamp(k, stamp, false);
    take_bytes(k, v->id.bytes, sizeof v->id.bytes);
    take_text(k, v->deck, sizeof v->deck);
    v->made_at_us = take_int(k);
    v->made_at_offset_minutes = (int)take_int(k);
    take_text(k, v->kind, sizeof v->kind);
    v->resets = take_flag(k);
    v->bias_shift_db = take_real(k);
    v->level_shift_db = take_real(k);
    v->notes = take_long(k);
}

static void take_check(struct columns *k, struct deck_check *v, struct stamp *stamp)
{
    memset(v, 0, sizeof *v);
    take_stamp(k, stamp, false);
    take_bytes(k, v->id.bytes, sizeof v->id.bytes);
    take_text(k, v->deck, sizeof v->deck);
    v->made_at_us = take_int(k);
    v->made_at_offset_minutes = (int)take_int(k);
    v->kind = (enum check_kind)take_word(k, WORDS_CHECK, CHECK_PLAYBACK);
    v->low_db = take_real(k);
    v->high_db = take_real(k);
    v->low_balance_db = take_real(k);
    v->high_balance_db = take_real(k);
    v->notes = take_long(k);
}

/* Steps a one-row question by id; the statement stands on the row when 1. */
static int one(struct reader *r, sqlite3_stmt *q, const struct uuid *id, struct fault *f)
{
    if (!q)
        return -1;
    struct binder b = bind(q);
    bind_bytes(&b, id->bytes, sizeof id->bytes);
    return bind_step(&b, &r->c, f);
}

static bool keep_notes(const char **notes, struct arena *a, struct fault *f)
{
    if (*notes && !(*notes = arena_text(a, *notes, strlen(*notes))))
        return fault_add(f, FAULT_MEMORY, "", "memory", "out of memory while reading a row");
    return true;
}

enum read_result read_service(struct reader *r, const struct uuid *id, struct arena *a, struct service *out, struct stamp *stamp,
                              struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_SERVICE_GET, SELECT_SERVICE OF_ONE, f);
    int got = one(r, q, id, f);
    if (got != 1)
        return read_end(got);
    struct columns k = columns(q);
    take_service(&k, out, stamp);
    bool ok = keep_notes(&out->notes, a, f);
    sqlite3_reset(q);
    return ok ? READ_OK : READ_FAILED;
}

enum read_result read_check(struct reader *r, const struct uuid *id, struct arena *a, struct deck_check *out, struct stamp *stamp,
                            struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_CHECK_GET, SELECT_CHECK OF_ONE, f);
    int got = one(r, q, id, f);
    if (got != 1)
        return read_end(got);
    struct columns k = columns(q);
    take_check(&k, out, stamp);
    bool ok = keep_notes(&out->notes, a, f);
    sqlite3_reset(q);
    return ok ? READ_OK : READ_FAILED;
}

enum read_result walk_services(struct reader *r, const char *deck, service_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = deck ? sql_get(&r->c, SQL_SERVICE_WALK_DECK, SELECT_SERVICE OF_DECK, f)
                           : sql_get(&r->c, SQL_SERVICE_WALK, SELECT_SERVICE OF_ALL, f);
    if (!q)
        return READ_FAILED;
    struct service v;
    struct stamp stamp;
    struct binder b = bind(q);
    if (deck)
        bind_text(&b, deck);
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        take_service(&k, &v, &stamp);
        if (!row(user, &v, &stamp))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}

enum read_result walk_checks(struct reader *r, const char *deck, check_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q =
        deck ? sql_get(&r->c, SQL_CHECK_WALK_DECK, SELECT_CHECK OF_DECK, f) : sql_get(&r->c, SQL_CHECK_WALK, SELECT_CHECK OF_ALL, f);
    if (!q)
        return READ_FAILED;
    struct deck_check v;
    struct stamp stamp;
    struct binder b = bind(q);
    if (deck)
        bind_text(&b, deck);
    int got;
    while ((got = bind_step(&b, &r->c, f)) == 1) {
        struct columns k = columns(q);
        take_check(&k, &v, &stamp);
        if (!row(user, &v, &stamp))
            break;
    }
    sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}
