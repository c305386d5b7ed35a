/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Keeps what is served in step with the store. After each commit the catalog (decks, stocks) is new before the writer's callers are
 * answered; the solver thread reads the new rows, solves, and publishes a new model; the estimator thread works out variances now and then at low
 * priority. Questions take the published view, which never changes under them.
 */
#ifndef BIASBOOK_LIVE_LIVE_H
#define BIASBOOK_LIVE_LIVE_H

#include "../model/club.h"
#include "../store/store.h"
#include "catalog.h"
#include "keyring.h"
#include "sessions.h"

struct live; /* private */

/* What a question looks at: frozen. Take it, read it, give it back. */
struct view {
    atomic_long holders;
    const struct catalog *catalog;
    const struct model_view *model; /* never NULL */
    int64_t as_of;                  /* every change up to it is in `model` */
    char fitted_at[CLOCK_TEXT];     /* when variances were last estimated, as text (each answer repeats it); "" = never */
    struct model_hold *hold;        /* private */
};

struct live_options {
    bool refit_first; /* estimate from the rows alone before returning, so that the first answer is the canonical one */
    bool no_threads;  /* command line: one view and done */
};

/* Loads catalog, keys and the saved tables, so that it can answer at once; starts the threads. NULL and a fault otherwise. */
struct live *live_open(struct store *s, const struct live_options *options, struct fault *f) __attribute__((warn_unused_result));
/* Stops the threads and saves the tables. Call after store_quiesce and before store_close. NULL allowed. */
void live_close(struct live *l);

struct view *live_take(struct live *l); /* never NULL, wait-free but for a lock of a few instructions */
void view_give(struct view *v);

bool live_ready(struct live *l); /* the model contains all that the store held at start */
/* Waits until the model contains change `seq`; false at the deadline. For tests and the command line. */
bool live_wait(struct live *l, int64_t seq, int timeout_ms);
bool live_find_key(struct live *l, const char *key, struct key_holder *out);
/* After a change of members or keys by this process; another process's are noticed within a second. False: the old ones stay, and the next look
 * tries again. */
bool live_reload_keys(struct live *l, struct fault *f);
/* ---- sessions (sessions.h) ---- */
bool live_session_open(struct live *l, int64_t key, int64_t now_us, char token[SESSION_TEXT]);
bool live_session_find(struct live *l, const char *token, struct key_holder *out);
void live_session_end(struct live *l, const char *token);

struct live_figures {
    int64_t solves, fits, solve_last_us, fit_last_us, as_of;
};
void live_figures(struct live *l, struct live_figures *out);

#endif
