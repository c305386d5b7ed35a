/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * A second thread for as long as the work takes; it inherits the caller's priority.
 */
#include "both.h"

#include <pthread.h>

struct half {
    response_work work;
    void *user;
    enum response r;
    struct fault f;
    bool ok;
};

static void *run(void *half)
{
    struct half *h = half;
    h->ok = h->work(h->user, h->r, &h->f);
    return NULL;
}

bool both_responses(response_work work, void *user, bool aside, struct fault *f)
{
    struct half half[RESPONSES];
    for (int r = 0; r < RESPONSES; r++) {
        half[r] = (struct half){.work = work, .user = user, .r = (enum response)r};
        fault_clear(&half[r].f);
    }
    pthread_t other;
    bool started = aside && pthread_create(&other, NULL, run, &half[LEVEL]) == 0;
    run(&half[BIAS]);
    if (started)
        pthread_join(other, NULL);
    else
        run(&half[LEVEL]);
    for (int r = 0; r < RESPONSES; r++)
        if (!half[r].ok) {
            fault_merge(f, &half[r].f, "");
            return false;
        }
    return true;
}
