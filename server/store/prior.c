/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The suggestion before each calibration: see prior.h.
 */
#include "prior.h"

#include "inside.h"

#include <math.h>

#define COLUMNS "uuid, basis, as_of, bias_mean, bias_se, bias_low90, bias_high90, level_mean, level_se, level_low90, level_high90"

struct batch {
    const struct prior_suggestion *list;
    int count;
};

static bool finite_all(const struct prior_suggestion *p)
{
    for (int i = 0; i < 2; i++)
        if (!isfinite(p->mean[i]) || !isfinite(p->se[i]) || !isfinite(p->low90[i]) || !isfinite(p->high90[i]))
            return false;
    return true;
}

static bool put_one(struct store *s, const struct prior_suggestion *p, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&s->writer, SQL_PRIOR_PUT,
                              "INSERT OR REPLACE INTO prior_suggestion (" COLUMNS ") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", f);
    if (!q)
        return false;
    if (!finite_all(p))
        return fault_add(f, FAULT_INTERNAL, "", "not-finite", "a suggestion to be kept is not a number");
    struct binder b = bind(q);
    bind_bytes(&b, p->calibration.bytes, sizeof p->calibration.bytes);
    bind_int(&b, p->basis);
    bind_int(&b, p->as_of);
    for (int i = 0; i < 2; i++) {
        bind_real(&b, p->mean[i]);
        bind_real(&b, p->se[i]);
        bind_real(&b, p->low90[i]);
        bind_real(&b, p->high90[i]);
    }
    return bind_run(&b, &s->writer, f);
}

static bool save_batch(struct store *s, void *argument, struct fault *f)
{
    const struct batch *t = argument;
    if (!group_begin(s, f))
        return false;
    bool ok = true;
    for (int i = 0; ok && i < t->count; i++)
        ok = put_one(s, &t->list[i], f);
    return group_end(s, ok, f) && ok;
}

bool store_save_prior(struct store *s, const struct prior_suggestion *list, int count, struct fault *f)
{
    for (int i = 0; i < count; i += LIMIT_PRIOR_BATCH) {
        struct batch t = {list + i, count - i < LIMIT_PRIOR_BATCH ? count - i : LIMIT_PRIOR_BATCH};
        if (!writer_job(s, save_batch, &t, f))
            return false;
    }
    return true;
}

static bool clear(struct store *s, void *argument, struct fault *f)
{
    (void)argument;
    if (!group_begin(s, f))
        return false;
    sqlite3_stmt *q = sql_get(&s->writer, SQL_PRIOR_CLEAR, "DELETE FROM prior_suggestion", f);
    bool ok = q && sql_run(&s->writer, q, f);
    return group_end(s, ok, f) && ok;
}

bool store_clear_prior(struct store *s, struct fault *f)
{
    return writer_job(s, clear, NULL, f);
}

static void take_prior(struct columns *k, struct prior_suggestion *p)
{
    /* cppcheck-suppress uninitvar ; this writes it */
    take_bytes(k, p->calibration.bytes, sizeof p->calibration.bytes);
    p->basis = (int)take_int(k);
    p->as_of = take_int(k);
    for (int i = 0; i < 2; i++) {
        p->mean[i] = take_real(k);
        p->se[i] = take_real(k);
        p->low90[i] = take_real(k);
        p->high90[i] = take_real(k);
    }
}

enum read_result read_prior(struct reader *r, const struct uuid *calibration, struct prior_suggestion *out, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_PRIOR_GET, "SELECT " COLUMNS " FROM prior_suggestion WHERE uuid = ?", f);
    if (!q)
        return READ_FAILED;
    struct binder b = bind(q);
    bind_bytes(&b, calibration->bytes, sizeof calibration->bytes);
    int got = bind_step(&b, &r->c, f);
    if (got == 1) {
        struct columns k = columns(q);
        take_prior(&k, out);
        sqlite3_reset(q);
    }
    return read_end(got);
}

enum read_result walk_prior(struct reader *r, prior_row row, void *user, struct fault *f)
{
    sqlite3_stmt *q = sql_get(&r->c, SQL_PRIOR_WALK, "SELECT " COLUMNS " FROM prior_suggestion ORDER BY uuid", f);
    int got = -1;
    while (q && (got = sql_step(&r->c, q, f)) == 1) {
        struct prior_suggestion p;
        struct columns k = columns(q);
        take_prior(&k, &p);
        if (!row(user, &p))
            break;
    }
    if (q)
        sqlite3_reset(q);
    return got < 0 ? READ_FAILED : READ_OK;
}
