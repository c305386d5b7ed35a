/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Results taken together by deck, tape, batch: a robust mean of what is left of each after the model's parts are taken off, and how sure it is.
 */
#ifndef BIASBOOK_ACTIONS_GROUPS_H
#define BIASBOOK_ACTIONS_GROUPS_H

#include "results.h"

struct group {
    int key;  /* of the caller */
    int rows; /* results the fit sees */
    double mean[RESPONSES],
        variance[RESPONSES]; /* of that mean, from the scatter of single results; ABSENT when no result tells of the response */
};
struct groups {
    struct group *list; /* by key */
    int count;
};
/* `key` has one number a result, negative = not in any group. `taken_off`: mask of parts. False: out of memory. */
bool groups_make(const struct results *r, const int *key, unsigned taken_off, const struct outlook_stock *scatter, struct groups *out);
void groups_free(struct groups *g);

/* Mean of x with Student-t weights (ν = 4, as in the fit); *of_mean is its variance. NaN when n = 0. */
double robust_mean(const double *x, const double *variance, int n, double *of_mean);

#endif
