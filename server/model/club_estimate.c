/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The order of an estimate: rough variances, what the residuals then show, variances with that, ranges. Once a fit.
 */
#include "club_estimate.h"

#include "../ground/clock.h"
#include "breaks.h"
#include "club_inside.h"
#include "misfits.h"
#include "replay_inside.h"
#include "worths.h"

/* Jumps nobody wrote down, and what marks of `learn` dials are worth, into the facts. */
static bool find_changes(const struct club_fit *fit, const struct equation_options *o, struct facts *x, int *found)
{
    int worths = 0, breaks = 0;
    bool ok = worths_find(fit, o, x, &worths) && breaks_find(fit, x, &breaks);
    *found = worths + breaks;
    return ok;
}

/* A deck with a found jump or dial is another deck than the one its rows were weighed for: what looked like misentries may be right now. */
static void forget_weights(struct facts *x)
{
    for (int i = 0; i < x->row_count; i++) {
        const struct fact_deck *d = x->decks[x->rows[i].deck];
        bool changed = d->shared[BIAS].se > 0 || d->shared[LEVEL].se > 0;
        for (int k = 0; !changed && k < d->service_count; k++)
            changed = d->services[k].found;
        if (changed)
            x->rows[i].tau[BIAS] = x->rows[i].tau[LEVEL] = 0;
    }
}

/* Opens the fit of a sample, with the weights that are known. */
static bool open_sample(struct club_fit *fit, struct facts *x, const struct equation_options *o, struct fault *f)
{
    if (!club_fit_open(fit, x, o, f))
        return false;
    club_fit_take_weights(fit, x);
    return true;
}

/* Variances as far as it takes to see the jumps in the residuals and what marks of `learn` dials are worth; then variances with those; at last the range. */
bool club_estimate(struct facts *x, const struct slope_table *slopes, struct variances *v, struct club_fit *fit, const atomic_bool *stop,
                   struct fault *f)
{
    struct equation_options o = {.slopes = slopes, .sample = SAMPLE_ROWS, .before_us = CLOCK_NONE};
    int found = 0;
    facts_clear_found(x);
    facts_clear_weights(x);
    bool ok = open_sample(fit, x, &o, f) && club_fit_variances(fit, v, LOOK_TOLERANCE * club_fit_slack(fit->q.rows), stop, f) &&
              (find_changes(fit, &o, x, &found) || club_out_of_memory(f));
    if (ok)
        misfits_doubt(fit);
    if (ok && found) { /* the equation with the changes in it, from the weights known so far */
        club_fit_keep_weights(fit, x);
        forget_weights(x);
        club_fit_free(fit);
        ok = open_sample(fit, x, &o, f);
    }
    ok = ok && club_fit_variances(fit, v, FIT_TOLERANCE * club_fit_slack(fit->q.rows), stop, f);
    if (ok)
        club_fit_keep_weights(fit, x);
    ok = ok && replay_ranges(x, &o, v, stop, f);
    if (ok)
        v->fitted_us = clock_now_us();
    return ok;
}
