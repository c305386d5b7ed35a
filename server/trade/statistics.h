/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Plain summaries of a handful or a million numbers, to the last digits the numbers themselves have. Pure.
 */
#ifndef BIASBOOK_TRADE_STATISTICS_H
#define BIASBOOK_TRADE_STATISTICS_H

#include <stddef.h>

struct summary {
    size_t n;
    double mean;   /* NaN when n = 0 */
    double sd;     /* of the sample, n − 1; NaN when n < 2 */
    double median; /* NaN when n = 0 */
    double low, high;
};
/* Puts x in rising order. Not finite members are left out (moved behind the rest); n counts the others. */
struct summary summary_of(double *x, size_t n);

/* Means and what divides them: after minus before, Welch's standard error and degrees of freedom, and the interval that holds the true difference in
 * `part` of such cases (0.9 = nine in ten). All NaN when either has fewer than two. B. L. Welch, Biometrika 34 (1947). */
struct difference {
    double mean, se, freedom, low, high;
};
struct difference difference_of(const struct summary *before, const struct summary *after, double part);

/* Quantile of Student's t, 0 < p < 1, freedom >= 1; to about five digits from 3 degrees of freedom on, exact for 1 and 2.
 * G. W. Hill, Algorithm 396, Comm. ACM 13 (1970). */
double student_quantile(double p, double freedom);
double normal_below(double z);    /* Φ */
double normal_quantile(double p); /* Φ⁻¹ to 1e-9: P. J. Acklam's rational approximation, one Halley step */

#endif
