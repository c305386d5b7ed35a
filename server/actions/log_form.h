/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The plain pages for browsers without scripts, as far as they share something.
 */
#ifndef BIASBOOK_ACTIONS_LOG_FORM_H
#define BIASBOOK_ACTIONS_LOG_FORM_H

#include "house.h"

/* The log form with what was posted to it before somebody signed in. */
enum action_result log_page_again(struct house *house, struct exchange *x, const char *posted, size_t n);
/* Who is signed in, with a way out, or a way in; nothing in an open book. */
void who_line(struct house *house, struct exchange *x, struct buffer *b);

#endif
