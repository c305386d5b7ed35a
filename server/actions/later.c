/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Routes whose answers are still to come say so plainly instead of being unknown.
 */
#include "actions.h"
#include "answer.h"

static enum action_result later(struct exchange *x)
{
    struct fault f = {0};
    fault_add(&f, FAULT_UNKNOWN, "", "not-yet", "this daemon does not answer that yet");
    return answer_fault(x, &f);
}

#define LATER(name)                                                                                                                        \
    __attribute__((weak)) enum action_result name(struct house *house, struct exchange *x)                                                 \
    {                                                                                                                                      \
        (void)house;                                                                                                                       \
        return later(x);                                                                                                                   \
    }

LATER(action_openapi)
