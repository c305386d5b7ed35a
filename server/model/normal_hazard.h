/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The standard normal beyond α: log of the tail, and the hazard λ = φ(α)/(1 − Φ(α)), for any α without loss.
 */
#ifndef BIASBOOK_MODEL_NORMAL_HAZARD_H
#define BIASBOOK_MODEL_NORMAL_HAZARD_H

double normal_log_tail(double alpha); /* log(1 − Φ(α)) */
double normal_hazard(double alpha);

#endif
