/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What can be proved from the file alone. Each finding is one item with its own code.
 */
#include "inside.h"

#include "../trade/check.h"

#include <string.h>

/* SQLite's own whole check: pages, indexes, types. CHECKs it leaves out on a connection that only reads; the digests answer for what they
 * would find. */
static bool pages(struct reader *r, struct fault *f)
{
    sqlite3_stmt *q = NULL;
    bool ok = sqlite3_prepare_v2(r->c.db, "PRAGMA integrity_check(8)", -1, &q, NULL) == SQLITE_OK || sql_fault(&r->c, f);
    int rc = SQLITE_DONE;
    while (ok && (rc = sqlite3_step(q)) == SQLITE_ROW) {
        const char *line = (const char *)sqlite3_column_text(q, 0);
        if (!line || strcmp(line, "ok") != 0)
            ok = sql_finding(line, f);
    }
    if (ok && rc != SQLITE_DONE)
        ok = sql_fault(&r->c, f);
    sqlite3_finalize(q);
    return ok;
}

/* A count that has to be zero. */
static bool none(struct reader *r, const char *text, const char *code, const char *detail, struct fault *f)
{
    int64_t n;
    if (!sql_number(&r->c, text, &n, f))
        return false;
    return n == 0 || fault_add(f, FAULT_STORE, "", code, "%lld %s", (long long)n, detail);
}

/* In each chain the older state knows the newer and the newer the older, they are about the same thing, and numbers rise. */
#define CHAIN(table, same)                                                                                                                 \
    "SELECT (SELECT count(*) FROM " table " n LEFT JOIN " table " o ON o.seq = n.replaces WHERE n.replaces IS NOT NULL AND"                \
    " (o.replaced_by IS NOT n.seq OR o." same " IS NOT n." same " OR o.seq >= n.seq OR o.revision > n.revision))"                          \
    " + (SELECT count(*) FROM " table " o LEFT JOIN " table                                                                                \
    " n ON n.seq = o.replaced_by WHERE o.replaced_by IS NOT NULL AND n.replaces IS NOT o.seq)"

static bool chains(struct reader *r, struct fault *f)
{
    static const char *const texts[] = {CHAIN("deck_state", "deck"), CHAIN("stock_state", "stock"), CHAIN("calibration", "uuid"),
                                        CHAIN("service", "uuid"), CHAIN("deck_check", "uuid")};
    bool ok = true;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        ok = none(r, texts[i], "broken-history", "states do not fit the ones they replace", f) && ok;
    ok = none(r, "SELECT count(*) FROM calibration c LEFT JOIN calibration o ON o.seq = c.readings WHERE o.uuid IS NOT c.uuid",
              "broken-history", "calibrations point to moves of another one", f) &&
         ok;
    ok = none(r, "SELECT count(*) FROM deck d WHERE NOT EXISTS (SELECT 1 FROM deck_state x WHERE x.deck = d.id AND x.replaced_by IS NULL)",
              "no-state", "decks have no standing state", f) &&
         ok;
    return none(
               r,
               "SELECT count(*) FROM stock d WHERE NOT EXISTS (SELECT 1 FROM stock_state x WHERE x.stock = d.id AND x.replaced_by IS NULL)",
               "no-state", "stocks have no standing state", f) &&
           ok;
}

static bool gapless(struct reader *r, struct fault *f)
{
    int64_t rows, top, different;
    if (!sql_number(&r->c, "SELECT count(*) FROM change", &rows, f) ||
        !sql_number(&r->c, "SELECT coalesce(max(seq), 0) FROM change", &top, f) ||
        !sql_number(&r->c, "SELECT count(*) FROM (SELECT seq FROM change UNION SELECT seq FROM change)", &different, f))
        return false;
    return (rows == top && different == rows) ||
           fault_add(f, FAULT_STORE, "", "gap", "%lld changes are numbered up to %lld, %lld of them differently", (long long)rows,
                     (long long)top, (long long)different);
}

/* ---- digests: the tag made of the content has to be the one made of the digest that was stored with it ---- */
struct digests {
    int64_t wrong;
};

static void compare(struct digests *g, const uint8_t digest[DIGEST_BYTES], const struct stamp *stamp)
{
    char etag[48];
    etag_make(etag, stamp->revision, digest, stamp->is_void);
    g->wrong += strcmp(etag, stamp->etag) != 0;
}

static bool deck_row_is(void *user, const struct deck *d, const struct stamp *stamp)
{
    uint8_t digest[DIGEST_BYTES];
    digest_deck(d, digest);
    compare(user, digest, stamp);
    return true;
}

static bool stock_row_is(void *user, const struct stock *d, const struct stamp *stamp)
{
    uint8_t digest[DIGEST_BYTES];
    digest_stock(d, digest);
    compare(user, digest, stamp);
    return true;
}

static bool calibration_row_is(void *user, const struct calibration *d, const struct stamp *stamp)
{
    uint8_t digest[DIGEST_BYTES];
    digest_calibration(d, digest);
    compare(user, digest, stamp);
    return true;
}

static bool service_row_is(void *user, const struct service *d, const struct stamp *stamp)
{
    uint8_t digest[DIGEST_BYTES];
    digest_service(d, digest);
    compare(user, digest, stamp);
    return true;
}

static bool check_row_is(void *user, const struct deck_check *d, const struct stamp *stamp)
{
    uint8_t digest[DIGEST_BYTES];
    digest_check(d, digest);
    compare(user, digest, stamp);
    return true;
}

static bool digests(struct reader *r, struct fault *f)
{
    struct digests g = {0};
    struct calibration_filter all = {.since_us = CLOCK_NONE, .all_revisions = true};
    bool read = walk_decks(r, NULL, 0, deck_row_is, &g, f) == READ_OK && walk_stocks(r, NULL, 0, stock_row_is, &g, f) == READ_OK &&
                walk_calibrations(r, &all, true, calibration_row_is, &g, f) == READ_OK &&
                walk_services(r, NULL, service_row_is, &g, f) == READ_OK && walk_checks(r, NULL, check_row_is, &g, f) == READ_OK;
    if (!read)
        return false;
    return g.wrong == 0 || fault_add(f, FAULT_STORE, "", "digest", "%lld rows do not say what was stored with them", (long long)g.wrong);
}

bool integrity_prove(struct reader *r, bool deep, struct fault *f)
{
    if (!pages(r, f)) /* the rest would only trip over the same damage */
        return false;
    bool ok = none(r, "SELECT count(*) FROM pragma_foreign_key_check", "orphans", "rows refer to nothing", f);
    if (!deep) /* an older format: the rest asks today's tables */
        return ok;
    ok = gapless(r, f) && ok;
    ok = chains(r, f) && ok;
    return digests(r, f) && ok;
}

bool store_check(struct store *s, struct fault *f)
{
    struct reader *r = reader_take(s, f);
    bool ok = r && integrity_prove(r, true, f);
    reader_give(r);
    return ok;
}
