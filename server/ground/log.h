/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * One line an event on standard error, `time level what key=value …`, greppable; values with spaces or quotes are quoted and
 * control characters escaped, so that no client can forge a line.
 */
#ifndef BIASBOOK_GROUND_LOG_H
#define BIASBOOK_GROUND_LOG_H

enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARN, LOG_ERROR };
void log_set_level(enum log_level lowest);
/* `what` is a fixed word or words; then pairs of key, value strings, closed by NULL. */
void log_line(enum log_level level, const char *what, ...) __attribute__((sentinel));

#endif
