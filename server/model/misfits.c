/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One pass over the rows, once a fit. With leverage H (the variance of the fitted value, this row's share in it included) and weight w, the row left out would have
 * been foretold r/(1 − wH) from where it is, with variance H/(1 − wH): the formulas of deletion residuals (Cook & Weisberg, Residuals and Influence in Regression,
 * 1982, chapter 2).
 */
#include "misfits.h"

static double foretold_weight(const struct estimate *e, int i)
{
    const struct estimate_input *in = &e->in;
    double scale2 = estimate_scale2(e, i), rest = 1 - e->w[i] * e->leverage[i];
    if (!(rest > MISFIT_REST))
        return 1; /* nothing else speaks of it */
    double off = (in->y[i] - e->fit[i]) / rest;
    return robust_weight_foretold(&in->robust, off * off / scale2, e->leverage[i] / rest / scale2);
}

void misfits_doubt(struct club_fit *fit)
{
    for (int r = 0; r < RESPONSES; r++) {
        struct estimate *e = &fit->e[r];
        for (int i = 0; e->inverted && i < fit->q.rows; i++)
            if (e->in.kind[i] < KINDS && !e->in.stop[i])
                e->tau[i] = fmin(e->tau[i], foretold_weight(e, i));
    }
}
