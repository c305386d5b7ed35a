/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A small club in a scratch folder for the store's tests, and writing that waits for its answer.
 */
#ifndef BIASBOOK_TESTS_STORE_SCRATCH_H
#define BIASBOOK_TESTS_STORE_SCRATCH_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/backup.h"
#include "store/inside.h"
#include "store/prior.h"

struct scratch {
    char folder[64], path[96];
    struct store *store;
    struct arena *arena;
};

/* cmocka set-up and tear-down: *state is a struct scratch with an open, empty club. The tear-down checks that nothing leaks and that the file
 * proves itself. */
int scratch_open(void **state);
int scratch_close(void **state);
void scratch_reopen(struct scratch *s);

/* Hands over and waits. */
void write_now(struct store *s, struct write *w);

struct deck a_deck(const char *id);
struct stock a_stock(const char *id);
struct calibration a_calibration(const char *deck, const char *stock); /* a fresh id */
struct service a_service(const char *deck);
struct deck_check a_check(const char *deck);

/* Each writes as an open club would (may correct others) and returns the write with its answer. */
struct write put_deck(struct store *s, const struct deck *d, const char *if_match);
struct write put_stock(struct store *s, const struct stock *t, const char *if_match);
struct write put_calibration(struct store *s, const struct calibration *c, const char *if_match);
struct write put_void(struct store *s, const struct calibration *c, const char *reason);
struct write put_service(struct store *s, const struct service *v, const char *if_match);
struct write put_check(struct store *s, const struct deck_check *k, const char *if_match);
void make_pair(struct store *s); /* deck "deck-a" and stock "stock-a" */

const char *quoted(const struct stamp *stamp); /* its tag as If-Match takes it; the text lives until the next call but three */
int64_t member_called(struct store *s, const char *name, enum role role);
/* The first column of a question, asked on a connection of its own. */
int64_t ask(const char *path, const char *sql);
void tell(const char *path, const char *sql); /* changes the file behind the store's back */
int count_calibrations(struct store *s, const struct calibration_filter *filter);

#define assert_outcome(w, wanted)                                                                                                          \
    do {                                                                                                                                   \
        struct write asserted = (w);                                                                                                       \
        if (asserted.outcome != (wanted))                                                                                                  \
            print_error("outcome %d, fault %d %s: %s\n", (int)asserted.outcome, (int)asserted.fault.kind,                                  \
                        asserted.fault.count ? asserted.fault.items[0].code : "",                                                          \
                        asserted.fault.count ? asserted.fault.items[0].detail : "");                                                       \
        assert_int_equal(asserted.outcome, wanted);                                                                                        \
    } while (0)
#define assert_refused(w, wanted_kind, wanted_code)                                                                                        \
    do {                                                                                                                                   \
        struct write asserted = (w);                                                                                                       \
        assert_int_equal(asserted.outcome, WRITE_REFUSED);                                                                                 \
        assert_int_equal(asserted.fault.kind, wanted_kind);                                                                                \
        assert_string_equal(asserted.fault.items[0].code, wanted_code);                                                                    \
    } while (0)

#endif
