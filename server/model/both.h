/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The two responses share a design and nothing else, so their work runs side by side on two threads.
 */
#ifndef BIASBOOK_MODEL_BOTH_H
#define BIASBOOK_MODEL_BOTH_H

#include "club.h"

typedef bool (*response_work)(void *user, enum response r, struct fault *f);
/* Runs `work` for both responses and waits; `aside` false (little to do), or no thread to be had: one after the other. The first response's fault is
 * told if both have one. */
bool both_responses(response_work work, void *user, bool aside, struct fault *f);

#endif
