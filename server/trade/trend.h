/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Has this deck changed? Control charts on its residuals: EWMA and two-sided CUSUM of standardised results, one result a tape
 * and day, against a baseline of the first results after a reset. Pure. A signal says since when and how much.
 *
 * Sources: S. W. Roberts, Technometrics 1 (1959) (EWMA); E. S. Page, Biometrika 41 (1954) (CUSUM); NIST/SEMATECH e-Handbook
 * of Statistical Methods, 6.3.2.3 and 6.3.2.4. Limits are set by simulation on results as they are: see trend_usual.
 */
#ifndef BIASBOOK_TRADE_TREND_H
#define BIASBOOK_TRADE_TREND_H

#include <stdbool.h>
#include <stdint.h>

enum trend_chart { CHART_EWMA, CHART_CUSUM };
const char *trend_chart_id(enum trend_chart c); /* "ewma", "cusum" */

struct trend_limits {
    double lambda, L; /* EWMA: weight of the newest, limit in its own sigmas */
    double k, h;      /* CUSUM: allowance and limit in sigmas of one result */
    double clip;      /* standardised results are cut to ± this, so that a misentry is not a change */
    int baseline;     /* results after a reset that say where the deck stood */
};
/* lambda 0.2, k 0.5, clip 2.5, baseline 12; h and L such that a quiet deck gives at most one false signal in 1,000 results charted, all four charts
 * (two responses) together, with the baseline's own error, heavy tails, 2 % misentries and tapes used several times in a row. tests/trade/test_trend.c simulates it. */
extern const struct trend_limits trend_usual;

/* ---- the charts themselves, on standardised values (mean 0, sd 1 when nothing changed); index of the first signal or -1 ---- */
/* chart[i] = λ·z[i] + (1 − λ)·chart[i − 1], from `start`; limit ± L·√(λ/(2 − λ)·(1 − (1 − λ)^2i)), or its final value when `settled`. Either array may be NULL. */
int trend_ewma(const double *z, int n, double start, double lambda, double L, bool settled, double *chart, double *limit);
/* up[i] = max(0, up[i − 1] + z[i] − k), down likewise with −z. A signal when either is above h. Either array may be NULL. */
int trend_cusum(const double *z, int n, double k, double h, double *up, double *down);

/* ---- a deck's results ---- */
struct trend_result {
    int64_t made_at_us;
    uint64_t tape;   /* which tape, any number that tells them apart; 0 = not known: counts as its own */
    double residual; /* dB, result minus what the stock and everything but this deck's change over time explain */
    double sd;       /* dB, what one such residual should scatter by, its tape's own part included */
    double tape_sd;  /* dB, the tape's own part: what results of one tape share; 0 = none or taken out before */
    bool reset;      /* first result after a service that resets the deck: charts begin again */
};
struct trend_value { /* a result as charted */
    bool charted;    /* false: thinned away, or part of a baseline */
    double z;        /* standardised and cut, what earlier results of the same tape foretold taken out */
    double ewma, ewma_limit, up, down;
};
struct trend_signal {
    enum trend_chart chart; /* the one that gave it first */
    int since, found;       /* indices of results: first one of the new state, and the one that gave the signal */
    double size_db, size_se_db;
};
/* Results in order of time. `values` (n of them) may be NULL. Fills at most `most` signals, returns how many there are; after each the charts begin again at `since`.
 * Working memory is the caller's `room` of n ints and n doubles. */
int trend_watch(const struct trend_result *r, int n, const struct trend_limits *limits, struct trend_value *values,
                struct trend_signal *out, int most, int *room_int, double *room_double);

/* One a tape and day (UTC): the last of them. Writes the indices kept, returns how many. */
int trend_thin(const struct trend_result *r, int n, int *kept);

#endif
