/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Command-line options of a verb: `--name value`, `--name=value`, flags, and what is left. Wrong usage is said with the verb's own help line.
 */
#ifndef BIASBOOK_VERBS_OPTIONS_H
#define BIASBOOK_VERBS_OPTIONS_H

#include "../ground/fault.h"

#include <stdbool.h>

struct option_spec {
    const char *name;   /* without the dashes */
    const char **value; /* takes a value … */
    bool *flag;         /* … or is a flag */
};
struct verb_help {
    const char *name;
    const char *usage;   /* after "biasbook " */
    const char *text;    /* options, one a line */
    const char *example; /* a command that works on the demo club */
};

/* Returns -1 to go on, else an exit status (0 after --help, 2 after wrong usage). What is no option is collected in `rest` (at most `rest_room`); an array ends with
 * specs whose name is NULL. An option given twice is wrong usage. */
int options_read(int argc, char **argv, const struct verb_help *help, const struct option_spec *specs, const char **rest, int rest_room,
                 int *rest_count);

/* Says `biasbook VERB: …` and how to get help; returns EXIT_USAGE. */
int wrong_usage(const struct verb_help *help, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Says the fault's items, a line each; returns EXIT_REFUSED. */
int refused(const char *verb, const struct fault *f);

/* The club's file: --db, else the environment's BIASBOOK_DB; NULL after having said so. */
const char *database_path(const struct verb_help *help, const char *given);

bool number_option(const struct verb_help *help, const char *name, const char *text, double low, double high,
                   double *out); /* text NULL: leaves *out alone */

#endif
