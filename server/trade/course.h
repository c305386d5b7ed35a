/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The course of one deck: what is left of its results when the tapes are taken off, in a fit in which the deck may stand anywhere at any time. So a change of the deck
 * does not hide in the stocks that happened to be used after it. Pure.
 *
 *   y = level(stretch) + stock + tape + e,   stock ~ N(0, sd_k²), tape ~ N(0, tape_sd²), e ~ Student t (ν = 4)
 *
 * A stretch is some dozen results in a row inside one era; its level is free. y is a result minus what the whole club says of its stock.
 */
#ifndef BIASBOOK_TRADE_COURSE_H
#define BIASBOOK_TRADE_COURSE_H

#include <stdbool.h>

#define COURSE_STRETCH 12 /* results */

struct course_row {
    double y, variance; /* dB, dB² of one result */
    int stock, tape;    /* numbers from 0; tape -1 = not named: of its own */
    bool reset;         /* first result after a service that resets the deck */
    double residual;    /* filled: y minus its stock's share; the tape's own is left in */
    double sd;          /* filled: what such a residual should scatter by, tape's own part and the stock's remaining doubt included */
    int level;          /* filled: number of its stretch */
    double rest;        /* private */
};
struct course_effect {
    double sd;     /* of the prior: the caller fills it for stocks */
    double mean;   /* filled */
    double weight; /* filled: precision, prior included */
};

/* Rows in order of time. `stocks`: one a stock, sd given; `tapes`: as many as tapes are numbered. `levels`: room for one a stretch, at most n. Returns how many stretches. */
int course_fit(struct course_row *rows, int n, struct course_effect *stocks, int stock_count, struct course_effect *tapes, int tape_count,
               double tape_sd, struct course_effect *levels);

#endif
