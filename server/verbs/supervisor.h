/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a service manager such as systemd gives and wants to hear: a socket that listens already, readiness, signs of life. The protocols are a few lines each
 * (sd_listen_fds(3), sd_notify(3)), so no library is needed; without a manager all of it does nothing.
 */
#ifndef BIASBOOK_VERBS_SUPERVISOR_H
#define BIASBOOK_VERBS_SUPERVISOR_H

#include "../ground/fault.h"

#include <stdint.h>

/* The socket handed over, made our own; *fd = 0 when there is none. False and a fault: more than one, or one that does not listen. */
bool supervisor_socket(int *fd, struct fault *f);
/* Sends "READY=1" and the like. */
void supervisor_say(const char *text);
void supervisor_say_reloading(void);
/* Microseconds between two signs of life at most; 0 = nobody waits for them. */
int64_t supervisor_watchdog_us(void);

#endif
