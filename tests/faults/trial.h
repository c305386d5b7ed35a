/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One question to a served club while the Nth call of a kind fails. Then: the answer is the right one, or a problem document of status 500 or 503, or a
 * closed connection; what was said to be stored is there; the same request succeeds on the same daemon.
 */
#ifndef BIASBOOK_TESTS_FAULTS_TRIAL_H
#define BIASBOOK_TESTS_FAULTS_TRIAL_H

#include "club.h"
#include "failing.h"

struct trial {
    enum fail_kind kind;
    bool ever;
    bool all;         /* each call; else the first ones and then fewer and fewer (BIASBOOK_LONG=1) */
    bool same_daemon; /* it also gave the right answer, so that nothing was estimated anew meanwhile: answers agree byte for byte */
};
extern struct trial trial;
extern struct club club;

void trial_set_right(const struct question *q);    /* asks a few times without faults and keeps the answer */
bool trial_once(const struct question *q, long n); /* whether something failed */
long trial_each(const struct question *q);         /* from the first call on until none fails any more: how many there are */

/* cmocka: of the group, of each test (kills what a failed one left), of the group */
int trial_start(void **state);
int trial_over(void **state);
int trial_report(void **state);

#endif
