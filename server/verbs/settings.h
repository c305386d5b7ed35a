/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Settings that the command line left open: from the environment (--tls-cert is BIASBOOK_TLS_CERT), then from a file of `name = value` lines with the options' own
 * names. What comes first wins: option, environment, file.
 */
#ifndef BIASBOOK_VERBS_SETTINGS_H
#define BIASBOOK_VERBS_SETTINGS_H

#include "options.h"

struct settings {
    char *text; /* the file; values point into it */
};

/* `file` NULL: BIASBOOK_CONFIG, or none. Returns -1 to go on, else an exit status, after saying what is wrong and where. */
int settings_fill(struct settings *s, const struct verb_help *help, const struct option_spec *specs, const char *file);
void settings_free(struct settings *s);

#endif
