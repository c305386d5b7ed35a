/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The estimator thread: takes a fit that the solver began, works on it alone at low priority, and hands it back.
 */
#include "inside.h"

#include "../ground/log.h"

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

void *estimator_main(void *user)
{
    struct live *l = user;
    /* Linux: the nice value belongs to the thread. A refusal costs only politeness. */
    (void)setpriority(PRIO_PROCESS, (id_t)syscall(SYS_gettid), 10);
    pthread_mutex_lock(&l->lock);
    for (;;) {
        while (!l->stopping && (!l->job || l->job_done))
            pthread_cond_wait(&l->wake, &l->lock);
        if (l->stopping)
            break;
        struct model_job *job = l->job;
        l->job_running = true;
        pthread_mutex_unlock(&l->lock);
        struct fault f = {0};
        int64_t start = clock_monotonic_us();
        bool ok = model_job_run(job, &l->give_up, &f);
        int64_t end = clock_monotonic_us();
        char text[400];
        if (!ok && !l->give_up)
            log_line(LOG_ERROR, "estimation failed", "why", fault_text(&f, text, sizeof text), NULL);
        pthread_mutex_lock(&l->lock);
        l->job_running = false;
        l->job_done = true;
        l->job_ok = ok;
        l->fitted_us = end;
        l->fit_took_us = end - start;
        l->figures.fits++;
        l->figures.fit_last_us = end - start;
        pthread_cond_broadcast(&l->wake);
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}
