/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * By erfc where it does not underflow; far out by the continued fraction of Mills' ratio (Abramowitz & Stegun 26.2.14).
 */
#include "normal_hazard.h"

#include <math.h>

#define FAR          8.0
#define LOG_ROOT_2PI 0.91893853320467274178

/* (1 − Φ)/φ for large α. */
static double mills(double alpha)
{
    double t = alpha;
    for (int k = 40; k >= 1; k--)
        t = alpha + k / t;
    return 1 / t;
}

double normal_log_tail(double alpha)
{
    if (alpha > FAR)
        return -0.5 * alpha * alpha - LOG_ROOT_2PI + log(mills(alpha));
    return log(0.5 * erfc(alpha * M_SQRT1_2));
}

double normal_hazard(double alpha)
{
    if (alpha > FAR)
        return 1 / mills(alpha);
    return exp(-0.5 * alpha * alpha - LOG_ROOT_2PI) / (0.5 * erfc(alpha * M_SQRT1_2));
}
