/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What club.c (facts and views), club_solve.c (what was learned, kept up with the facts) and club_jobs.c (what is worked out aside) share.
 *
 * What was learned is a full solve (equation, factors, tables) and a tail of results worked into it since. The model serves one, and may be bringing a second,
 * fresher one up to the same change, a few results at a time, to serve it then: so nothing that takes long stands between a result and the next view.
 */
#ifndef BIASBOOK_MODEL_CLUB_INSIDE_H
#define BIASBOOK_MODEL_CLUB_INSIDE_H

#include "club.h"
#include "club_fit.h"
#include "facts.h"
#include "tail.h"

#define CHANGES_KEPT 1024 /* who is further behind begins anew */
#define WAITING_MOST 96   /* changes that are worth working in one by one */
#define BEGIN_ANEW   (-1)

struct changes { /* facts that changed, the latest of them, in order; a fact may stand there twice */
    int fact[CHANGES_KEPT];
    int64_t count; /* so many in all */
    int64_t whole; /* how often the equation itself changed */
};
struct reached { /* up to which change something contains them */
    int64_t count, whole;
};

struct learned {
    struct club_fit *fit;
    struct tables tables;
    struct tail *tail;
    struct reached reached;
    int64_t variances_taken, fitted_as_of; /* of the variances it was solved with: which, and what rows they know */
};

struct model {
    struct facts facts;
    struct slope_learner *learner;
    struct slope_table *slopes; /* as of the last solve; NULL = priors */
    struct variances variances;
    int64_t variances_taken; /* how often they were others */
    struct changes changes;
    struct learned *learned; /* served; NULL before the first solve */
    struct learned *next;    /* to be served when it has caught up; NULL = none */
    struct model_view *warm; /* eras and worths found before a restart, until a solve has used them */
    int64_t as_of;
};

struct model_job {
    struct facts facts;
    struct slope_table *slopes;
    struct variances variances;
    bool renewal; /* a full solve with the variances there are */
    int64_t variances_taken;
    struct reached begun;
    int64_t as_of; /* of the facts */
    struct learned *learned;
};

bool club_out_of_memory(struct fault *f); /* false */

/* ---- club_solve.c ---- */
struct reached changes_now(const struct model *m);
void changed_row(struct model *m, int fact);
void changed_all(struct model *m);
/* Changes since, BEGIN_ANEW when they cannot be told. */
int changes_since(const struct model *m, struct reached r);
void learned_free(struct learned *l);
/* A full solve with variances held. What an estimate left open (NULL = none) is used up. Leaves the robust weights in the facts. */
struct learned *learn(struct facts *x, const struct slope_table *slopes, const struct variances *v, struct club_fit *estimated,
                      struct fault *f);
/* Variances from where `v` stands, and the full solve that goes with them. */
struct learned *estimate_and_learn(struct facts *x, const struct slope_table *slopes, struct variances *v, int64_t as_of,
                                   const atomic_bool *stop, struct fault *f);
/* Works at most so many of the changes that wait into `l`. After anything but TAIL_DONE it is not to be used. */
enum tail_result learned_catch_up(struct model *m, struct learned *l, int most);
bool learn_slopes(struct model *m, struct fault *f);
bool solve_anew(struct model *m, struct fault *f);
void take_learned(struct model *m, struct learned *l); /* to be served at once */
bool take_warm(struct model *m);                       /* eras and worths that were found before a restart; false: out of memory */
struct equation_options options_of(const struct slope_table *slopes, int sample);

#endif
