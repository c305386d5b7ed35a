/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator as the rest of the house sees it: records go in, an immutable view comes out that answers from tables.
 *
 *   struct model        facts and factors; owned by one thread at a time (the solver's)
 *   struct model_job    a variance estimation on a copy of what it needs; may run on another thread meanwhile
 *   struct model_view   what was learned, frozen: answers questions without a solve, from any number of threads
 *
 * Signs and units: dB; bias + = more bias = duller; level + = more record gain. Index 0 is bias, 1 is level (enum response).
 */
#ifndef BIASBOOK_MODEL_CLUB_H
#define BIASBOOK_MODEL_CLUB_H

#include "../ground/fault.h"
#include "../trade/records.h"

#include <stdatomic.h>
#include <stddef.h>

enum response { BIAS, LEVEL, RESPONSES };

struct model;
struct model_view;
struct model_job;

struct model *model_new(void) __attribute__((warn_unused_result)); /* NULL: out of memory */
void model_free(struct model *m);

/* ---- facts: a later call with the same id replaces; false only when memory is out. Decks and stocks come before rows that name them. ---- */
bool model_put_deck(struct model *m, const struct deck *d);
bool model_put_stock(struct model *m, const struct stock *s);
bool model_put_service(struct model *m, const struct service *s, const struct stamp *stamp);
/* New, corrected or void state of this calibration. The model itself decides what the fit may see (noise reduction, void, unsettled: kept out). */
bool model_put_calibration(struct model *m, const struct calibration *c, const struct stamp *stamp);

/* The caller says up to which change it has fed everything; views carry it as `as_of`. */
void model_reached(struct model *m, int64_t seq);

/* ---- compute ---- */
/* Effects with variances held; the fast path after each commit. */
bool model_solve(struct model *m, struct fault *f);
/* A fit is a job: begin copies (fast), run works alone (slow, any thread, `*stop` becomes true = give up early), adopt takes its variances over and solves. */
struct model_job *model_fit_begin(struct model *m, struct fault *f) __attribute__((warn_unused_result));
bool model_job_run(struct model_job *j, const atomic_bool *stop, struct fault *f);
bool model_fit_adopt(struct model *m, struct model_job *j, struct fault *f); /* also frees the job */
void model_job_free(struct model_job *j);

/* So that no result waits for what takes long: a full solve as a job, due when few further results can be worked into the last. A job (of either kind) is taken
 * without solving: what came since it began is worked into it one result a call of model_catch_up, while model_solve goes on with what is served. Frees the job. */
bool model_renewal_due(const struct model *m);
struct model_job *model_renewal_begin(struct model *m, struct fault *f) __attribute__((warn_unused_result));
bool model_job_take(struct model *m, struct model_job *j, struct fault *f);
bool model_catching_up(const struct model *m); /* something was taken that has not caught up yet */
bool model_settled(const struct model *m);     /* what is served is of the last variances, and nothing else catches up */
bool model_catch_up(struct model *m);          /* true: it is served from now on; publish */
/* Begin, run and adopt from prior scales, in the rows' own canonical order: a function of the rows alone. */
bool model_refit(struct model *m, struct fault *f);

/* ---- views ---- */
struct model_view *model_publish(struct model *m, struct fault *f) __attribute__((warn_unused_result));
void model_view_free(struct model_view *v);
/* To and from bytes, so that a restart answers at once. `bytes` is mem_alloc'ed. */
bool model_view_save(const struct model_view *v, void **bytes, size_t *n, struct fault *f);
struct model_view *model_view_load(const void *bytes, size_t n, struct fault *f);
/* Starts a fresh model's variances (and slopes) from a saved view, so that it need not estimate again before it serves. */
bool model_warm(struct model *m, const struct model_view *v);

/* ---- questions ---- */
struct model_question {
    const struct deck *deck;   /* its id need not be known to the model (a new deck); its dials and model are read from here */
    const struct stock *stock; /* NULL: `tape_class` is asked */
    enum tape_class tape_class;
    const char *setup, *batch, *tape; /* NULL or "" = main / none */
    enum channel channel;
    int recordings;         /* -1 not known */
    double position_s;      /* ABSENT not known */
    double part;            /* 0..1 of the side, ABSENT not known */
    double treble_db;       /* wanted lift */
    double low_hz, high_hz; /* tones; ABSENT = the deck's */
    int64_t at_us;
};
/* Of this tape on this deck, with nothing said of the one cassette or reel. */
static inline struct model_question model_question_plain(const struct deck *d, const struct stock *s, int64_t at_us)
{
    return (struct model_question){.deck = d,
                                   .stock = s,
                                   .tape_class = s->tape_class,
                                   .setup = "",
                                   .batch = "",
                                   .tape = "",
                                   .recordings = -1,
                                   .position_s = ABSENT,
                                   .part = ABSENT,
                                   .low_hz = ABSENT,
                                   .high_hz = ABSENT,
                                   .at_us = at_us};
}
enum basis_kind { BASIS_THIS_PAIR, BASIS_NEVER_TOGETHER, BASIS_NEW_DECK, BASIS_NEW_STOCK, BASIS_CLASS_ONLY, BASIS_NO_RESULTS, BASIS_KINDS };
const char *basis_kind_text(enum basis_kind k); /* "this pair", … : contract */

#define MODEL_PARTS 20
struct model_part {
    const char *
        name; /* static: "class","recordings","place","sheet","family","stock","batch","tape","deck model","deck","channel","setup","era","change over time","deck and class","pair","treble" */
    double value[RESPONSES]; /* rounded to 0.0001 dB */
};
struct model_answer {
    double mean[RESPONSES];                     /* dB to set, wanted treble included = the sum of the parts, exactly to 1e-9 */
    double se[RESPONSES];                       /* of that mean */
    double low90[RESPONSES], high90[RESPONSES]; /* where the flat-equivalent result, logged with readings, lands nine times in ten */
    int part_count;
    struct model_part parts[MODEL_PARTS];
    enum basis_kind basis;
    long pair, on_deck, of_stock, club, members;  /* rows the number rests on; members = distinct ones among the club's rows */
    double worth[RESPONSES], worth_se[RESPONSES]; /* learned dB per unit of a `learn` dial (else the dial's local worth, se 0) */
    double a, a_se, b, b_se;                      /* slopes at the tones used: low +a, high −b per dB of bias */
    double reading_sd[2];                         /* noise of one reading, low and high tone, dB */
};
void model_ask(const struct model_view *v, const struct model_question *q, struct model_answer *out);

struct model_record { /* one response's fit, as GET /api/model tells it */
    double sigma;
    int group_count;
    struct {
        const char *name;
        double sd;
        long levels;
        bool boundary;
    } groups[20];
    int fixed_count;
    struct {
        char name[40];
        double estimate, se;
    } fixed[24];
    const char *reason; /* "converged", "stopped: evaluations", "not converged", "prior only", … */
    long evaluations;
};
struct model_figures {
    int64_t as_of;        /* every change up to this seq is contained */
    int64_t fitted_us;    /* when variances were last estimated; CLOCK_NONE = never */
    int64_t fitted_as_of; /* up to which change they know the rows; 0 = never */
    long rows, rows_used, decks, stocks;
    struct model_record response[RESPONSES];
};
void model_view_figures(const struct model_view *v, struct model_figures *out);
/* What the model itself holds now (as_of, rows, rows_used, decks, stocks); the fit records are left empty. */
void model_held(const struct model *m, struct model_figures *out);

#endif
