/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * How far a row may be believed: the weight τ(x) of a row whose squared residual is x scales², and the loss ρ(x) with ρ' = τ, ρ(0) = 0.
 * τ never rises with x, so ρ lies below each of its tangents: τ(x₀)·x + ρ(x₀) − τ(x₀)·x₀, which is what a reweighing step minimises.
 */
#ifndef BIASBOOK_MODEL_ROBUST_H
#define BIASBOOK_MODEL_ROBUST_H

enum robust_kind {
    ROBUST_NONE,    /* normal: τ = 1 */
    ROBUST_T,       /* Student's t: τ = (ν + 1)/(ν + x) */
    ROBUST_MIXTURE, /* normal, but some rows are `wide` times as wide: τ = E[1/wide²] given x */
};
#define ROBUST_PARTS 2
struct robust {
    enum robust_kind kind;
    double nu;                                      /* ROBUST_T */
    double share[ROBUST_PARTS], wide[ROBUST_PARTS]; /* ROBUST_MIXTURE, beside the ordinary rows */
};
/* What the product uses: 4 % of rows four times as wide (a careless reading), 2 % sixteen times (a wrong sign, a factor of ten, another deck).
 * Chosen, not sourced; see docs/model.md. */
struct robust robust_usual(void);

double robust_weight(const struct robust *k, double x);
double robust_loss(const struct robust *k, double x);
/* The same for a row that has not been seen yet: x its squared distance from what was foretold, h the variance of that, both in scales². Of a mixture its parts
 * are told apart by how likely each made the row so far off. */
double robust_weight_foretold(const struct robust *k, double x, double h);
/* d log(τx)/d log x: what of a row's information about its scale is left when its weight follows. */
double robust_left(const struct robust *k, double x);

#endif
